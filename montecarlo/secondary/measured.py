"""Measured excitation points of a CT, and the characteristic that fits them.

A test report gives RMS voltage at the open secondary and RMS current. The characteristic of
`excitation.py`, I_k times its RMS at V/V_k, is fitted by least squares on the logarithm of the
current, so that every decade counts alike: knee voltage and current always; the ankle ratio where
points lie low enough to say it; the exponent of the saturated branch where points lie high enough.
Points from half the knee voltage up, which say when a core saturates, count thrice (common
practice, no source). Derived; the knee is that of IEC 61869-2 (10 % more voltage, 50 % more
current)."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Annotated, Any, Self, TypeVar

import numpy as np
from pydantic import ValidationInfo, model_validator
from pydantic.functional_validators import ModelWrapValidatorHandler

from montecarlo.errors import StudyError
from montecarlo.quantities import Array, Ranged, Section, word
from montecarlo.quantities.columns import read_column
from montecarlo.quantities.reading import refusal
from montecarlo.secondary.excitation import excitation_table, loop_rms
from montecarlo.secondary.remanence import RemanenceModel, coefficients_of

FEWEST, MOST = 5, 200
EXPONENTS = (9, 11, 13, 15, 17, 21, 25, 31)
USUAL_ANKLE, USUAL_EXPONENT = 0.2, 15
LOW_SHARE = 0.3  # of the knee voltage: points below it tell the ankle
HIGH_SHARE = 1.1  # of the knee voltage: points above it, at least so many, tell the exponent
HIGH_POINTS = 2
UPPER_SHARE = 0.5  # of the knee voltage: points above it count more, and how much more
UPPER_WEIGHT = 3.0
MISFIT_MAX_PERCENT = 15.0  # RMS error of the current that is accepted, unless stated
SINGLE = 40 / 15  # times that, which one of those points may miss

VOLTS = Ranged("V", "RMS voltages at the secondary, rising", 0.0, 1e5, above=True)
AMPERES = Ranged("A", "RMS exciting currents, rising, secondary", 0.0, 1e3, above=True)


class ExcitationPoints(Section):
    """Points of a test report: two lists, or two columns of a CSV file in the study file's folder
    or below it."""

    voltage_v: Annotated[tuple[float, ...] | None, VOLTS] = None
    current_a: Annotated[tuple[float, ...] | None, AMPERES] = None
    file: Annotated[
        str | None, word("instead of the lists: CSV file in the study file's folder or below it")
    ] = None
    voltage: Annotated[str | None, word("name of the file's column of voltages [V]")] = None
    current: Annotated[str | None, word("name of the file's column of currents [A]")] = None

    @property
    def curve(self) -> tuple[tuple[float, ...], tuple[float, ...]]:
        """Voltages [V] and currents [A]."""
        return self.voltage_v or (), self.current_a or ()

    @model_validator(mode="wrap")
    @classmethod
    def _complete(
        cls, data: Any, handler: ModelWrapValidatorHandler[Self], info: ValidationInfo
    ) -> Self:
        given = handler(data)
        if isinstance(data, ExcitationPoints):
            return given
        if given.file is not None:
            given = _from_file(given, (info.context or {}).get("folder"))
        if given.voltage_v is None or given.current_a is None:
            raise refusal("give voltage_v and current_a, two lists, or file, voltage and current")
        if fault := _curve_fault(given.voltage_v, given.current_a):
            raise refusal(fault)
        return given


Points = TypeVar("Points", bound=ExcitationPoints)


def _from_file(given: Points, folder: Path | None) -> Points:
    if given.voltage_v is not None or given.current_a is not None:
        raise refusal(("file", "stands beside voltage_v or current_a; give one or the other"))
    if given.voltage is None or given.current is None:
        raise refusal(("file", "needs the names of its columns: voltage and current"))
    if folder is None:
        raise refusal(
            ("file", "has no folder to start from; read the study from a file, or give the lists")
        )
    try:
        columns = {
            "voltage_v": read_column(folder, str(given.file), given.voltage),
            "current_a": read_column(folder, str(given.file), given.current),
        }
    except StudyError as error:
        raise refusal(*(("file", fault) for fault in error.faults)) from None
    return given.model_copy(update=columns)


def _curve_fault(voltage: tuple[float, ...], current: tuple[float, ...]) -> str:
    if len(voltage) != len(current):
        return f"{len(voltage)} voltages and {len(current)} currents; give one current a voltage"
    if not FEWEST <= len(voltage) <= MOST:
        return (
            f"{len(voltage)} points, must be {FEWEST} to {MOST}; take them from the foot to beyond"
            " the knee"
        )
    for values, name, allowed in ((voltage, "voltage", VOLTS), (current, "current", AMPERES)):
        before, unit = 0.0, allowed.unit
        for value in values:
            if not value > before:
                return (
                    f"the {name} {value:g} {unit} does not lie above {before:g} {unit} before it;"
                    " sort the points, and take out those that are no part of a rising curve"
                )
            before = value
        if not before <= allowed.high:
            return (
                f"the {name} reaches {before:g} {unit}, {allowed.limits}; is the unit prefix right?"
            )
    return ""


class NoCurveError(ValueError):
    """The points are not an excitation curve that the characteristic can stand for."""


@dataclass(frozen=True)
class ExcitationFit:
    """The characteristic through the points, and how far the currents lie from it."""

    knee_voltage_v: float
    knee_current_a: float
    ankle_ratio: float
    exponent: int
    bound_percent: float
    worst: float  # largest relative error of the current
    worst_upper: float  # the largest from half the knee voltage up
    rms: float  # of the relative errors, those from half the knee voltage up thrice

    @property
    def misfit_percent(self) -> float:
        """The smallest limit that accepts it; a point from V_k/2 up may miss by 8/3 of a limit."""
        return 100 * max(self.rms, self.worst_upper / SINGLE)

    def against(self, points: ExcitationPoints) -> list[tuple[float, float, float]]:
        """The points beside the curve.

        Parameters
        ----------
        points : ExcitationPoints

        Returns
        -------
        list of (float, float, float)
            Voltage (V), measured and fitted current (A) of each.
        """
        pairs = zip(*points.curve, strict=True)
        return [(volts, amperes, self.current_a(volts)) for volts, amperes in pairs]

    def current_a(self, voltage_v: float, model: RemanenceModel = "stop_operators") -> float:
        """RMS exciting current, also of a shifted curve with the same knee, ankle and exponent. [A]

        Parameters
        ----------
        voltage_v : float
            RMS (V).
        model : str
            One of `RemanenceModel`.

        Returns
        -------
        float
        """
        shape = coefficients_of(model, self.bound_percent, self.exponent, self.ankle_ratio)
        flux = voltage_v / self.knee_voltage_v
        return float(self.knee_current_a * loop_rms(shape, flux, self.exponent))


@cache
def fit_points(
    voltage_v: tuple[float, ...],
    current_a: tuple[float, ...],
    bound_percent: float,
    ankle_ratio: float | None = None,
    exponent: int | None = None,
) -> ExcitationFit:
    """The characteristic through measured points: least squares on the logarithm of the current,
    however large the misfit.

    Parameters
    ----------
    voltage_v, current_a : tuple of float
        RMS, rising (V, A).
    bound_percent : float
        Remanence bound (% of the knee flux).
    ankle_ratio, exponent : float and int, optional
        Stay as they are where they are given.

    Returns
    -------
    ExcitationFit

    Raises
    ------
    NoCurveError
        The points never reach a knee.
    """
    volts, amperes = np.array(voltage_v), np.array(current_a)
    knee_v = _rough_knee(volts, amperes)
    if ankle_ratio is None and volts[0] > LOW_SHARE * knee_v:
        ankle_ratio = USUAL_ANKLE
    best = _fit(volts, amperes, bound_percent, ankle_ratio, exponent or USUAL_EXPONENT, knee_v)
    high = np.sum(volts > HIGH_SHARE * best.knee_voltage_v)
    if exponent is not None or high < HIGH_POINTS:
        return best
    knee_v = best.knee_voltage_v
    others = [_fit(volts, amperes, bound_percent, ankle_ratio, s, knee_v) for s in EXPONENTS]
    return min((best, *others), key=lambda fit: fit.rms)


def _rough_knee(volts: Array, amperes: Array) -> float:
    """Where 10 % more voltage gives 50 % more current, on straight lines between the logarithms."""
    places = volts[:1]
    if volts[-1] > 1.1 * volts[0]:
        places = np.geomspace(volts[0], volts[-1] / 1.1, 400)
    here, further = (
        np.interp(np.log(places * more), np.log(volts), np.log(amperes)) for more in (1.0, 1.1)
    )
    rise = further - here
    if not rise.max() >= math.log(1.5):
        raise NoCurveError(
            "the points never reach a knee: 10 % more voltage gives at most"
            f" {100 * math.expm1(rise.max()):.3g} % more current, 50 % at a knee; measure to a"
            " higher voltage"
        )
    return float(places[np.argmax(rise >= math.log(1.5))])


def _fit(
    volts: Array,
    amperes: Array,
    bound_percent: float,
    ankle: float | None,
    exponent: int,
    start_v: float,
) -> ExcitationFit:
    from scipy.optimize import least_squares

    table = excitation_table(bound_percent, exponent)
    upper = volts >= UPPER_SHARE * start_v
    weight = np.where(upper, UPPER_WEIGHT, 1.0)
    low, high = table.ankle_range
    if ankle is not None:
        low = high = min(max(ankle, low), high)

    def ankle_of(x: Array) -> float:
        return float(low + (high - low) * x[2]) if high > low else low

    def off(x: Array) -> Array:
        shape = table.at(ankle_of(x))
        model = [float(loop_rms(shape, v / math.exp(x[0]), exponent)) for v in volts]
        return np.asarray(x[1] + np.log(model) - np.log(amperes))

    first = [math.log(start_v), np.interp(start_v, volts, np.log(amperes))]
    if high > low:
        first.append((min(max(USUAL_ANKLE, low), high) - low) / (high - low))
    count = len(first)
    edges = ([-np.inf, -np.inf, 0.0][:count], [np.inf, np.inf, 1.0][:count])
    scale = (0.1, 0.3, 0.3)[:count]
    x = least_squares(lambda x: np.sqrt(weight) * off(x), first, bounds=edges, x_scale=scale).x
    errors = np.expm1(off(x))
    size = np.abs(errors)
    return ExcitationFit(
        math.exp(x[0]),
        math.exp(x[1]),
        ankle_of(x),
        exponent,
        bound_percent,
        float(size.max()),
        float(size[upper].max(initial=0.0)),
        float(np.sqrt(np.average(errors**2, weights=weight))),
    )
