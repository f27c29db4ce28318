"""Numbers as sentences and tables have them: probabilities in per cent, differences and costs, each
with its 95 % limits."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

Row = Mapping[str, Any]  # of a table
ENDS = ("", "_low", "_high")  # of a value's name: itself and its limits
NONE_SEEN = "none (< x): none seen, fewer than x %"  # what a cell means
GAPS = (
    "points: percentage points (95 % limits, which hold for all rows together)",
    "limits on both sides of 0: no significant difference",
)


# --- probabilities ------------------------------------------------------------


def percent(value: float, digits: int = 2) -> str:
    """A probability as per cent in plain figures: 0.024 %, 12 %, 100 %; 3e-05 % below a
    ten-thousandth."""
    return f"{bare(value, digits)} %"


def bare(value: float, digits: int = 2) -> str:
    """The same without its sign."""
    share = float(f"{100 * value:.{digits}g}") + 0.0  # no minus before a 0
    if share and abs(share) < 1e-4:
        return f"{share:g}"
    return f"{share:.10f}".rstrip("0").rstrip(".")


def with_limits(row: Row, name: str, digits: int = 2) -> str:
    """A probability of a row with its limits, `name`, `name_low` and `name_high`: 12 % (11 to 13
    %)."""
    p, low, high = limits_of(row, name, digits)
    return f"{p} % ({low} to {high} %)"


def cell(row: Row, name: str, digits: int = 2) -> str:
    """The same in a table whose head has the unit: 12 (11-13), none (< 13)."""
    if math.isnan(row[name]):  # no sample of a counted type gave a result
        return "unresolved"
    p, low, high = limits_of(row, name, digits)
    return f"none (< {high})" if name == "p_false" and row[name] == 0 else f"{p} ({low}-{high})"


def limits_of(row: Row, name: str, digits: int) -> tuple[str, str, str]:
    """A probability and its limits in per cent, without signs."""
    p, low, high = (bare(row[f"{name}{end}"], digits) for end in ENDS)
    return p, low, high


def false_trips(row: Row, of: str = "") -> str:
    """How often a candidate trips falsely, as the second half of a sentence; `of`: whose trips,
    where none was seen."""
    if row["p_false"] == 0:
        most = percent(row["p_false_high"])
        return f"no false trip{of} was seen, fewer than {most} of the external events"
    return f"trips falsely on {with_limits(row, 'p_false')} of the external events"


def in_both(row: Row) -> str:
    """What a setting is worth, a sentence."""
    missed = f"It misses {with_limits(row, 'p_missed', 3)} of the internal faults within its scope"
    return f"{missed}{'; ' if row['p_false'] == 0 else ' and '}{false_trips(row)}."


def per_year(row: Row) -> str:
    """The same a year."""
    missed = f"That is {row['missed_per_year']:.2g} missed faults"
    if row["p_false"] == 0:
        return f"{missed} a year."
    return f"{missed} and {row['false_per_year']:.2g} false trips a year."


# --- differences --------------------------------------------------------------


def gap(row: Row, scale: float = 100, unit: str = "") -> tuple[str, str]:
    """A difference with its unit, and its limits: +0.3, +0.1 to +0.5; of probabilities in
    percentage points."""
    difference, low, high = (amount(scale * row[key], "+") for key in ("difference", "low", "high"))
    return f"{difference}{unit}", f"{low} to {high}"


def gap_cell(row: Row | None, scale: float = 100) -> str:
    """The same in a cell of a table whose head has the unit."""
    return "-" if row is None else "{} ({})".format(*gap(row, scale))


# --- costs --------------------------------------------------------------------


def amount(value: float, sign: str = "") -> str:
    """Three figures, written out: 1,230,000. No minus before a 0."""
    return format(float(f"{value:.3g}") + 0.0, f"{sign},.15g")


def cost_with_limits(row: Row, unit: str) -> str:
    """What a candidate costs a year."""
    expected, low, high = (amount(row[f"cost_per_year{end}"]) for end in ENDS)
    return f"{expected} {unit} a year ({low} to {high})"


def cost_cell(row: Row) -> str:
    """The same in a cell of a table whose head or note has the unit."""
    if math.isnan(row["cost_per_year"]):
        return "-"
    expected, low, high = (amount(row[f"cost_per_year{end}"]) for end in ENDS)
    return f"{expected} ({low}-{high})"
