"""A distribution moved along its axis, with its spread kept, and half of its width."""

from __future__ import annotations

from dataclasses import replace

from montecarlo.quantities.distribution import Distribution, number
from montecarlo.quantities.widening import PLACES, RATIOS, explicit

BOUNDED = ("uniform", "triangular", "beta", "discrete", "empirical")
TAIL = 0.025  # on each side of the central 95 %


def half_width(given: Distribution) -> float:
    """Half of the width of a distribution, in the unit of the key.

    A tolerance band has its tolerance; families with ends have half of the distance between them;
    all others have half of their central 95 %. 0 for a number.

    Parameters
    ----------
    given : Distribution

    Returns
    -------
    float
    """
    if given.is_number:
        return 0.0
    if given.family == "tolerance":
        nominal, percent = (given.parameters[key] for key in ("nominal", "tolerance_percent"))
        return abs(float(nominal)) * float(percent) / 100
    low, high = given.support()
    if given.family not in BOUNDED:
        low, high = map(float, given.ppf((TAIL, 1 - TAIL)))
    return (high - low) / 2


def shifted(given: Distribution, by: float) -> Distribution:
    """A distribution with its centre moved and its quantile function otherwise kept.

    The law of X + by, or of X (c + by)/c with the median c for families whose spread is a ratio.
    (Derived: the families are closed under these maps.)

    Parameters
    ----------
    given : Distribution
    by : float
        In the unit of the key; above -c for families whose spread is a ratio.

    Returns
    -------
    Distribution
    """
    if given.is_number:
        return number(given.centre() + by)
    if given.family in RATIOS:
        return _scaled(given, 1 + by / given.centre())
    parameters = dict(given.parameters)
    if "values" in parameters:
        parameters["values"] = tuple(value + by for value in parameters["values"])
        return replace(given, parameters=parameters)
    plain = explicit(given)
    parameters = dict(plain.parameters)
    for key in PLACES[plain.family]:
        parameters[key] += by
    low, high = plain.truncate
    return replace(plain, parameters=parameters, truncate=(low + by, high + by))


def _scaled(given: Distribution, factor: float) -> Distribution:
    """Median and 63 % value are where such a family stands."""
    key = "median" if given.family == "lognormal" else "scale"
    low, high = given.truncate
    return replace(
        given,
        parameters={**given.parameters, key: factor * given.parameters[key]},
        truncate=(factor * low, factor * high),
    )
