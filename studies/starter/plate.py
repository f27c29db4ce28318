"""A machine's name-plate as the command line has it; what is not given is the starter's.

Sources: rated currents of CTs and their highest continuous current, IEC 61869-2 (standard values);
currents of earthing resistors, IEEE C62.92.2, from memory; spans of rating and voltage, common
practice, no source."""

from __future__ import annotations

import math
import re
import shlex
from collections.abc import Mapping
from dataclasses import dataclass

from montecarlo.errors import StudyError

POWERS_MVA = (1.0, 2000.0)
VOLTAGES_KV = (1.0, 30.0)
FREQUENCIES_HZ = (50.0, 60.0, 16.7, 25.0)
EARTHING_A = (1.0, 2000.0)
PRIMARIES_A = (10.0, 60000.0)
SECONDARIES_A = (1.0, 5.0)
# of a CT's rated primary current: its highest continuous current
MOST_RATED = 2.0
# Standard primary currents, with their decimal multiples. [A]
STANDARD_A = (10.0, 12.5, 15.0, 20.0, 25.0, 30.0, 40.0, 50.0, 60.0, 75.0)

_NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,3})?", re.ASCII)


@dataclass(frozen=True)
class Plate:
    """A name-plate. Which of it was given stands in `given`, by the names of the options."""

    mva: float = 8.0
    kv: float = 6.6
    hz: float = 50.0
    earthing_a: float = 200.0
    primary_a: float = 0.0  # 0: the next standard one
    secondary_a: float = 1.0
    given: frozenset[str] = frozenset()

    @property
    def rated_a(self) -> float:
        """Rated current of a phase, RMS. [A]"""
        return self.mva * 1e3 / (math.sqrt(3) * self.kv)

    @property
    def phase_v(self) -> float:
        """Rated voltage between phase and neutral. [V]"""
        return self.kv * 1e3 / math.sqrt(3)

    @property
    def base_ohm(self) -> float:
        """What 1 pu is. [ohm]"""
        return self.kv**2 / self.mva

    @property
    def omega(self) -> float:
        """Angular frequency. [rad/s]"""
        return 2 * math.pi * self.hz

    @property
    def ct_a(self) -> float:
        """Rated primary current of the CTs. [A]"""
        return self.primary_a or next_standard_a(self.rated_a)

    @property
    def turns(self) -> float:
        """Turns ratio of the CTs."""
        return self.ct_a / self.secondary_a


def next_standard_a(current_a: float) -> float:
    """The lowest standard primary current of CTs that is not below a current. [A]"""
    decade = math.pow(10, math.floor(math.log10(current_a)) - 1)
    return next(
        size * decade * tens
        for tens in (1, 10)
        for size in STANDARD_A
        if size * decade * tens >= current_a
    )


def read_plate(given: Mapping[str, str | None]) -> Plate:
    """The name-plate from the texts of options, by their names without dashes.

    Raises
    ------
    StudyError
        Every option that is wrong, a line each.
    """
    texts = {name: text for name, text in given.items() if text is not None}
    faults: list[str] = []
    found: dict[str, float] = {}
    for name, text in texts.items():
        try:
            found |= READERS[name](text)
        except ValueError as wrong:
            faults.append(f"--{name} {shlex.quote(text[:60])}: {wrong}")
    if faults:
        raise StudyError(*faults)
    plate = Plate(**found, given=frozenset(texts))
    _check_current(plate)
    return plate


def _check_current(plate: Plate) -> None:
    if not plate.rated_a <= PRIMARIES_A[1]:
        raise StudyError(
            f"--mva {plate.mva:g}: at {plate.kv:g} kV the rated current is {plate.rated_a:.0f} A,"
            f" must be at most {PRIMARIES_A[1]:.0f} A; give both --mva and --kv"
        )
    share = plate.rated_a / plate.ct_a
    if not share <= MOST_RATED:
        raise StudyError(
            f"--ct {plate.ct_a:g}/{plate.secondary_a:g}: the machine's rated current of"
            f" {plate.rated_a:.4g} A is {share:.3g} times the CT's primary, must be at most"
            f" {MOST_RATED:g} times; give the ratio on the CT's own plate, or check --mva and --kv"
        )


def _power(text: str) -> dict[str, float]:
    what = "the rated apparent power in MVA"
    return {"mva": _within(text, POWERS_MVA, what, f"the starter's {Plate.mva:g}")}


def _voltage(text: str) -> dict[str, float]:
    what = "the line-to-line voltage in kV"
    return {"kv": _within(text, VOLTAGES_KV, what, f"the starter's {Plate.kv:g}")}


def _earthing(text: str) -> dict[str, float]:
    what = "the current of the earthing resistor at rated voltage in A"
    return {"earthing_a": _within(text, EARTHING_A, what, f"the starter's {Plate.earthing_a:g}")}


def _within(text: str, span: tuple[float, float], what: str, usual: str) -> float:
    low, high = span
    value = _number(text)
    if value is None or not low <= value <= high:
        plain = ", a number such as 12.5" if value is None else ""
        raise ValueError(f"must be {what}, {low:g} to {high:g}{plain}; leave it out for {usual}")
    return value


def _frequency(text: str) -> dict[str, float]:
    value = _number(text)
    if value not in FREQUENCIES_HZ:
        raise ValueError(
            "must be the rated frequency, 50, 60, 16.7 or 25 Hz; a study file takes 15 to 70 Hz,"
            " so change machine.frequency_hz there"
        )
    return {"hz": value}


def _ratio(text: str) -> dict[str, float]:
    first, slash, second = text.partition("/")
    primary, secondary = _number(first), _number(second)
    low, high = PRIMARIES_A
    if not slash or primary is None or secondary is None:
        raise ValueError("must be PRIMARY/SECONDARY in A; give both, as 1500/1 or 1500/5")
    if secondary not in SECONDARIES_A:
        raise ValueError(
            f"the secondary is {secondary:g} A, must be 1 or 5 A; for others change ct.secondary_a"
            " in the file"
        )
    if not low <= primary <= high:
        raise ValueError(
            f"the primary is {primary:g} A, must be {low:g} to {high:g} A; give the ratio on the"
            " CT's own plate"
        )
    return {"primary_a": primary, "secondary_a": secondary}


def _number(text: str) -> float | None:
    return float(text) if _NUMBER.fullmatch(text) else None


READERS = {
    "mva": _power,
    "kv": _voltage,
    "hz": _frequency,
    "earthing-a": _earthing,
    "ct": _ratio,
}
