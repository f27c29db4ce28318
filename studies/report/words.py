"""How schemes and settings are called in figures and texts."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from studies.report.catalogue import without_unit

__all__ = ["input_name", "scheme_name", "setting_text", "slope_text"]

SCHEME_NAMES = {
    "per_phase": "three phase elements",
    "two_phase_one_earth": "two phase elements, one earth element",
    "biased": "three biased elements",
    "restricted_earth_fault": "restricted earth fault",
}


def scheme_name(kind: str) -> str:
    """In words; a scheme of the study's own by its name."""
    return SCHEME_NAMES.get(kind, kind.replace("_", " "))


TABLES = {
    "machine": "",
    "network": "network's ",
    "load": "load's ",
    "earthing": "neutral's ",
    "ct": "CTs' ",
    "scheme": "",
    "relay": "relay's ",
    "internal_faults": "",
    "external_events": "event's ",
}


def input_name(key: str) -> str:
    """An input as a figure calls it, from its key: CTs' turns ratio error, event's clearing time
    (of whichever event). Several that go together, " with " between them, each so; what is no key
    stays."""
    if " with " in key:
        return " with ".join(map(input_name, key.split(" with ")))
    table, *path = key.split(".")
    if table not in TABLES or not path:
        return key
    *middle, last = path
    name = without_unit(last)[0].replace("_", " ")
    if table == "external_events" or not middle:
        return f"{TABLES[table]}{name}"
    return f"{TABLES[table]}{name}, {' '.join(middle).replace('_', ' ')}"


def setting_text(row: Mapping[str, Any], without: str = "") -> str:
    """A candidate's setting in a few words: phase 0.1 A, earth 0.02 A, 1000 ohm, 0.1 s; `without`
    one column of it."""
    parts = [
        f"{axis} {row[f'{axis}_pickup_a']:g} A"
        for axis in ("phase", "earth")
        if not math.isnan(row[f"{axis}_pickup_a"]) and f"{axis}_pickup_a" != without
    ]
    if (slope := slope_text(row)) and not without.startswith("slope"):
        parts.append(f"slope {slope}")
    if (
        not math.isnan(row["stabilising_resistance_ohm"])
        and without != "stabilising_resistance_ohm"
    ):
        parts.append(f"{row['stabilising_resistance_ohm']:g} ohm")
    if without != "delay_s":
        parts.append(f"{row['delay_s']:g} s" if row["delay_s"] else "no delay")
    return ", ".join(parts)


def slope_text(row: Mapping[str, Any]) -> str:
    """The slopes of a biased candidate, 0.1 or 0.1 (0.5 above 1.5 A); empty for another."""
    if math.isnan(row["slope1"]):
        return ""
    return f"{row['slope1']:g}" + (
        ""
        if math.isnan(row["slope2"])
        else f" ({row['slope2']:g} above {row['slope_break_a']:g} A)"
    )
