"""A density from weighted samples of the one before: normal clusters of the samples beyond each of
many thresholds.

In stages from N(0, I) on, thresholds rise with what the stage before could reach (cross-entropy
method: Rubinstein and Kroese, The Cross-Entropy Method, Springer 2004; mixtures: Kurtz and Song,
Structural Safety 42, 2013, 35-44, both from memory). Every cluster tilts only the coordinates in
which its own samples clearly depart from N(0, 1): with dozens of coordinates the noise of the
others would ruin the weights."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import reduce
from typing import Any

import numpy as np

from montecarlo.estimates.rare.images import Image, Symmetric, group_of
from montecarlo.estimates.rare.mixture import Mixture, log_ratios
from montecarlo.quantities import Array, Flags

NOMINAL = 0.1  # share of N(0, I)
WIDE = 1 / 3  # of a cluster's share, drawn at least as wide as N(0, I)
LARGEST = 0.05  # share of a threshold's weight that one sample may have
LEAST_SIZE = 25.0  # independent samples beyond a threshold worth a fit
LEAST_IN_CLUSTER = 8.0
MOST_CLUSTERS = 3  # for each threshold, besides its images
MOST_ROWS = 1500  # beyond each threshold; more cost time and add little
GAIN = 6.0  # nats by which a coordinate must depart to be tilted
GLANCE = 1.5  # nats below which it is not looked at again
LEAST_VARIANCE = 0.04
PRIOR = 4.0  # samples' worth of belief in a variance of 1
ROUNDS = 30
STEP = 3.0  # between levels on the way to thresholds out of reach
BETTER = 1e-6  # of a score, from which another fit is one
SAME = 0.7  # common part of two thresholds' samples that makes them one


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


def size_of(log_w: Array) -> float:
    """How many independent samples weighted ones stand for.

    Parameters
    ----------
    log_w : (n,) array
        ln of the weights.

    Returns
    -------
    float
    """
    w = np.exp(log_w)
    return float(w.sum() ** 2 / (w @ w)) if w.size else 0.0


def spans(
    quantity: Array, log_w: Array, thresholds: Sequence[float], most: float, least: float
) -> Iterator[Flags]:
    """Samples beyond each threshold whose probability lies between `least` and `most`.

    Where too few samples are beyond the highest of them, also those beyond levels on the way to it,
    up to what enough samples reach; a level that many samples reach shows the ways better than a
    deeper one.

    Parameters
    ----------
    quantity, log_w : (n,) array
    thresholds : sequence of float
    most, least : float (-)

    Yields
    ------
    (n,) array of bool
    """
    w = np.exp(log_w)
    known = np.where(np.isnan(quantity), -np.inf, quantity)
    order = np.argsort(-known, kind="stable")
    part = np.cumsum(w[order])
    squares = np.cumsum(w[order] ** 2)
    enough = np.flatnonzero(part**2 >= LEAST_SIZE * squares)
    if not enough.size:
        return
    reached = enough[0]  # the first so many samples are the highest level that counts
    for threshold in sorted(thresholds):
        count = int((known > threshold).sum())
        if count <= reached:
            break
        p = part[count - 1] / len(w)
        if p < most:
            yield known > threshold
        if p < least:
            return
    else:
        return

    def place(p: float) -> int:
        """Of the sample up to which the probability is p."""
        return min(int(np.searchsorted(part, p * len(w))), len(w) - 1)

    deepest = part[reached] / len(w)
    ends = known[order[[place(STEP * deepest), reached]]]
    if not _within(threshold, ends, (min(STEP * deepest, 1.0), deepest), least):
        return
    level = most
    while level > deepest:
        yield known > known[order[place(level)]]
        level /= STEP
    yield known >= known[order[reached]]


def _within(threshold: float, quantity: Array, p: tuple[float, float], least: float) -> bool:
    """Whether ln p, carried on straight from two levels, is still above ln `least` at the
    threshold; tails mostly fall faster than that, so that this errs on the side of going on."""
    step = quantity[1] - quantity[0]
    if not (np.isfinite(step) and step > 0):
        return False
    there = np.log(p[1]) + (threshold - quantity[1]) * np.log(p[1] / p[0]) / step
    return bool(there > np.log(least))


def tilted(
    u: Array, log_w: Array, beyond: Sequence[Flags], before: Symmetric, rng: np.random.Generator
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

    Returns
    -------
    Symmetric
        `before` itself where no threshold has enough samples.
    """
    clusters = []
    for flags in _differing(beyond, log_w):
        cluster = _clusters(u, log_w, flags, before.generators, rng)
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

    def alike(one: Flags, other: Flags) -> bool:
        return bool(w[one & other].sum() >= SAME * w[one | other].sum())

    kept: list[Flags] = []
    for flags in beyond:
        if size_of(log_w[flags]) < LEAST_SIZE - 1:
            continue
        if not any(alike(flags, other) for other in kept):
            kept.append(flags)
    return kept


class Images:
    """Samples in all their images, with what every round of a fit asks for.

    Parameters
    ----------
    x : (g, n, d) array
    w : (n,) array
        Weights.
    """

    def __init__(self, x: Array, w: Array) -> None:
        self.x, self.w, self.squares = x, w, x**2
        self.rows, self.square_rows = (each.reshape(-1, x.shape[2]) for each in (x, self.squares))


@dataclass(frozen=True, eq=False)
class Tilts:
    """Clusters over all coordinates."""

    shares: Array  # (K,) of 1
    means: Array  # (K, d), 0 where a coordinate is left alone
    sds: Array  # (K, d), 1 there

    def log_ratios(self, images: Images) -> Array:
        """ln of share times density over N(0, I)'s.

        Parameters
        ----------
        images : Images

        Returns
        -------
        (g, n, K) array
        """
        shares = np.maximum(self.shares, 1e-9)
        return log_ratios(images.x, shares, self.means, self.sds, images.squares)


def _clusters(
    u: Array, log_w: Array, beyond: Flags, generators: Sequence[Image], rng: np.random.Generator
) -> Tilts | None:
    """Clusters of the samples beyond one threshold; None where nothing departs from N(0, I)."""
    rows = np.flatnonzero(beyond)[:MOST_ROWS]
    w = np.exp(log_w[rows])
    w = np.minimum(w, LARGEST * w.sum())
    w *= w.sum() / (w @ w)  # sums to the number of independent samples
    dims = u.shape[1]
    aligned = _aligned(u[rows], w, generators)
    images = Images(np.stack([image.of(aligned) for image in group_of(generators, dims)]), w)
    one = np.zeros((*images.x.shape[:2], 1))
    one[0, :, 0] = w
    first = _maximise(images, one)
    looked = _gains(images, first.parts)[0][0] > GLANCE
    if not looked.any():
        return None
    tilts = _best_fit(Images(images.x[..., looked], w), first.parts, rng).tilts
    departs = ((tilts.means != 0) | (tilts.sds != 1)).any(axis=1)
    keep = (tilts.shares * w.sum() >= LEAST_IN_CLUSTER) & departs
    if not keep.any():
        return None
    means = np.zeros((keep.sum(), dims))
    sds = np.ones((keep.sum(), dims))
    means[:, looked] = tilts.means[keep]
    sds[:, looked] = tilts.sds[keep]
    return Tilts(tilts.shares[keep] / tilts.shares[keep].sum(), means, sds)


def _best_fit(images: Images, parts: Array, rng: np.random.Generator) -> Fit:
    """Of one cluster and of several; parts (g, n, 1) to begin with."""
    best = _maximise(images, parts)
    for count in range(2, MOST_CLUSTERS + 1):
        if images.w.sum() / count < 2.5 * LEAST_IN_CLUSTER:
            break
        fits = [_maximise(images, begun) for begun in _splits(images, best.parts, count, rng)]
        for fit in fits:
            if fit.score > best.score + BETTER:
                best = fit
    return best


def _aligned(u: Array, w: Array, generators: Sequence[Image]) -> Array:
    """Each sample or its image, for one generator after the other: on one side of the direction
    along which samples differ most from their images (the leading eigenvector of the antisymmetric
    part's second moments; derived)."""
    for image in generators:
        odd = u - image.of(u)
        axis = _leading((odd * w[:, None]).T @ odd)
        u = np.where((odd @ axis < 0)[:, None], image.of(u), u)
    return u


def _leading(moments: Array) -> Array:
    """The eigenvector (d,) of the largest eigenvalue of moments (d, d). Its sign, which nothing
    defines, is that on one side of a direction that no symmetry has, so that rounding cannot turn
    it."""
    axis = np.linalg.eigh(moments)[1][:, -1]
    return np.asarray(np.copysign(1.0, axis @ np.cos(1.0 + np.arange(len(axis)))) * axis)


@dataclass(frozen=True, eq=False)
class Fit:
    """Of clusters to samples."""

    tilts: Tilts
    parts: Array  # (g, n, K) weight of a sample's image in a cluster
    score: float  # ln likelihood less what its parameters cost


def _maximise(images: Images, parts: Array) -> Fit:
    """Expectation-maximisation over clusters and images."""
    w, last = images.w, -np.inf
    for _ in range(ROUNDS):
        gain, mass, means, variances = _gains(images, parts)
        on = (gain > GAIN) & (mass[:, None] > LEAST_IN_CLUSTER)
        variances = (mass[:, None] * variances + PRIOR) / (mass[:, None] + PRIOR)
        sds = np.where(on, np.sqrt(variances), 1.0)
        tilts = Tilts(mass / w.sum(), np.where(on, means, 0.0), sds)
        ratios = tilts.log_ratios(images) - np.log(len(images.x))
        top = _over(np.maximum, ratios)
        each = np.exp(ratios - top[:, None])
        total = _over(np.add, each)
        likelihood = float(w @ (top + np.log(total)))
        parts = each * (w / total)[:, None]
        if likelihood - last < 1e-3:
            break
        last = likelihood
    count = 2 * int(on.sum()) + len(mass) - 1
    # Schwarz, Ann. Statist. 6(2), 1978, 461-464
    return Fit(tilts, parts, likelihood - count * np.log(w.sum()) / 2)


def _over(join: np.ufunc, values: Array) -> Array:
    """Over clusters, then over images: (g, n, K) to (n,), column by column, since numpy is slow to
    reduce a short axis."""
    clusters = range(values.shape[2])
    return np.asarray(
        reduce(join, (reduce(join, (image[:, k] for k in clusters)) for image in values))
    )


def _gains(images: Images, parts: Array) -> tuple[Array, Array, Array, Array]:
    """By how many nats each coordinate of each cluster departs from N(0, 1), (K, d); mass (K,),
    means, variances."""
    part = parts.reshape(-1, parts.shape[2])
    mass = part.sum(axis=0)
    safe = np.maximum(mass, 1e-9)[:, None]
    means = part.T @ images.rows / safe
    variances = np.maximum(part.T @ images.square_rows / safe - means**2, LEAST_VARIANCE)
    gains = mass[:, None] * (means**2 + variances - 1 - np.log(variances)) / 2
    return gains, mass, means, variances


def _splits(images: Images, parts: Array, count: int, rng: np.random.Generator) -> Iterator[Array]:
    """Beginnings with more clusters: cut along the direction of largest variance, and about random
    samples."""
    w, image = images.w, parts.sum(axis=2)
    mean_image = np.einsum("gn,gnd->nd", image, images.x) / w[:, None]
    centred = mean_image - np.average(mean_image, axis=0, weights=w)
    along = centred @ _leading((centred * w[:, None]).T @ centred)
    cut = np.digitize(along, np.quantile(along, np.arange(1, count) / count))
    centres = mean_image[rng.choice(len(w), size=count, p=w / w.sum(), replace=False)]
    near = ((mean_image[:, None] - centres) ** 2).sum(axis=-1).argmin(axis=1)
    for label in (cut, near):
        out = np.zeros((*image.shape, count))
        out[:, np.arange(len(w)), label] = image
        yield out
