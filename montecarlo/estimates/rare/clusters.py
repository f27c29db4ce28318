"""Weighted clusters of samples: how many ways there are to the rare event, and where they lie."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from montecarlo.quantities import Array

__all__ = ["Clusters", "cluster"]

MOST = 12                                                  # clusters of one set of samples
LEAST_SD = 0.3                                             # of a cluster, per coordinate
PRIOR = 4.0                                                # samples' worth of belief in the sd that stands for nothing
ENOUGH = 1000                                              # samples that clusters are found from
PENALTY = 2.0                                              # of a parameter: Akaike's
EMPTY = 1e-4                                               # share of a cluster that nothing belongs to
ROUNDS = 20
STARTS = 1


@dataclass(frozen=True, eq=False)
class Clusters:
    """Normal clusters with diagonal covariance."""

    shares: Array                                          # (K,)
    means: Array                                           # (K, a)
    sds: Array                                             # (K, a)

    def parts(self, x: Array) -> Array:
        """Which part of each x (n, a) belongs to each cluster, (K, n)."""
        return self._parts(x, x**2)[0]

    def _parts(self, x: Array, squares: Array) -> tuple[Array, Array]:
        """These parts, and the ln density of each x, (n,); clusters first, which is faster to sum."""
        precision = self.sds**-2
        constant = (np.log(np.maximum(self.shares, 1e-12)) - np.log(self.sds).sum(axis=1)
                    - (self.means**2 * precision).sum(axis=1) / 2)
        log = (self.means * precision) @ x.T - precision @ squares.T / 2 + constant[:, None]
        top = log.max(axis=0)
        part = np.exp(log - top)
        total = part.sum(axis=0)
        part /= total
        return part, top + np.log(total) - x.shape[1] * np.log(2 * np.pi) / 2


def cluster(x: Array, weights: Array, size: float, rng: np.random.Generator, most: int = MOST) -> Clusters:
    """Clusters of x (n, a) with weights (n,): as many, up to `most`, as Akaike's criterion bears.

    size: how many independent samples these stand for. A cluster takes 2a + 1 parameters, so that few samples give
    few clusters. Expectation-maximisation with a floor and a prior for each sd. Akaike, IEEE Trans. Automatic Control
    19(6), 1974, 716-723; a penalty that grows with ln(size), as Schwarz's does, left modes together."""
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
        criterion = PENALTY * (2 * x.shape[1] + 1) * count - 2 * size * likelihood
        if criterion < least:
            best, least, worse = found, criterion, 0
        else:
            worse += 1
            if worse == 3:                                 # even numbers of modes may need two at once
                break
    assert best is not None
    kept = best.shares > EMPTY
    return Clusters(best.shares[kept] / best.shares[kept].sum(), best.means[kept], best.sds[kept])


def _start(x: Array, w: Array, count: int, rng: np.random.Generator) -> Array:
    """Centres far apart, (count, a): Arthur and Vassilvitskii, k-means++, SODA 2007."""
    centres: Array = x[rng.choice(len(x), p=w)][None]
    distance = np.full(len(x), np.inf)
    while len(centres) < count:
        distance = np.minimum(distance, ((x - centres[-1]) ** 2).sum(axis=1))
        chance = distance * w
        centres = np.vstack([centres, x[rng.choice(len(x), p=chance / chance.sum() if chance.any() else w)]])
    return centres


def _maximise(x: Array, w: Array, size: float, centres: Array) -> tuple[Clusters, float]:
    """The clusters and the mean log-likelihood of a sample."""
    count, a = centres.shape
    spread = np.sqrt(np.maximum(w @ x**2 - (w @ x) ** 2, LEAST_SD**2))
    narrow = np.maximum(spread / count ** (1 / a), LEAST_SD)
    found = Clusters(np.full(count, 1 / count), centres, np.tile(narrow, (count, 1)))
    likelihood, square = -np.inf, x**2
    for _ in range(ROUNDS):
        part, density = found._parts(x, square)
        part *= w
        last, likelihood = likelihood, float(w @ density)
        mass = part.sum(axis=1)
        means = part @ x / np.maximum(mass, 1e-12)[:, None]
        squares = part @ square - mass[:, None] * means**2
        sds = np.sqrt((size * np.maximum(squares, 0) + PRIOR) / (size * mass + PRIOR)[:, None])
        found = Clusters(mass, means, np.maximum(sds, LEAST_SD))
        if likelihood - last < 1e-4:
            break
    return found, likelihood
