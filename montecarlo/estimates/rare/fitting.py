"""From pilots to a first mixture, from its samples to a better one."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from montecarlo.estimates.rare.active import active_coordinates, departure
from montecarlo.estimates.rare.clusters import Clusters, cluster
from montecarlo.estimates.rare.mixture import BATCH, Mixture
from montecarlo.estimates.rare.pilot import Level, Pilot
from montecarlo.quantities import Array

__all__ = ["fit", "refit"]

NOMINAL = np.ceil(0.1 * BATCH) / BATCH                     # a whole number of plain draws in every batch
WIDE = (1.5, 2.0)                                          # standard deviations of the wide components
WIDE_SHARE = 0.05                                          # of each
KEPT = 0.4                                                 # of the mixture before, in a refit
LARGEST = 0.05                                             # share of an anchor's weight that one sample may have
LEAST_HITS = 20.0                                          # independent hits of an anchor worth a fit
SEED = 5                                                   # of the starts of the clusters: no draw of the study


def fit(pilots: Sequence[Pilot]) -> Mixture:
    """A mixture from pilots of one model at any goals: clusters of each level, wide components, N(0, I).

    Levels of all pilots are put together by their number: they have similar probabilities. Every level has the
    same share, so that each stretch of the curve from 1 to the least probability is covered alike."""
    dims = pilots[0].levels[0].u.shape[1]
    depth = max(len(pilot.levels) for pilot in pilots)
    groups = [[pilot.levels[k] for pilot in pilots if len(pilot.levels) > k] for k in range(1, depth)]
    tests = [departure(np.concatenate([level.u for level in part]), _weights(part), _size(part))
             for group in groups for part in (group, *([level] for level in group))]
    active = active_coordinates(tests) if tests else np.zeros(0, int)
    rng = np.random.default_rng(SEED)
    found: list[Clusters] = []
    for group in groups if active.size else []:
        x = np.concatenate([level.u for level in group])[:, active]
        found.append(cluster(x, _weights(group), _size(group), rng))
    return _mixture(dims, active, found, NOMINAL)


def _size(levels: Sequence[Level]) -> float:
    return sum(level.size for level in levels)


def _weights(levels: Sequence[Level]) -> Array:
    """Each level weighs what it is worth."""
    return np.concatenate([np.full(len(level.u), level.size / len(level.u)) for level in levels])


def _mixture(dims: int, active: Array, found: Sequence[Clusters], nominal: float) -> Mixture:
    """Clusters in groups of equal shares beside the nominal and the wide components."""
    a = active.size
    if not (a and found):
        return Mixture(dims, np.zeros(0, int), np.ones(1), np.zeros((1, 0)), np.ones((1, 0)))
    rest = 1 - nominal - WIDE_SHARE * len(WIDE)
    shares = np.concatenate([[nominal], np.full(len(WIDE), WIDE_SHARE), *(c.shares * rest / len(found) for c in found)])
    means = np.concatenate([np.zeros((1 + len(WIDE), a)), *(c.means for c in found)])
    sds = np.concatenate([np.ones((1, a)), *(np.full((1, a), wide) for wide in WIDE), *(c.sds for c in found)])
    return Mixture(dims, active, shares / shares.sum(), means, sds)


def refit(u: Array, log_w: Array, g: Array, mixture: Mixture) -> Mixture:
    """A better mixture from samples u (n, d) of `mixture`, their ln weights (n,) and g (n, anchors) at settings that
    span the family: clusters of the weighted hits of every anchor, and 40 % of the mixture before.

    No hit may have more than 5 % of its anchor's weight, so that one lucky sample does not become a component;
    anchors with fewer than 20 independent hits are left to the mixture before."""
    sets = []
    for column in g.T:
        hit = np.flatnonzero(column > 0)
        if hit.size == 0:
            continue
        w = np.exp(log_w[hit])
        w = np.minimum(w, LARGEST * w.sum())
        size = float(w.sum() ** 2 / (w @ w))
        if size >= LEAST_HITS:
            sets.append((hit, w, size))
    tests = [departure(u[hit], w, size) for hit, w, size in sets]
    active = np.union1d(mixture.active, active_coordinates(tests)) if tests else mixture.active
    if not (active.size and sets):
        return mixture
    rng = np.random.default_rng(SEED)
    found = [cluster(u[hit][:, active], w, size, rng) for hit, w, size in sets]
    return _join(_widened(mixture, active), _mixture(mixture.dims, active, found, NOMINAL))


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
