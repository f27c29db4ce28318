"""Where missed earth faults lie: by place along the winding and fault resistance.

A sampled earth fault has one critical position x*, and at a setting it is missed below it. So the
probability of a miss is exact in the place; only the resistance is sampled."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from montecarlo.estimates.assemble import LEVEL, Gathered
from montecarlo.estimates.counting import missed_places
from montecarlo.estimates.intervals import Estimate, clustered, ratio
from montecarlo.estimates.tally import Places
from montecarlo.quantities import Array


@dataclass(frozen=True, eq=False)
class MissedPlaces:
    """Earth faults of one candidate in R classes of resistance and X parts of the winding."""

    from_ohm: Array  # (R,) of each class
    to_ohm: Array  # (R,)
    places: Array  # (X + 1,) ends of the parts
    share_of_faults: Array  # (R, X) of all earth faults
    p_missed: Estimate  # (R, X) of those of a class and part

    @property
    def share_of_missed(self) -> Array:
        """What each class and part makes of all missed earth faults, (R, X); NaN without any."""
        missed = self.share_of_faults * np.nan_to_num(self.p_missed.p)
        return ratio(missed, np.full(missed.shape, missed.sum()))


def missed_by_place(
    stratum: Gathered,
    candidate: int,
    cdf: Callable[[Array], Array],
    *,
    classes: int,
    places: Array,
) -> MissedPlaces | None:
    """Probability that a candidate misses an earth fault, by its resistance and its place.

    Parameters
    ----------
    stratum : Gathered
        Earth faults.
    candidate : int
        In the order of its rows.
    cdf : callable
        Of the fault's place.
    classes : int
        Of resistance, at most; each holds as many faults as the next, or is one value where there
        are no more of them.
    places : (X + 1,) array (-)
        Ends of the parts of the winding, rising.

    Returns
    -------
    MissedPlaces or None
        None without a sample that has a result.
    """
    positions, ohms = _of(stratum, candidate)
    every = np.concatenate(ohms).astype(float)
    if not every.size:
        return None
    low, high = _classes(every, classes)
    ends = np.asarray(cdf(places), float)
    hits = np.empty((low.size, places.size - 1, len(ohms)))
    trials = np.empty((low.size, 1, len(ohms)))
    for block, (x, ohm) in enumerate(zip(positions, ohms, strict=True)):
        upto = np.asarray(cdf(np.clip(x[:, None].astype(float), places[:-1], places[1:])), float)
        part = ratio(upto - ends[:-1], np.broadcast_to(np.diff(ends), upto.shape))
        inside = np.searchsorted(high, ohm)
        for k in range(low.size):
            hits[k, :, block] = part[inside == k].sum(axis=0)
            trials[k, :, block] = np.sum(inside == k)
    trials = np.broadcast_to(trials, hits.shape)
    p = ratio(hits.sum(axis=-1), trials.sum(axis=-1))
    limits = clustered(hits, trials, LEVEL)
    share = trials.sum(axis=-1) / every.size * np.diff(ends)
    return MissedPlaces(low, high, places, share, Estimate(p, limits.low, limits.high))


def _of(stratum: Gathered, candidate: int) -> tuple[list[Places], Sequence[Places]]:
    """x* and resistance of each of its faults that has a result, by block."""
    assert stratum.phase_x is not None
    assert stratum.earth_x is not None
    assert stratum.fault_ohm is not None
    left = candidate
    for phase, earth, ohms in zip(stratum.phase_x, stratum.earth_x, stratum.fault_ohm, strict=True):
        shape = phase[0].shape[1], *earth[0].shape[1:]
        if left < math.prod(shape):
            p, e, d = np.unravel_index(left, shape)
            pairs = zip(phase, earth, strict=True)
            return [missed_places(x[:, p, d], y[:, e, d]) for x, y in pairs], ohms
        left -= math.prod(shape)
    raise IndexError(candidate)


def _classes(ohms: Array, most: int) -> tuple[Array, Array]:
    """Lowest and highest resistance of each class."""
    values = np.unique(ohms)
    if values.size <= most:
        return values, values
    high = np.unique(np.quantile(ohms, np.arange(1, most + 1) / most, method="inverted_cdf"))
    return np.append(values[0], high[:-1]), high
