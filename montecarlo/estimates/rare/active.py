"""Which coordinates matter: those whose samples no longer look like N(0, 1) once the event has happened."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from scipy.special import gammaincc

from montecarlo.quantities import Array

__all__ = ["active_coordinates", "departure"]

FALSE_ALARM = 0.05                                         # dead coordinates taken along in a test of all, on average


def departure(u: Array, weights: Array, size: float) -> Array:
    """How far each coordinate of u (n, d) is from N(0, 1): chi-squared of two degrees of freedom if it is not, (d,).

    size: how many independent samples these stand for. Mean in units of its standard error, and ln of the variance
    in units of its own, sqrt(2/size)."""
    w = weights / weights.sum()
    mean = w @ u
    variance = np.maximum(w @ u**2 - mean**2, 1e-12)
    return np.asarray(size * mean**2 + size / 2 * np.log(variance) ** 2)


def active_coordinates(departures: Iterable[Array], dims: int) -> Array:
    """Coordinates below `dims` that depart, by the sum over all sets of samples; departures (dims + k,) a set.

    The last k are coordinates that the model never saw: whatever makes them depart (chains, common ancestors, unequal
    weights, sets that share samples) does so to a dead coordinate too. Their sums give the law to test by, a gamma law
    of their mean and variance (Bonferroni). A live coordinate that is missed is drawn from N(0, 1), which costs more
    draws and leaves the estimate right; a dead one that is taken along costs little. Derived."""
    total = np.sum(list(departures), axis=0)
    mean, variance = total[dims:].mean(), total[dims:].var(ddof=1)
    chance = gammaincc(mean**2 / variance, total[:dims] * mean / variance)
    return np.asarray(np.flatnonzero(chance < FALSE_ALARM / dims))
