"""How schemes and settings are called in figures and texts."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from montecarlo.estimates.verdicts import Verdict
from montecarlo.relays.gates import NO_GATE
from montecarlo.study.axes import AXES, BIAS, CURRENTS, EARTH_BIAS
from studies.report.catalogue import without_unit

SAME = "no significant difference"  # at 95 %, all pairs together
VERDICTS = {
    Verdict.APART: "significant difference",
    Verdict.ALIKE: SAME,
    Verdict.ITSELF: "the same",
}
SCHEME_NAMES = {
    "per_phase": "one element per phase",
    "two_phase_one_earth": "two phase elements and an earth element",
    "biased": "one biased element per phase",
    "restricted_earth_fault": "restricted earth fault",
    "biased_restricted_earth_fault": "biased restricted earth fault",
    "biased_with_restricted_earth_fault": "biased phase elements and biased restricted earth fault",
    "split_phase": "split-phase elements",
    "core_balance": "core-balance elements",
    "neutral_to_neutral": "neutral-to-neutral element",
}


def counted(count: int, noun: str) -> str:
    """1 event, 2,048 events."""
    return f"{count:,} {plural(noun, count)}"


def plural(noun: str, count: float) -> str:
    """A regular noun as its number asks."""
    return noun if abs(count) == 1 else f"{noun}s"


FIGURES = {  # what is counted, and of what it is a share
    "p_missed": ("missed faults", "of the faults in scope"),
    "missed_per_year": ("missed faults a year", ""),
    "p_false": ("false trips", "of the external events"),
    "false_per_year": ("false trips a year", ""),
    "protected_median": ("protected part of the winding, median", ""),
    "cost_per_year": ("cost a year, in the study's unit", ""),
}


SCHEMES_COST = "cost of missed faults and false trips"  # where there is a total cost too
QUANTITIES = {  # of tables with a row a quantity
    "p_missed": "missed faults",
    "p_false": "false trips",
    "p_nobody": "faults that nobody clears",
    "fault_energy_j": "energy in the fault",
    "resistor_energy_j": "energy in the resistor",
    "cost_per_year": "cost a year",
    "damage_mean_s": "mean damage, s of the reference current",
    "decision_cost_per_year": "total cost a year",
}


def figure_name(key: str, unit: str = "share") -> str:
    """A figure with what it is a share of: missed faults, % of the faults in scope."""
    name, of = FIGURES[key]
    return f"{name}, {unit} {of}" if of else name


def scheme_name(kind: str) -> str:
    """In words; a scheme of the study's own by its name."""
    return SCHEME_NAMES.get(kind, kind.replace("_", " "))


TABLES = {
    "machine": "",
    "winding": "winding's ",
    "network": "network's ",
    "load": "load's ",
    "earthing": "neutral's ",
    "ct": "CTs' ",
    "scheme": "",
    "relay": "relay's ",
    "internal_faults": "",
    "external_events": "event's ",
    "fault_energy": "",
    "backup": "back-up's ",
    "damage": "damage's ",
}
PARTS = "dependability.parts."
RATES = {"dangerous_per_year": "dangerous failures", "spurious_per_year": "unwanted trips"}


def input_name(key: str) -> str:
    """An input as a figure calls it, from its key: CTs' turns ratio error, event's clearing time
    (of whichever event). Several that go together, " with " between them, each so; what is no key
    stays."""
    if " with " in key:
        return " with ".join(map(input_name, key.split(" with ")))
    if key.startswith(PARTS):
        part, rate = key.removeprefix(PARTS).split(".")
        return f"rate of {RATES[rate]}, {part.replace('_', ' ')}"
    table, *path = key.split(".")
    if table not in TABLES or not path:
        return key
    *middle, last = path
    name = without_unit(last)[0].replace("_", " ").replace("pickup", "pick-up")
    if table == "external_events" or not middle:
        return f"{TABLES[table]}{name}"
    return f"{TABLES[table]}{name}, {' '.join(middle).replace('_', ' ')}"


@dataclass(frozen=True)
class AxisWords:
    """How an axis of settings is called. label: in sheets, figures and sentences; head: of a narrow
    column, empty for none of its own; brief: its value in `setting_text`, empty where it stands
    with another axis."""

    label: str
    head: str = ""
    brief: str = ""


AXIS_WORDS = {  # in the order of a setting in words
    "phase_pickup_a": AxisWords("phase pick-up", "phase", "phase {:g} A"),
    "earth_pickup_a": AxisWords("earth pick-up", "earth", "earth {:g} A"),
    "stabilising_resistance_ohm": AxisWords("stabilising resistance", "ohm", "{:g} ohm"),
    "first_slope": AxisWords("first slope", "slope", "slope {}"),
    "second_slope": AxisWords("second slope"),
    "turning_point_a": AxisWords("turning point, bias current", "at"),
    "delay_s": AxisWords("delay", "s", "{:g} s"),
    "earth_first_slope": AxisWords("earth first slope", "earth slope", "earth slope {}"),
    "earth_second_slope": AxisWords("earth second slope"),
    "earth_turning_point_a": AxisWords("earth turning point, bias current", "at"),
    "earth_delay_s": AxisWords("earth delay", "earth s", "earth {:g} s"),
    "high_set_pickup_a": AxisWords("high-set pick-up", "high-set", "high-set {:g} A"),
    "high_set_delay_s": AxisWords("high-set delay", "high-set s", "high-set {:g} s"),
    "gate": AxisWords("gate", "gate", "gate {}"),
    "earth_gate": AxisWords("earth gate", "earth gate", "earth gate {}"),
}
UNIT = {axis.key: axis.unit for axis in AXES}


def axis_unit(key: str) -> str:
    """The unit of an axis as it follows a value: " A", empty for a plain number."""
    return f" {UNIT[key]}" if UNIT[key] else ""


def full_unit(key: str) -> str:
    """The same; that a current is secondary is said."""
    return axis_unit(key) + (" secondary" if key in CURRENTS else "")


def has(row: Mapping[str, Any], key: str) -> bool:
    """Whether a candidate has a setting. A table lacks the column of one that none has."""
    value = row.get(key, math.nan)
    return isinstance(value, str) or not math.isnan(value)


def value_text(key: str, value: float | str) -> str:
    """A value of an axis with its unit; a gate by its name."""
    return value if isinstance(value, str) else f"{value:g}{axis_unit(key)}"


def setting_text(row: Mapping[str, Any], without: str = "") -> str:
    """A candidate's setting in a few words: phase 0.1 A, earth 0.02 A, 1000 ohm, 0.1 s; `without`
    one axis of it."""
    for slopes in (BIAS, EARTH_BIAS):
        if without in slopes:
            without = slopes[0]  # stands for all of them
    told = {
        key: words.brief
        for key, words in AXIS_WORDS.items()
        if words.brief and key != without and has(row, key)
    }
    values = {**row, "first_slope": slope_text(row), "earth_first_slope": slope_text(row, "earth_")}
    parts = {key: brief.format(values[key]) for key, brief in told.items()}
    return ", ".join((parts | _without(row, parts)).values())


def _without(row: Mapping[str, Any], parts: Mapping[str, str]) -> dict[str, str]:
    """In place of delays of 0 s and of the gate that is none."""
    words = {
        "delay_s": "no delay",
        "earth_delay_s": "earth without delay",
        "high_set_delay_s": "high-set without delay",
    }
    found = {key: text for key, text in words.items() if key in parts and row[key] == 0}
    none = {"gate": "no gate", "earth_gate": "no earth gate"}
    return found | {k: text for k, text in none.items() if k in parts and row[k] == NO_GATE}


def full_setting(row: Mapping[str, Any]) -> str:
    """A candidate's setting with the names of all its values: phase pick-up 0.1 A, delay 0.1 s."""
    parts = {
        key: f"{words.label} {value_text(key, row[key])}"
        for key, words in AXIS_WORDS.items()
        if has(row, key)
    }
    return ", ".join((parts | _without(row, parts)).values())


def slope_text(row: Mapping[str, Any], whose: str = "") -> str:
    """The slopes of a biased candidate, 0.1 or 0.1 (0.5 above 1.5 A); empty for another. `whose`
    stands before the keys of slopes that are an element's own."""
    first, second, turning_a = (row.get(f"{whose}{key}", math.nan) for key in BIAS)
    if math.isnan(first):
        return ""
    return f"{first:g}" + ("" if math.isnan(second) else f" ({second:g} above {turning_a:g} A)")
