"""How far weighted samples of a quantity reach, and which of them lie beyond thresholds that may
shape a density."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from montecarlo.quantities import Array, Flags
from montecarlo.quantities.digits import alike

LEAST_SIZE = 25.0  # independent samples beyond a threshold worth a fit
STEP = 3.0  # between levels on the way to thresholds out of reach


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


class Ranked:
    """A quantity's samples from the highest down, and how far they reach.

    Parameters
    ----------
    quantity : (n,) array
        NaN without a result.
    log_w : (n,) array
        ln of the weights.
    """

    def __init__(self, quantity: Array, log_w: Array) -> None:
        w = np.exp(log_w)
        self.known = np.where(np.isnan(quantity), -np.inf, quantity)
        self.order = np.argsort(-self.known, kind="stable")
        self.part = np.cumsum(w[self.order])
        squares = np.cumsum(w[self.order] ** 2)
        enough = np.flatnonzero(alike(self.part**2) >= alike(LEAST_SIZE * squares))
        # the first so many samples are the highest level that counts
        self.reached = int(enough[0]) if enough.size else None

    def place(self, p: float) -> int:
        """Of the sample up to which the probability is p."""
        n = len(self.order)
        return min(int(np.searchsorted(alike(self.part), alike(p * n))), n - 1)

    def unreached(self, threshold: float, least: float) -> bool:
        """Whether too few samples are beyond a threshold whose probability may be above `least`.

        Parameters
        ----------
        threshold, least : float

        Returns
        -------
        bool
        """
        if self.reached is None or int((self.known > threshold).sum()) > self.reached:
            return False
        deepest = self.part[self.reached] / len(self.order)
        ends = self.known[self.order[[self.place(STEP * deepest), self.reached]]]
        return _within(threshold, ends, (min(STEP * deepest, 1.0), deepest), least)

    def levels(self, most: float) -> Iterator[Flags]:
        """Samples beyond levels from `most` to what enough samples reach.

        Parameters
        ----------
        most : float (-)

        Yields
        ------
        (n,) array of bool
        """
        assert self.reached is not None
        deepest = self.part[self.reached] / len(self.order)
        level = most
        while level > deepest:
            yield self.known > self.known[self.order[self.place(level)]]
            level /= STEP
        yield self.known >= self.known[self.order[self.reached]]


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
    ranked = Ranked(quantity, log_w)
    if ranked.reached is None:
        return
    for threshold in sorted(thresholds):
        beyond = ranked.known > threshold
        count = int(beyond.sum())
        if count <= ranked.reached:
            if ranked.unreached(threshold, least):
                yield from ranked.levels(most)
            return
        p = ranked.part[count - 1] / len(beyond)
        if p < most:
            yield beyond
        if p < least:
            return


def _within(threshold: float, quantity: Array, p: tuple[float, float], least: float) -> bool:
    """Whether ln p, carried on straight from two levels, is still above ln `least` at the
    threshold; tails mostly fall faster than that, so that this errs on the side of going on."""
    step = quantity[1] - quantity[0]
    if not (np.isfinite(step) and step > 0):
        return False
    there = np.log(p[1]) + (threshold - quantity[1]) * np.log(p[1] / p[0]) / step
    return bool(there > np.log(least))
