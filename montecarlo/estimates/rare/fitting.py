"""From pilots to a first mixture, from its samples to a better one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from montecarlo.estimates.rare.active import active_coordinates, departure
from montecarlo.estimates.rare.allocation import allocate
from montecarlo.estimates.rare.clusters import Clusters, cluster
from montecarlo.estimates.rare.mixture import BATCH, Mixture
from montecarlo.estimates.rare.pilot import UNSEEN, Pilot
from montecarlo.quantities import Array

__all__ = ["fit", "refit"]

NOMINAL = np.ceil(0.1 * BATCH) / BATCH                     # a whole number of plain draws in every batch
WIDE = (1.5, 2.0)                                          # standard deviations of the wide components
WIDE_SHARE = 0.05                                          # of each
LEAST_WIDE = 0.01                                          # of each, after shares have been optimised
KEPT = 0.4                                                 # of the mixture before, in a refit
WORTH = 100.0                                              # independent samples that an anchor's clusters rest on
LEAST_TESTED = 8.0                                         # independent samples in which coordinates are tested
NO_ROWS: NDArray[np.intp] = np.zeros(0, np.intp)
SEED = 5                                                   # of the starts of the clusters: no draw of the study


@dataclass(frozen=True, eq=False)
class Hits:
    """Weighted samples of one event. size: how many independent ones they are worth."""

    u: Array                                               # (n, d + k): the last k the model never saw
    weights: Array                                         # (n,)
    size: float
    rows: NDArray[np.intp]                                 # where they stand among all samples


def fit(pilots: Sequence[Pilot]) -> Mixture:
    """A mixture from pilots of one model at any goals: clusters of each level, wide components, N(0, I).

    Levels of all pilots are put together by their number: they have similar probabilities. Every level has the
    same share, so that each stretch of the curve from 1 to the least probability is covered alike."""
    depth = max(len(pilot.levels) for pilot in pilots)
    groups = [[pilot.levels[k] for pilot in pilots if len(pilot.levels) > k] for k in range(1, depth)]
    sets = [Hits(np.concatenate([np.hstack([level.u, level.unseen]) for level in group]),
                 np.concatenate([np.full(len(level.u), level.size / len(level.u)) for level in group]),
                 sum(level.size for level in group), NO_ROWS) for group in groups]
    dims = pilots[0].levels[0].u.shape[1]
    active, found = _structure(sets, dims, np.zeros(0, int))
    return _mixture(dims, active, found)


def _structure(sets: Sequence[Hits], dims: int, active: Array) -> tuple[Array, list[Clusters]]:
    """Active coordinates, beside those that are already, and the clusters of every set.

    Modes hide each other's coordinates when they are put together, so that the coordinates are tested again within
    the clusters that the first ones show, and the clusters found again with all."""
    if not sets:
        return active, []
    tests = [departure(one.u, one.weights, one.size) for one in sets]
    active = np.union1d(active, active_coordinates(tests, dims))
    if not active.size:
        return active, []
    found, first = _clusters(sets, active), active
    within = [departure(one.u, one.weights * part, one.size * share)
              for one, clusters in zip(sets, found, strict=True)
              for part, share in zip(clusters.parts(one.u[:, active]), clusters.shares, strict=True)
              if one.size * share >= LEAST_TESTED]
    if within:
        active = np.union1d(active, active_coordinates(within, dims))
    return active, found if active.size == first.size else _clusters(sets, active)


def _clusters(sets: Sequence[Hits], active: Array) -> list[Clusters]:
    rng = np.random.default_rng(SEED)
    return [cluster(one.u[:, active], one.weights, one.size, rng) for one in sets]


def _mixture(dims: int, active: Array, found: Sequence[Clusters]) -> Mixture:
    """Clusters in groups of equal shares beside the nominal and the wide components."""
    a = active.size
    if not (a and found):
        return Mixture(dims, np.zeros(0, int), np.ones(1), np.zeros((1, 0)), np.ones((1, 0)))
    rest = 1 - NOMINAL - WIDE_SHARE * len(WIDE)
    shares = np.concatenate([[NOMINAL], np.full(len(WIDE), WIDE_SHARE), *(c.shares * rest / len(found) for c in found)])
    means = np.concatenate([np.zeros((1 + len(WIDE), a)), *(c.means for c in found)])
    sds = np.concatenate([np.ones((1, a)), *(np.full((1, a), wide) for wide in WIDE), *(c.sds for c in found)])
    return Mixture(dims, active, shares / shares.sum(), means, sds)


def refit(u: Array, log_w: Array, g: Array, mixture: Mixture) -> Mixture:
    """A better mixture from samples u (n, d), their ln weights (n,) and g (n, anchors) at settings that span the
    family: clusters of the weighted hits of every anchor beside the components before, shares by `allocate`.

    What no anchor stands near is served badly (measured: twenty times the variance): take 25 to 30, through all axes.
    Samples of several rounds may be put together: `pooled_log_weight`, and `mixture` the last of them.
    An anchor with fewer than 100 independent hits takes the samples nearest to it until it has as many, as the
    cross-entropy method does (de Boer, Kroese, Mannor, Rubinstein, Ann. Oper. Res. 134, 2005)."""
    unseen = np.random.default_rng(SEED).standard_normal((len(u), UNSEEN))
    seen = np.hstack([u, unseen])
    sets = [one for column in g.T if (one := _nearest(seen, log_w, column)) is not None]
    if not sets:
        return mixture
    active, found = _structure(sets, mixture.dims, mixture.active)
    if not found:
        return mixture
    joined = _join(_widened(mixture, active), _mixture(mixture.dims, active, found))
    least = np.zeros(len(joined.shares))
    least[0] = NOMINAL
    least[1 : 1 + len(WIDE)] = LEAST_WIDE
    return allocate(joined, u, np.exp(log_w), [one.rows for one in sets], least)


def _nearest(u: Array, log_w: Array, g: Array) -> Hits | None:
    """The hits, g > 0, or the highest g that are worth `WORTH` independent samples; never the lowest g of all, which
    may be many that tell nothing, nor what is unresolved."""
    finite = np.isfinite(g)
    rows = np.flatnonzero(finite & (g > min(g[finite].min(initial=0.0), 0.0)))
    if rows.size == 0:
        return None
    rows = rows[np.argsort(-g[rows], kind="stable")]
    w = np.exp(log_w[rows])
    sizes = np.cumsum(w) ** 2 / np.cumsum(w**2)
    enough = int(np.argmax(sizes >= WORTH)) + 1 if (sizes >= WORTH).any() else rows.size
    count = max(int((g[rows] > 0).sum()), enough)
    rows = np.sort(rows[:count])
    return Hits(u[rows], np.exp(log_w[rows]), float(sizes[count - 1]), rows)


def _widened(mixture: Mixture, active: Array) -> Mixture:
    """The same density, with more coordinates named active."""
    at = np.searchsorted(active, mixture.active)
    means, sds = np.zeros((len(mixture.shares), active.size)), np.ones((len(mixture.shares), active.size))
    means[:, at], sds[:, at] = mixture.means, mixture.sds
    return Mixture(mixture.dims, active, mixture.shares, means, sds)


def _join(before: Mixture, new: Mixture) -> Mixture:
    """KEPT of the one before and the rest of the new one; both begin with the nominal component."""
    shares = np.concatenate([KEPT * before.shares, (1 - KEPT) * new.shares])
    shares[0] += shares[len(before.shares)]
    keep = np.arange(len(shares)) != len(before.shares)
    return Mixture(new.dims, new.active, shares[keep], np.concatenate([before.means, new.means])[keep],
                   np.concatenate([before.sds, new.sds])[keep])
