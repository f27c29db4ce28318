"""A density from weighted samples of the one before: normal clusters of the samples beyond each of
many thresholds.

In stages from N(0, I) on, thresholds rise with what the stage before could reach (cross-entropy
method: Rubinstein and Kroese, The Cross-Entropy Method, Springer 2004; mixtures: Kurtz and Song,
Structural Safety 42, 2013, 35-44, both from memory)."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from montecarlo.estimates.rare.clusters import clusters_of
from montecarlo.estimates.rare.images import Image, Symmetric
from montecarlo.estimates.rare.levels import LEAST_SIZE, size_of
from montecarlo.estimates.rare.mixture import Mixture
from montecarlo.quantities import Array, Flags
from montecarlo.quantities.digits import alike

NOMINAL = 0.1  # share of N(0, I)
WIDE = 1 / 3  # of a cluster's share, drawn at least as wide as N(0, I)
MOST_ROWS = 1500  # beyond each threshold; more cost time and add little
SAME = 0.7  # common part of two thresholds' samples that makes them one
CLOSE = 0.69  # least ratio of their weights: else their common part is below `SAME` for sure


def plain(dims: int, generators: Sequence[Image]) -> Symmetric:
    """N(0, I) itself, to begin with.

    Parameters
    ----------
    dims : int
    generators : sequence of Image

    Returns
    -------
    Symmetric
    """
    none: Array = np.zeros(0, int)
    return Symmetric(
        Mixture(dims, none, np.ones(1), np.zeros((1, 0)), np.ones((1, 0))), tuple(generators)
    )


def tilted(
    u: Array,
    log_w: Array,
    beyond: Sequence[Flags],
    before: Symmetric,
    rng: np.random.Generator,
    most_rows: int = MOST_ROWS,
) -> Symmetric:
    """The next density; equal shares for thresholds that differ.

    Parameters
    ----------
    u : (n, d) array
        Samples of the one `before`.
    log_w : (n,) array
        ln of their weights.
    beyond : sequence of (n,) array of bool
        Which lie beyond each threshold.
    before : Symmetric
    rng : numpy.random.Generator
    most_rows : int
        The first so many samples beyond each threshold have a part.

    Returns
    -------
    Symmetric
        `before` itself where no threshold has enough samples.
    """
    clusters = []
    for flags in _differing(beyond, log_w):
        rows = np.flatnonzero(flags)[:most_rows]
        cluster = clusters_of(u[rows], log_w[rows], before.generators, rng)
        if cluster is not None:
            clusters.append(cluster)
    if not clusters:
        return before
    dims = u.shape[1]
    each = (1 - NOMINAL) / len(clusters)
    shares = np.concatenate([[NOMINAL], *(each * cluster.shares for cluster in clusters)])
    means = np.concatenate([np.zeros((1, dims)), *(cluster.means for cluster in clusters)])
    sds = np.concatenate([np.ones((1, dims)), *(cluster.sds for cluster in clusters)])
    shares, means, sds = _with_wide_tails(shares, means, sds)
    active: Any = np.flatnonzero((means != 0).any(axis=0) | (sds != 1).any(axis=0))
    mixture = Mixture(dims, active, shares / shares.sum(), means[:, active], sds[:, active])
    return Symmetric(mixture, before.generators)


def _with_wide_tails(shares: Array, means: Array, sds: Array) -> tuple[Array, Array, Array]:
    """Every cluster that is narrower than N(0, 1) somewhere also as one that is not, with a part of
    its share.

    A fitted spread says little of what lies beyond it, where a sample's weight would be large and
    rare: sums would be skew and their limits too narrow (wide components: Hesterberg, Technometrics
    37(2), 1995, 185-194, from memory; measured, tests/MEASUREMENTS.md)."""
    narrow = (sds < 1).any(axis=1)
    return (
        np.concatenate([np.where(narrow, (1 - WIDE) * shares, shares), WIDE * shares[narrow]]),
        np.concatenate([means, means[narrow]]),
        np.concatenate([sds, np.maximum(sds[narrow], 1.0)]),
    )


def _differing(beyond: Sequence[Flags], log_w: Array) -> list[Flags]:
    """Without those that have most of their weight in common with one before."""
    w = np.exp(log_w)

    def in_common(one: Flags, other: Flags) -> bool:
        return bool(alike(w[one & other].sum()) >= alike(SAME * w[one | other].sum()))

    kept: list[tuple[Flags, float]] = []
    for flags in beyond:
        if alike(size_of(log_w[flags])) < LEAST_SIZE - 1:
            continue
        own = w[flags].sum()
        near = (other for other, its in kept if min(own, its) >= CLOSE * max(own, its))
        if not any(in_common(flags, other) for other in near):
            kept.append((flags, own))
    return [flags for flags, _ in kept]
