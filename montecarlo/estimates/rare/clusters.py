"""Weighted clusters of samples: how many ways there are to the rare event, and where they lie."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from montecarlo.quantities import Array

__all__ = ["Clusters", "cluster"]

MOST = 8                                                   # clusters of one set of samples
LEAST_SD = 0.3                                             # of a cluster, per coordinate
PRIOR = 4.0                                                # samples' worth of belief in the sd that stands for nothing
ENOUGH = 1500                                              # samples that clusters are found from
ROUNDS = 30
STARTS = 2


@dataclass(frozen=True, eq=False)
class Clusters:
    """Normal clusters with diagonal covariance."""

    shares: Array                                          # (K,)
    means: Array                                           # (K, a)
    sds: Array                                             # (K, a)


def cluster(x: Array, weights: Array, size: float, rng: np.random.Generator, most: int = MOST) -> Clusters:
    """Clusters of x (n, a) with weights (n,): their number by the Bayesian information criterion, at most `most`.

    size: how many independent samples these stand for. A cluster takes 2a + 1 parameters, so that few samples give
    few clusters. Expectation-maximisation with a floor and a prior for each sd; number of clusters: Schwarz, Annals of
    Statistics 6(2), 1978, 461-464."""
    w = weights / weights.sum()
    if len(x) > ENOUGH:
        x, w = x[rng.choice(len(x), ENOUGH, p=w)], np.full(ENOUGH, 1 / ENOUGH)
        size = min(size, ENOUGH)
    best, least, worse = None, np.inf, 0
    for count in range(1, most + 1):
        if count > 1 and size / count < 8:
            break
        fits = [_maximise(x, w, size, _start(x, w, count, rng)) for _ in range(1 if count == 1 else STARTS)]
        found, likelihood = max(fits, key=lambda fit: fit[1])
        criterion = (2 * x.shape[1] + 1) * count * np.log(size) - 2 * size * likelihood
        if criterion < least:
            best, least, worse = found, criterion, 0
        else:
            worse += 1
            if worse == 3:                                 # even numbers of modes may need two at once
                break
    assert best is not None
    return best


def _start(x: Array, w: Array, count: int, rng: np.random.Generator) -> Array:
    """Centres far apart, (count, a): Arthur and Vassilvitskii, k-means++, SODA 2007."""
    centres: Array = x[rng.choice(len(x), p=w)][None]
    while len(centres) < count:
        distance = ((x[:, None] - centres) ** 2).sum(axis=-1).min(axis=1) * w
        total = distance.sum()
        centres = np.vstack([centres, x[rng.choice(len(x), p=distance / total if total > 0 else w)]])
    return centres


def _maximise(x: Array, w: Array, size: float, centres: Array) -> tuple[Clusters, float]:
    """The clusters and the mean log-likelihood of a sample."""
    count, a = centres.shape
    spread = np.sqrt(np.maximum(w @ x**2 - (w @ x) ** 2, LEAST_SD**2))
    narrow = np.maximum(spread / count ** (1 / a), LEAST_SD)
    found = Clusters(np.full(count, 1 / count), centres, np.tile(narrow, (count, 1)))
    likelihood = -np.inf
    for _ in range(ROUNDS):
        precision = found.sds**-2
        log = (x @ (found.means * precision).T - x**2 @ precision.T / 2 - (found.means**2 * precision).sum(axis=1) / 2
               + np.log(np.maximum(found.shares, 1e-12)) - np.log(found.sds).sum(axis=1))
        top = log.max(axis=1)
        part = np.exp(log - top[:, None])
        total = part.sum(axis=1)
        part *= (w / total)[:, None]
        last, likelihood = likelihood, float(w @ (top + np.log(total)) - a * np.log(2 * np.pi) / 2)
        mass = part.sum(axis=0)
        means = part.T @ x / np.maximum(mass, 1e-12)[:, None]
        squares = part.T @ x**2 - mass[:, None] * means**2
        sds = np.sqrt((size * np.maximum(squares, 0) + PRIOR) / (size * mass + PRIOR)[:, None])
        found = Clusters(mass, means, np.maximum(sds, LEAST_SD))
        if likelihood - last < 1e-4:
            break
    return found, likelihood
