"""Normal clusters of the samples beyond a threshold, by expectation-maximisation over clusters and
images.

Every cluster tilts only the coordinates in which its own samples clearly depart from N(0, 1): with
dozens of coordinates the noise of the others would ruin the weights."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import reduce

import numpy as np

from montecarlo.estimates.rare.images import Image, group_of
from montecarlo.estimates.rare.mixture import log_ratios
from montecarlo.quantities import Array
from montecarlo.quantities.digits import alike

LARGEST = 0.05  # share of a threshold's weight that one sample may have
LEAST_IN_CLUSTER = 8.0
MOST_CLUSTERS = 3  # for each threshold, besides its images
GAIN = 6.0  # nats by which a coordinate must depart to be tilted
GLANCE = 1.5  # nats below which it is not looked at again
LEAST_VARIANCE = 0.04
PRIOR = 4.0  # samples' worth of belief in a variance of 1
ROUNDS = 30
BETTER = 1e-6  # of a score, from which another fit is one


class Imaged:
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

    def log_ratios(self, images: Imaged) -> Array:
        """ln of share times density over N(0, I)'s.

        Parameters
        ----------
        images : Imaged

        Returns
        -------
        (g, n, K) array
        """
        shares = np.maximum(self.shares, 1e-9)
        return log_ratios(images.x, shares, self.means, self.sds, images.squares)


def clusters_of(
    u: Array, log_w: Array, generators: Sequence[Image], rng: np.random.Generator
) -> Tilts | None:
    """Clusters of the samples beyond one threshold.

    Parameters
    ----------
    u : (n, d) array
    log_w : (n,) array
        ln of their weights.
    generators : sequence of Image
    rng : numpy.random.Generator

    Returns
    -------
    Tilts or None
        None where nothing departs from N(0, I).
    """
    w = np.exp(log_w)
    w = np.minimum(w, LARGEST * w.sum())
    w *= w.sum() / (w @ w)  # sums to the number of independent samples
    dims = u.shape[1]
    aligned = _aligned(u, w, generators)
    images = Imaged(np.stack([image.of(aligned) for image in group_of(generators, dims)]), w)
    one = np.zeros((*images.x.shape[:2], 1))
    one[0, :, 0] = w
    first = _maximise(images, one)
    looked = _gains(images, first.parts)[0][0] > GLANCE
    if not looked.any():
        return None
    tilts = _best_fit(Imaged(images.x[..., looked], w), first.parts, rng).tilts
    departs = ((tilts.means != 0) | (tilts.sds != 1)).any(axis=1)
    keep = (alike(tilts.shares * w.sum()) >= LEAST_IN_CLUSTER) & departs
    if not keep.any():
        return None
    means = np.zeros((keep.sum(), dims))
    sds = np.ones((keep.sum(), dims))
    means[:, looked] = tilts.means[keep]
    sds[:, looked] = tilts.sds[keep]
    return Tilts(tilts.shares[keep] / tilts.shares[keep].sum(), means, sds)


def _best_fit(images: Imaged, parts: Array, rng: np.random.Generator) -> Fit:
    """Of one cluster and of several; parts (g, n, 1) to begin with."""
    best = _maximise(images, parts)
    for count in range(2, MOST_CLUSTERS + 1):
        if alike(images.w.sum() / count) < 2.5 * LEAST_IN_CLUSTER:
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


def _maximise(images: Imaged, parts: Array) -> Fit:
    """Expectation-maximisation over clusters and images."""
    w, last = images.w, -np.inf
    for _ in range(ROUNDS):
        gain, mass, means, variances = _gains(images, parts)
        # of equal weights so many samples are a mass of just that, but for last bits
        on = (gain > GAIN) & (alike(mass)[:, None] > LEAST_IN_CLUSTER)
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


def _gains(images: Imaged, parts: Array) -> tuple[Array, Array, Array, Array]:
    """By how many nats each coordinate of each cluster departs from N(0, 1), (K, d); mass (K,),
    means, variances."""
    part = parts.reshape(-1, parts.shape[2])
    mass = part.sum(axis=0)
    safe = np.maximum(mass, 1e-9)[:, None]
    means = part.T @ images.rows / safe
    variances = np.maximum(part.T @ images.square_rows / safe - means**2, LEAST_VARIANCE)
    gains = mass[:, None] * (means**2 + variances - 1 - np.log(variances)) / 2
    return gains, mass, means, variances


def _splits(images: Imaged, parts: Array, count: int, rng: np.random.Generator) -> Iterator[Array]:
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
