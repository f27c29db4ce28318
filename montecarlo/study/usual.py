"""Where quantities usually lie, and those of a study that lie elsewhere: per cent given per unit,
kV for V, ms for s.

Wider than what a good machine has and narrower than what the file refuses. Zero stands for "left
out" and is not looked at."""

from __future__ import annotations

import csv
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fnmatch import fnmatchcase
from importlib import resources
from typing import Any, Literal

import numpy as np

from montecarlo.relays.places import GROUPS
from montecarlo.sampling.inputs import list_inputs
from montecarlo.study.axes import PICKUPS
from montecarlo.study.check import Caution
from montecarlo.study.description import Study
from montecarlo.study.nominal import Nominal

SMALL_TOLERANCE_PERCENT = 0.3  # a tolerance band below it is rather a share: 0.1 for 10 %
PERCENT = (100.0,)  # what a slip makes of a share
PREFIX = (1000.0, 1e6)  # and of a quantity with a prefix
SHARES = ("%", "pu", "-", "a year")
PRACTICE = "common practice, no source"
TEXTBOOK = "tables of machine constants in textbooks, from memory"
EARTHED = "resistance earthing from 1 A to 2 kA, IEEE C62.92.2, from memory"


@dataclass(frozen=True)
class Usual:
    """The range of the quantities whose key a pattern fits."""

    pattern: str
    unit: str
    low: float
    high: float
    source: str = PRACTICE
    # the median, or the largest magnitude that can be drawn
    look_at: Literal["centre", "largest"] = "centre"

    @property
    def factors(self) -> tuple[float, ...]:
        """By which a slip is off, the likeliest first."""
        if self.unit == "deg":
            return (180 / math.pi,)
        if self.unit in SHARES:
            return PERCENT
        return (*PERCENT, *PREFIX) if self == PICKUP else PREFIX


@dataclass(frozen=True)
class Unusual:
    """A quantity outside its range, and what it would be a factor off, where that lies inside."""

    key: str
    value: float
    usual: Usual
    meant: float | None


def _read() -> Iterator[Usual]:
    text = resources.files(__package__).joinpath("usual.csv").read_text(encoding="utf-8")
    for row in csv.DictReader(text.splitlines()):
        low, high = float(row["low"]), float(row["high"])
        look_at: Any = row["look_at"]
        yield Usual(row["pattern"], row["unit"], low, high, row["source"], look_at)


USUAL = tuple(_read())
# Of what a key gives on the study's own base, under the key itself.
CURRENT = Usual("earthing", "A at rated phase voltage", 0.5, 2500.0, EARTHED)
RESISTANCE = Usual(
    "machine.winding_resistance_ohm", "pu of the machine's rating", 1e-4, 0.05, TEXTBOOK
)
PICKUP = Usual("candidates", "times the relay's rated current", 0.001, 3.0)


def unusual(study: Study) -> list[Unusual]:
    """Every quantity outside its range, one for each key.

    Parameters
    ----------
    study : Study

    Returns
    -------
    list of Unusual
    """
    found = [
        _outside(key, value, usual) for key, value, usual in (*_listed(study), *_on_own_base(study))
    ]
    return [one for one in found if one is not None]


def _outside(key: str, value: float, usual: Usual) -> Unusual | None:
    slack = 1e-9 * value
    if value == 0 or usual.low - slack <= value <= usual.high + slack:
        return None
    small = value < usual.low
    others = [value * factor if small else value / factor for factor in usual.factors]
    meant = next((other for other in others if usual.low <= other <= usual.high), None)
    return Unusual(key, value, usual, meant)


def _listed(study: Study) -> Iterator[tuple[str, float, Usual]]:
    """Key, size and range of every quantity that the table names."""
    for item in list_inputs(study):
        if (usual := _usual(item.key)) is None or _as_in_ct(study, item.key):
            continue
        low, high = item.distribution.support()
        value = max(-low, high) if usual.look_at == "largest" else item.distribution.centre()
        yield item.key, abs(value), usual
    for section in ("study", "policy", "candidates"):
        table = getattr(study, section)
        for name in type(table).model_fields:
            usual, value = _usual(f"{section}.{name}"), getattr(table, name)
            if usual is not None and value is not None:
                yield f"{section}.{name}", _farthest(value, usual), usual


def _usual(key: str) -> Usual | None:
    return next((usual for usual in USUAL if fnmatchcase(key, usual.pattern)), None)


def _as_in_ct(study: Study, key: str) -> bool:
    """A place's CTs whose value is that of [ct], told there."""
    group, _, name = key.removeprefix("ct.").partition(".")
    return (
        key.startswith("ct.")
        and group in GROUPS
        and getattr(getattr(study.ct, group), name) == getattr(study.ct, name)
    )


def _farthest(value: float | Sequence[float], usual: Usual) -> float:
    """Of a grid the point that lies farthest outside, zeros left out; 0 of none."""
    sizes = [abs(one) for one in np.atleast_1d(value) if one]
    return max(sizes, key=lambda one: max(usual.low / one, one / usual.high), default=0.0)


def _on_own_base(study: Study) -> Iterator[tuple[str, float, Usual]]:
    nominal = Nominal(study)
    full_a = study.machine.phase_voltage_v / abs(nominal.own_neutral_ohm)
    yield f"earthing.{study.earthing.key}", full_a, CURRENT
    resistance_ohm = nominal.at(RESISTANCE.pattern)
    yield RESISTANCE.pattern, resistance_ohm / study.machine.base_impedance_ohm, RESISTANCE
    for name in PICKUPS:
        grid = [pickup / study.relay.rated_current_a for pickup in getattr(study.candidates, name)]
        yield f"candidates.{name}", _farthest(grid, PICKUP), PICKUP


# --- tolerances ---------------------------------------------------------------


def _small_tolerances(study: Study) -> Iterator[tuple[str, float]]:
    for item in list_inputs(study):
        given = item.distribution
        if given.family == "tolerance" and not _as_in_ct(study, item.key):
            percent = float(given.parameters["tolerance_percent"])
            if 0 < percent <= SMALL_TOLERANCE_PERCENT:
                yield item.key, percent


# --- in words -----------------------------------------------------------------


def usual_cautions(study: Study) -> Iterator[Caution]:
    """Quantities far from where they usually lie, and narrow tolerances.

    Parameters
    ----------
    study : Study

    Yields
    ------
    Caution
    """
    for one in unusual(study):
        usual = one.usual
        unit = f" {usual.unit}" if usual.unit != "-" else ""
        lies = "It reaches" if usual.look_at == "largest" else "It is"
        meant = f"; is {one.meant:.3g}{unit} meant?" if one.meant is not None else "."
        yield Caution(
            one.key,
            f"{lies} {one.value:.3g}{unit}. Usual is {usual.low:g} to {usual.high:g}{unit}"
            f" ({usual.source}){meant}",
        )
    for key, percent in _small_tolerances(study):
        yield Caution(
            key,
            f"Its tolerance_percent is {percent:g}: {percent:g} % either way ({PRACTICE} below "
            f"{SMALL_TOLERANCE_PERCENT:g} %); is {100 * percent:g} % meant?",
        )
