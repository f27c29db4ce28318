"""A distribution with a larger spread about its centre."""

from __future__ import annotations

import math
from dataclasses import replace

from montecarlo.quantities.distribution import Distribution

PLACES = {
    "uniform": ("low", "high"),
    "normal": ("mean",),
    "triangular": ("low", "mode", "high"),
    "beta": ("low", "high"),
}  # parameters that lie on the axis of the value
RATIOS = ("lognormal", "weibull")  # their spread is a ratio


def widened(
    given: Distribution,
    factor: float,
    low: float = -math.inf,
    high: float = math.inf,
    above: bool = False,
) -> Distribution:
    """A distribution with `factor` times its spread about its median c.

    The law of c + factor (X - c), or of c (X/c)^factor for families whose spread is a ratio.
    Numbers and lists of values stay as they are. (Derived: the families are closed under these
    maps.)

    Parameters
    ----------
    given : Distribution
    factor : float
    low, high : float
        The physical range, to which the result is cut.
    above : bool
        Whether `low` itself is excluded: the cut then leaves `factor` times less room above it
        than `given` had.

    Returns
    -------
    Distribution
    """
    if not given.is_continuous:
        return given
    if given.family in RATIOS:
        wide = _by_ratio(given, factor)
    else:
        wide = _by_difference(explicit(given), factor)
    least, most = wide.support()
    if above and not wide.stays_above(low):
        low += (given.support()[0] - low) / factor
    if least >= low and most <= high:
        return wide
    return replace(wide, truncate=(max(wide.truncate[0], low), min(wide.truncate[1], high)))


def explicit(given: Distribution) -> Distribution:
    """A tolerance band as the distribution that it stands for; any other as it is.

    Parameters
    ----------
    given : Distribution

    Returns
    -------
    Distribution
    """
    if given.family != "tolerance":
        return given
    nominal = float(given.parameters["nominal"])
    half = abs(nominal) * float(given.parameters["tolerance_percent"]) / 100
    ends = {"low": nominal - half, "high": nominal + half}
    match given.parameters["shape"]:
        case "uniform":
            return replace(given, family="uniform", parameters=ends)
        case "triangular":
            return replace(given, family="triangular", parameters=ends | {"mode": nominal})
    low, high = given.truncate
    return replace(
        given,
        family="normal",
        parameters={"mean": nominal, "sd": half / 2},
        truncate=(max(low, nominal - 1.5 * half), min(high, nominal + 1.5 * half)),
    )


def _by_difference(given: Distribution, factor: float) -> Distribution:
    centre = given.centre()

    def moved(x: float) -> float:
        return centre + factor * (x - centre)

    parameters = dict(given.parameters)
    for key, value in parameters.items():
        if key in PLACES[given.family]:
            parameters[key] = moved(value)
        elif key == "sd":
            parameters[key] = factor * value
    low, high = given.truncate
    return replace(given, parameters=parameters, truncate=(moved(low), moved(high)))


def _by_ratio(given: Distribution, factor: float) -> Distribution:
    centre = given.centre()

    def moved(x: float) -> float:
        return centre * (x / centre) ** factor if 0 < x < math.inf else x

    old = given.parameters
    if given.family == "lognormal":
        parameters = {"median": moved(old["median"]), "sigma": factor * old["sigma"]}
    else:
        parameters = {"shape": old["shape"] / factor, "scale": moved(old["scale"])}
    low, high = given.truncate
    return replace(given, parameters=parameters, truncate=(moved(low), moved(high)))
