"""From sums of weighted samples to probabilities with limits, and whether to trust them."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import Enum, auto
from typing import NamedTuple

import numpy as np
from scipy.special import gammainccinv, gammaincinv, ndtri, stdtrit

from montecarlo.estimates.intervals import Estimate, Limits, clopper_pearson, ratio, tail_of
from montecarlo.estimates.rare.mixture import BATCH
from montecarlo.estimates.rare.sums import Sums
from montecarlo.quantities import Array

COMMON = 0.02  # p from which counting is at least as good
FEW = 50.0  # effective hits below which limits are not relied on
PASSED = 1.25 * FEW  # the check, with a margin
HITS = 200.0  # for limits some 15 % away, four times the check's; without the largest sample
ONE = 0.1  # share of an estimate that one sample may have
LEAST_SCATTER = 1e-6  # of a sum, relative: below it the gamma function is inexact
LOST = 0.1  # weight of unresolved samples, over that of hits
SHOWN = 1e-6  # least probability whose coverage was shown


def variation(sums: Sums) -> Array:
    """Coefficient of variation of p, from the scatter of batches. [-]

    Parameters
    ----------
    sums : Sums

    Returns
    -------
    (C,) array
        Infinite where nothing operated.
    """
    return _variation(sums.total, sums.batch_squares, sums.batches)


def _variation(total: Array, squares: Array, batches: int) -> Array:
    scatter = np.maximum(squares - total**2 / batches, 0.0) * batches / (batches - 1)
    return ratio(np.sqrt(scatter), total, np.inf)


def fewer_than(sums: Sums, level: float = 0.95) -> float:
    """Exact upper limit of p where no sample operated. [-]

    Derived: at least m = floor(share of the nominal component times B) rows of every batch are
    plain draws of N(0, I), independent of each other and of the rest, since components go by equal
    steps through the cumulated shares. None of the m n/B operated: Clopper and Pearson, 1 -
    tail^(B/(m n)). The tilted draws are left out: they say something about where they fell, and
    nothing about where they did not.

    Parameters
    ----------
    sums : Sums
    level : float (-)

    Returns
    -------
    float
    """
    plain = np.floor(BATCH / sums.ceiling + 1e-9) * sums.batches
    return float(clopper_pearson(0.0, plain, level).high)


def rare_estimate(sums: Sums, level: float = 0.95) -> Estimate:
    """p with limits of gamma distributions. [-]

    A sum of weights is skew to the right, and a low one comes with a low scatter (`_limits`;
    measured, tests/MEASUREMENTS.md). Nothing operated: p = 0, and `fewer_than` above. Unresolved
    samples have no part in p, count as not operating in the low limit, and in the high one with
    the high limit of their own probability on top of the other.

    Parameters
    ----------
    sums : Sums
    level : float (-)

    Returns
    -------
    Estimate
        (C,).
    """
    found = _limits(sums.total, sums.batch_squares, sums.largest, sums, level)
    p = sums.total / sums.trials
    high = found.high
    if (sums.lost_hits > 0).any():
        lost = _limits(sums.lost, sums.lost_squares, sums.lost_largest, sums, level)
        high = high + np.where(sums.lost_hits > 0, lost.high, 0.0)
        p = p / np.maximum(1 - sums.lost / sums.trials, 1e-12)
    return Estimate(np.minimum(p, 1.0), found.low, np.minimum(high, 1.0))


def _limits(total: Array, squares: Array, largest: Array, sums: Sums, level: float) -> Limits:
    """Limits of a sum T of weighted events with variance v: quantiles of gamma distributions, the
    low one of mean T and variance v, the high one of mean T + k and variance v + k^2, k the largest
    weight, as if one more had been seen. Equal weights give the exact limits of a Poisson count.

    Source: Fay and Feuer, Stat. Med. 16, 1997, 791-801. Ours: v from the scatter of batches, which
    are stratified, larger by (t/z)^2 since they are few; and k the largest weight that was seen
    (theirs: of all, which would be that of N(0, I))."""
    tail = tail_of(level)
    batches = sums.batches
    some = total > 0
    mean = np.where(some, total, 1.0)
    few = (stdtrit(batches - 1, tail) / ndtri(tail)) ** 2
    scatter = np.where(some, _variation(total, squares, batches), 1.0)
    variance = few * np.maximum(scatter, LEAST_SCATTER) ** 2 * mean**2
    below = variance / mean * gammaincinv(mean**2 / variance, tail)
    more = mean + largest
    wider = variance + largest**2
    above = wider / more * gammainccinv(more**2 / wider, tail)
    high = np.minimum(above / sums.trials, 1.0)
    return Limits(
        np.where(some, below / sums.trials, 0.0), np.where(some, high, fewer_than(sums, level))
    )


class Why(Enum):
    """What weighted samples of a setting are good for."""

    GOOD = auto()
    MAGNITUDE = auto()  # good, but below what coverage was shown for
    FEW = auto()  # too few effective hits, and nothing else against them
    ONE = auto()  # enough, but one sample is too much of the estimate
    LOST = auto()  # too much of it gave no result
    NOTHING = auto()  # no sample operates
    COMMON = auto()  # counting is as good
    CONTRADICTED = auto()  # by the counts


class Trust(NamedTuple):
    """A judgement, and the number that it rests on.

    Attributes
    ----------
    why : Why
    value : float
        Of FEW the effective hits, of ONE its share of the estimate, of CONTRADICTED the standard
        errors between; NaN for the others.
    foretold : bool
        Whether an earlier batch judges.
    """

    why: Why
    value: float = math.nan
    foretold: bool = False


class Seen(NamedTuple):
    """What a batch of weighted samples shows of one setting, or lets a batch of another size
    expect."""

    trials: int
    p: float
    effective: float  # (sum w y)^2 / sum (w y)^2
    largest_share: float  # of the estimate, in one sample
    lost_share: float  # weight of unresolved samples over that of hits

    def expected(self, trials: int) -> Seen:
        """What other samples of the same density let expect.

        Hits in proportion, and the largest of them among so many more.

        Parameters
        ----------
        trials : int

        Returns
        -------
        Seen
        """
        more = trials / self.trials
        return self._replace(
            trials=trials, effective=self.effective * more, largest_share=self.largest_share / more
        )

    @property
    def steady_hits(self) -> float:
        """Effective hits of all samples but the largest.

        Weights have long tails, so that one sample moves the plain number by a factor of four from
        seed to seed, and this one by a seventh (derived: both sums without their largest term;
        measured, tests/MEASUREMENTS.md)."""
        if self.effective <= 0 or self.largest_share >= 1:
            return self.effective
        return (1 - self.largest_share) ** 2 / max(
            1 / self.effective - self.largest_share**2, 1e-300
        )

    @property
    def trust(self) -> Trust:
        """Few hits come before a large share of one: of few hits, one always has much."""
        if not self.effective > 0:
            return Trust(Why.NOTHING)
        if self.lost_share > LOST:
            return Trust(Why.LOST)
        if self.effective < FEW:
            return Trust(Why.FEW, self.effective)
        if self.largest_share > ONE:
            return Trust(Why.ONE, self.largest_share)
        if self.p < SHOWN:
            return Trust(Why.MAGNITUDE)
        return Trust(Why.GOOD)


@dataclass(frozen=True, eq=False)
class Diagnostics:
    """Beside an estimate, (C,) each. They are flags: what no sample has seen, no figure here
    shows."""

    cov: Array  # coefficient of variation, infinite where nothing was seen
    effective: Array  # (sum w y)^2 / sum (w y)^2
    largest_share: Array  # of the estimate, in one sample
    seen: tuple[Seen, ...]

    @property
    def trust(self) -> tuple[Trust, ...]:
        """What each setting's samples are good for."""
        return tuple(seen.trust for seen in self.seen)


def diagnose(sums: Sums) -> Diagnostics:
    """What weighted samples show of each setting.

    Parameters
    ----------
    sums : Sums

    Returns
    -------
    Diagnostics
    """
    effective = ratio(sums.total**2, np.where(sums.total > 0, sums.squares, 0.0), 0.0)
    largest = ratio(sums.largest, sums.total, 0.0)
    lost = sums.lost / np.maximum(sums.total, 1e-300)
    cases = zip(sums.total / sums.trials, effective, largest, lost, strict=True)
    seen = tuple(Seen(sums.trials, *map(float, case)) for case in cases)
    return Diagnostics(variation(sums), effective, largest, seen)
