"""How a probability answers to its inputs, from the samples that give it: elasticities, and how the
inputs among the failures differ from all.

In standard-normal space p = E[y(u)]; an input moved by m of its standard deviations, or with its
spread times s, is a change of density, and (score function method: Rubinstein and Shapiro, Discrete
Event Systems, Wiley 1993, from memory; derived, and checked on a linear limit state)

    d ln p/dm = E[y u]/p        d ln p/d ln s = E[y (u² − 1)]/p        at m = 0, s = 1

summed over the columns of an input, since six CTs of one make move together. Correlated inputs z =
L·u: (R⁻¹z)_j in place of u_j, z_j(R⁻¹z)_j − 1 in place of u_j² − 1: the one input moves, its
correlation stays (derived). Since the mean of either score is 0, y less its own mean stands for y:
the same in expectation, and quieter where y varies little (control variate)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np
from scipy.special import ndtr, ndtri

from montecarlo.estimates.drivers.samples import Sampled, batch_means, limits_of
from montecarlo.estimates.intervals import Estimate
from montecarlo.quantities import Array, Index

BINS = 256  # equal steps of probability at which laws are compared
IMITATIONS = 199  # dead inputs, whose 95 % distance is the band


class Elasticity(NamedTuple):
    """d ln p by the input's centre, in its standard deviations, and by the logarithm of its
    spread."""

    centre: Estimate
    spread: Estimate


class Shift(NamedTuple):
    """Largest distance between the input's law among failures and its law (Kolmogorov's), and what
    an input without influence stays below in 95 % of cases."""

    distance: float
    band: float


def elasticity(samples: Sequence[Sampled], candidate: int, key: str) -> Elasticity:
    """Elasticities of Σ share·p. [-]

    Limits by the delta method over independent batches.

    Parameters
    ----------
    samples : sequence of Sampled
        Those that do not have the input count in p alone.
    candidate : int
    key : str
        Of the input.

    Returns
    -------
    Elasticity
        NaN where p = 0.
    """
    by_centre = []
    by_spread = []
    for sample in samples:
        hits = sample.w * sample.y[:, candidate]
        centre, spread = _moved(sample, candidate, key)
        by_centre.append((sample.share, sample.w * centre, hits))
        by_spread.append((sample.share, sample.w * spread, hits))
    return Elasticity(_ratio(by_centre), _ratio(by_spread))


def _moved(sample: Sampled, candidate: int, key: str) -> tuple[Array, Array]:
    """y times each score function, (n,)."""
    y = np.asarray(sample.y[:, candidate], float)
    if key not in sample.scores:
        return np.zeros(y.shape), np.zeros(y.shape)
    if key == sample.placed:
        return _truncated(y)
    z = sample.scores[key]
    dual = sample.dual(key)
    rest = y - np.mean(sample.w * y)
    return rest * dual.sum(axis=1), rest * (z * dual - 1).sum(axis=1)


def _truncated(y: Array) -> tuple[Array, Array]:
    """E[u; u < t] and E[u² − 1; u < t] for P(u < t) = y: −φ(t) and −t·φ(t) (partial moments of the
    normal law)."""
    inside = (y > 0) & (y < 1)
    t = ndtri(np.where(inside, y, 0.5))
    density = np.where(inside, np.exp(-(t**2) / 2) / np.sqrt(2 * np.pi), 0.0)
    return -density, -t * density


def _ratio(parts: Sequence[tuple[float, Array, Array]]) -> Estimate:
    """Σ share·mean(top)/Σ share·mean(bottom) of independent samples."""
    means = [(share, batch_means(top), batch_means(bottom)) for share, top, bottom in parts]
    over = sum(share * float(bottom.mean()) for share, _, bottom in means)
    if not over > 0:
        return Estimate(*(np.asarray(np.nan),) * 3)
    ratio = sum(share * float(top.mean()) for share, top, _ in means) / over
    variance = 0.0
    for share, top, bottom in means:
        variance += share**2 * float((top - ratio * bottom).var(ddof=1)) / len(top)
    batches = min(len(top) for _, top, _ in means)
    return limits_of(np.asarray(ratio), np.asarray(variance / over**2), batches)


# --- laws among failures ------------------------------------------------------


def shift(samples: Sequence[Sampled], candidate: int, key: str, bands: Bands) -> Shift:
    """How far an input's law among failures lies from its law, columns of one input together. [-]

    Parameters
    ----------
    samples : sequence of Sampled
        Those that do not have the input are left out.
    candidate : int
    key : str
        Of the input.
    bands : Bands

    Returns
    -------
    Shift
        NaN without failures.
    """
    having = [sample for sample in samples if key in sample.scores]
    mass = np.zeros(BINS)
    for sample in having:
        y = sample.y[:, candidate]
        weight = sample.share / len(sample.w) * sample.w
        if key == sample.placed:
            mass += _spread_below(weight, y)
        else:
            mass += _histogram(_bins(sample.scores[key]), weight * y)
    if not mass.sum() > 0:
        return Shift(np.nan, np.nan)
    return Shift(_distance(mass), bands.of(having, having[0].scores[key].shape[1]))


def _bins(scores: Array) -> Index:
    return np.asarray(np.minimum((BINS * ndtr(scores)).astype(np.int64), BINS - 1))


def _histogram(bins: Index, weight: Array) -> Array:
    return np.asarray(np.bincount(bins.ravel(), np.repeat(weight, bins.shape[1]), BINS), float)


def _spread_below(weight: Array, y: Array) -> Array:
    """Mass of a uniform on [0, y], which weighs y: what it puts below each step, as differences."""
    steps = np.arange(BINS + 1) / BINS
    below = np.array([float(weight @ np.minimum(y, step)) for step in steps])
    return np.diff(below)


def _distance(mass: Array) -> float:
    return float(np.abs(np.cumsum(mass) / mass.sum() - np.arange(1, BINS + 1) / BINS).max())


@dataclass(eq=False)
class Bands:
    """95 % quantiles of the distance of inputs that nothing depends on, under the weights of a
    candidate's failures; each imitated once, for all inputs of so many columns in the same samples.
    """

    candidate: int
    rng: np.random.Generator
    known: dict[tuple[tuple[str, ...], int], float] = field(default_factory=dict)

    def of(self, samples: Sequence[Sampled], columns: int) -> float:
        """The band of inputs of so many columns in these samples. [-]

        Parameters
        ----------
        samples : sequence of Sampled
        columns : int

        Returns
        -------
        float
        """
        key = tuple(sample.name for sample in samples), columns
        if key not in self.known:
            self.known[key] = self._imitated(samples, columns)
        return self.known[key]

    def _imitated(self, samples: Sequence[Sampled], columns: int) -> float:
        weights = []
        for sample in samples:
            weight = sample.share / len(sample.w) * sample.w * sample.y[:, self.candidate]
            weights.append(weight[weight > 0])
        distances = []
        for _ in range(IMITATIONS):
            mass = np.zeros(BINS)
            for weight in weights:
                bins = self.rng.integers(BINS, size=(weight.size, columns))
                mass += _histogram(bins, weight)
            distances.append(_distance(mass))
        return float(np.quantile(distances, 0.95))
