"""CT name-plates: the knee point that an accuracy class leaves at least, and what a class says of
ratio and remanence.

A class P, PR, TPX, TPY or C core is taken to meet its class only just: its exciting current reaches
the limit at the accuracy-limit e.m.f. E_al = K·I_sr·|R_ct + Z_b|, and, if it can, another limit at
rated current, where

- the ratio error leaves half of the class limit to the turns and half to the exciting current:
  together never more than the class (common practice, no source);
- the phase displacement is that of the class; a class without one keeps the whole exciting current
  within its ratio limit (common practice, no source).

Both on the characteristic of `excitation.py`: the first gives the knee current for a knee voltage
E_al/m, the second the m. With m = 1 already within the second, the knee stands at E_al. A TPZ core
has its knee at E_al and the class's displacement at rated current. Class limits: IEC 61869-2 and
60044-1, as tabulated in Agrawal, Industrial Power Engineering and Applications Handbook, p. 501, TP
and PR classes from memory; the 10 % at 20 times rated current class: IEEE C57.13, from memory. A
real core has some margin, and six of them are unlike: `knee_factor`."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cache

import numpy as np

from montecarlo.quantities import Array, Distribution
from montecarlo.secondary.excitation import (
    YIELDS,
    excitation_table,
    loop_rms,
    sine_power_fundamental,
)

MINUTE = math.pi / 180 / 60
FARTHEST = 2.0  # E_al over the knee voltage: beyond, no iron is left in the characteristic
# Ankle ratios; common practice, no source.
CLOSED = (0.15, 0.40)
GAPPED = (0.105, 0.17)
LINEAR = (0.094, 0.100)


@dataclass(frozen=True)
class Family:
    """What a class allows. Errors as fractions, the phase displacement in rad."""

    limit: float | None  # exciting over accuracy-limit current at E_al; None: the knee is given
    peak: bool = False  # the limit holds for the peak instead of the RMS value
    ratio: float = 0.0  # error at rated current
    displacement: float | None = None  # at rated current
    exact: bool = False  # the displacement is that of the core, not its limit
    turns_percent: float = 0.0  # of the turns ratio, either way
    bound_percent: float = 80.0  # of the knee flux, at which the core can rest
    ankle: tuple[float, float] = CLOSED


_P5 = Family(limit=0.05, ratio=0.01, displacement=60 * MINUTE, turns_percent=0.5)
_P10 = Family(limit=0.10, ratio=0.03, turns_percent=1.5)
FAMILIES: dict[str, Family] = {
    "5P": _P5,
    "10P": _P10,
    "5PR": replace(_P5, bound_percent=10.0, ankle=GAPPED),
    "10PR": replace(_P10, bound_percent=10.0, ankle=GAPPED),
    "PX": Family(None, turns_percent=0.25),
    "PXR": Family(None, turns_percent=0.25, bound_percent=10.0, ankle=GAPPED),
    "TPX": Family(0.10, True, 0.005, 30 * MINUTE, turns_percent=0.25),
    "TPY": Family(
        0.10, True, 0.01, 60 * MINUTE, turns_percent=0.5, bound_percent=10.0, ankle=GAPPED
    ),
    "TPZ": Family(
        0.10, True, 0.01, 180 * MINUTE, True, turns_percent=0.5, bound_percent=2.0, ankle=LINEAR
    ),
    "C": Family(0.10, ratio=0.03, turns_percent=1.5),
}
_NAME = re.compile(r"(5P|10P|5PR|10PR)(\d+(?:\.\d+)?)|(PXR?|TP[XYZ])|(C)(\d+)")


@dataclass(frozen=True)
class Designation:
    """A class as it stands on the plate: "5P20", "PX", "TPY", "C400"."""

    family: str
    factor: float | None = None  # accuracy-limit factor in the name
    volts: float | None = None  # secondary terminal voltage in the name

    @property
    def rules(self) -> Family:
        """What the class allows."""
        return FAMILIES[self.family]

    @property
    def transient(self) -> bool:
        """Whether it is a TP class."""
        return self.family.startswith("TP")

    def burden_ohm(self, burden_va: float | None, rated_a: float) -> complex:
        """Rated burden. [ohm]

        Power factor 0.8 from 5 VA on (IEC 61869-2, memory), 1 below and for TP classes; with the
        voltage in the name, that voltage at 20 times rated current, 0.5 from 100 V on, else 0.9
        (C57.13, memory).

        Parameters
        ----------
        burden_va : float or None
            At rated current (VA).
        rated_a : float
            Secondary (A).

        Returns
        -------
        complex
        """
        power_va = burden_va or 0.0
        size = power_va / rated_a**2
        cosine = 0.8 if power_va >= 5 and not self.transient else 1.0
        if self.volts is not None:
            size = self.volts / (20 * rated_a)
            cosine = 0.5 if self.volts >= 100 else 0.9
        return size * complex(cosine, math.sqrt(1 - cosine**2))


def read_class(text: str) -> Designation | None:
    """An accuracy class by its name.

    Parameters
    ----------
    text : str
        As "5P20".

    Returns
    -------
    Designation or None
        None if it is no such class.
    """
    found = _NAME.fullmatch(text)
    if not found:
        return None
    family, factor, plain, volts_family, volts = found.groups()
    if volts_family:
        return Designation(volts_family, 20.0, float(volts)) if float(volts) > 0 else None
    if factor and not float(factor) >= 1:
        return None
    return Designation(family or plain, float(factor) if factor else None)


def band(low: float, high: float, source: str) -> Distribution:
    """A uniform distribution between two values.

    Parameters
    ----------
    low, high : float
    source : str

    Returns
    -------
    Distribution
    """
    return Distribution("uniform", {"low": low, "high": high}, source=source)


# --- the characteristic at one amplitude, in units of the knee ----------------


@dataclass(frozen=True)
class Core:
    """The excitation characteristic that a class is put on."""

    bound_percent: float
    ankle: float
    exponent: int

    @property
    def coefficients(self) -> Array:
        """a, b, c1, c2 of the characteristic, (4,)."""
        return excitation_table(self.bound_percent, self.exponent).at(self.ankle)

    def rms(self, m: float) -> float:
        """RMS exciting current, of that at the knee.

        Parameters
        ----------
        m : float
            Peak flux (knee flux).

        Returns
        -------
        float
        """
        return float(loop_rms(self.coefficients, m, self.exponent))

    def peak(self, m: float) -> float:
        """Peak exciting current, of the RMS value at the knee.

        Parameters
        ----------
        m : float
            Peak flux (knee flux).

        Returns
        -------
        float
        """
        (a, b), stops = self.coefficients[:2], self.coefficients[2:]
        return float(a * m + b * m**self.exponent + np.minimum(1.0, m / YIELDS) @ stops)

    def fundamental(self, m: float) -> complex:
        """RMS phasor of the exciting current against the e.m.f., in knee currents: the loss in
        phase, the rest 90° behind.

        A stop's is that of a bilinear hysteresis (Caughey, J. Appl. Mech. 27, 1960).

        Parameters
        ----------
        m : float
            Peak flux (knee flux).

        Returns
        -------
        complex
        """
        (a, b), stops = self.coefficients[:2], self.coefficients[2:]
        angle = np.arccos(np.maximum(1 - 2 * YIELDS / m, -1.0))
        scale = stops * m / YIELDS / np.pi
        behind = a * m + sine_power_fundamental(self.exponent) * b * m**self.exponent
        behind += float(np.sum(scale * (angle - np.sin(angle) * np.cos(angle))))
        return complex(float(np.sum(scale * np.sin(angle) ** 2)), -behind) / math.sqrt(2)


# --- from the class to the knee -----------------------------------------------


@dataclass(frozen=True)
class Design:
    """The core that only just meets its class."""

    limiting_v: float  # E_al
    knee_voltage_v: float
    knee_current_a: float
    limit_share: float  # exciting over accuracy-limit current at E_al, RMS or peak
    ratio_error: float  # of the exciting current at rated current and burden
    displacement_rad: float


@cache
def design(
    designation: Designation,
    core: Core,
    rated_a: float,
    resistance_ohm: float,
    burden_ohm: complex,
    factor: float,
    transient_factor: float,
) -> Design:
    """The core that only just meets its class.

    Parameters
    ----------
    designation : Designation
    core : Core
    rated_a : float
        Rated secondary current (A).
    resistance_ohm : float
        Of the winding (ohm).
    burden_ohm : complex
        Rated (ohm).
    factor : float
        Accuracy-limit factor, K_ssc for TP classes.
    transient_factor : float
        K_td, which raises E_al only.

    Returns
    -------
    Design
    """
    rules, impedance = designation.rules, resistance_ohm + burden_ohm
    emf_v = factor * transient_factor * rated_a * abs(impedance)
    turn = impedance / abs(impedance)
    assert rules.limit is not None
    ceiling = rules.limit * factor * rated_a

    def at(m: float, knee_a: float | None = None) -> Design:
        reach = core.peak(m) / math.sqrt(2) if rules.peak else core.rms(m)
        knee_a = ceiling / reach if knee_a is None else knee_a
        error = core.fundamental(m / (factor * transient_factor)) * knee_a * turn / rated_a
        return Design(
            emf_v,
            emf_v / m,
            knee_a,
            knee_a * reach / (factor * rated_a),
            1 - 1 / abs(1 + error),
            abs(math.atan2(error.imag, 1 + error.real)),
        )

    if rules.exact:
        small_a = 1e-6 * rated_a
        displacement = at(1.0, small_a).displacement_rad
        return at(1.0, small_a * math.tan(rules.displacement or 0.0) / math.tan(displacement))
    return at(_least(lambda m: _beyond(rules, at(m))))


def _beyond(rules: Family, found: Design) -> float:
    """Above 0 if the exciting current takes more than its part of the errors allowed at rated
    current."""
    ratio = found.ratio_error / (rules.ratio / 2)
    whole = rules.ratio if rules.displacement is None else rules.displacement
    return max(ratio, found.displacement_rad / whole) - 1


def _least(beyond: Callable[[float], float]) -> float:
    """The smallest m >= 1 with beyond(m) <= 0; it falls with m, since a core driven further
    saturates. Bisection."""
    low, high = 1.0, FARTHEST
    if beyond(low) <= 0:
        return low
    while high - low > 1e-12:
        middle = (low + high) / 2
        if beyond(middle) > 0:
            low = middle
        else:
            high = middle
    return high
