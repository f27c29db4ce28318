"""Numbers as sentences and tables have them: probabilities in per cent, rates a year, differences
and costs, each with its 95 % limits. How many figures a quantity has is said here once."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from studies.report.words import plural

Row = Mapping[str, Any]  # of a table
ENDS = ("", "_low", "_high")  # of a value's name: itself and its limits
NONE_SEEN = "none (< x): none seen, fewer than x %"  # what a cell means
GAPS = (
    "points: percentage points (95 % limits, which hold for all rows together)",
    "limits on both sides of 0: no significant difference",
)
FEW = ("p_false", "false_per_year", "worst_p_false", "p_weighted", "p_widened")  # known roughly
RATES = ("missed_per_year", "false_per_year", "nobody_per_year")  # told as sentences tell them
GROUPED = 1e4  # from here on digits stand in groups of three
# Below so many seconds: the step of rounding, how many seconds the unit has, the unit
DURATIONS = ((90, 10, 1, "s"), (5400, 60, 60, "min"), (math.inf, 1800, 3600, "h"))
RAREST_YEARS = 1e6  # what no model can tell apart from never


def digits_of(name: str) -> int:
    """How many figures the quantity of a column is told with, wherever it is told."""
    return 2 if name.startswith(FEW) else 3


# --- probabilities ------------------------------------------------------------


def percent(value: float, digits: int = 2) -> str:
    """A probability as per cent in plain figures: 0.024 %, 12 %, 100 %; 3e-5 % below a
    ten-thousandth."""
    return f"{bare(value, digits)} %"


def bare(value: float, digits: int = 2) -> str:
    """The same without its sign."""
    return plain(100 * value, digits)


def plain(value: float, digits: int) -> str:
    """A number in plain figures; below a ten-thousandth with a power of ten."""
    rounded = float(f"{value:.{digits}g}") + 0.0  # no minus before a 0
    if rounded and abs(rounded) < 1e-4:
        return f"{rounded:g}".replace("e-0", "e-")
    return f"{rounded:.10f}".rstrip("0").rstrip(".")


def figures(value: float, digits: int) -> str:
    """A number of any quantity, written out: 0.0123, 1312, 27,000; only a tiny one has a power of
    ten."""
    rounded = float(f"{value:.{digits}g}") + 0.0  # no minus before a 0
    return f"{rounded:,.15g}" if abs(rounded) >= GROUPED else f"{rounded:.15g}"


def in_unit(value: float, unit: str, digits: int = 3) -> str:
    """A number with its unit: 400 A; without one where the unit is "-"."""
    return f"{figures(value, digits)} {unit.strip('-')}".rstrip()


def span(row: Row, name: str, to: str = " to ") -> str:
    """A value of any quantity above 0 with its limits: 4.2 (4 to 4.3)."""
    value, low, high = (figures(max(row[f"{name}{end}"], 0.0), 3) for end in ENDS)
    return f"{value} ({low}{to}{high})"


def with_limits(row: Row, name: str, digits: int | None = None) -> str:
    """A probability of a row with its limits, `name`, `name_low` and `name_high`: 12 % (11 to 13
    %)."""
    p, low, high = limits_of(row, name, digits)
    return f"{p} % ({low} to {high} %)"


def cell(row: Row, name: str, digits: int | None = None) -> str:
    """The same in a table whose head has the unit: 12 (11-13), none (< 13)."""
    if math.isnan(row[name]):  # no sample of a counted type gave a result
        return "unresolved"
    p, low, high = limits_of(row, name, digits)
    if name == "p_false" and row[name] == 0:
        return f"none (< {high})"
    return f"{p} ({low} to {high})" if "e-" in low + high else f"{p} ({low}-{high})"


def limits_of(row: Row, name: str, digits: int | None = None) -> tuple[str, str, str]:
    """A probability and its limits in per cent, without signs."""
    figures = digits_of(name) if digits is None else digits
    p, low, high = (bare(row[f"{name}{end}"], figures) for end in ENDS)
    return p, low, high


def missed_faults(row: Row) -> str:
    """What a candidate misses, as the second half of a sentence."""
    return f"leaves {with_limits(row, 'p_missed')} of the faults in its scope uncleared"


def false_trips(row: Row, of: str = "") -> str:
    """How often a candidate trips falsely, as the second half of a sentence; `of`: whose trips,
    where none was seen."""
    if row["p_false"] == 0:
        most = percent(row["p_false_high"])
        return f"no false trip{of} was seen, fewer than {most} of the external events"
    return f"trips falsely on {with_limits(row, 'p_false')} of the external events"


def in_both(row: Row) -> str:
    """What a setting is worth, a sentence."""
    return f"It {missed_faults(row)}{'; ' if row['p_false'] == 0 else ' and '}{false_trips(row)}."


# --- rates --------------------------------------------------------------------


def yearly(row: Row, name: str, per_year: float) -> str:
    """A probability an event as a rate: 0.0021 a year (0.002 to 0.0022), one in 476 years."""
    rate, low, high = (a_year(per_year * row[f"{name}{end}"], name) for end in ENDS)
    between = years_between(per_year * row[name], digits_of(name))
    return f"{rate} a year ({low} to {high}){between and f', {between}'}"


def a_year(rate: float, name: str = "") -> str:
    """A rate with the figures of the probability that it comes from."""
    return plain(rate, digits_of(name))


def years_between(rate: float, digits: int) -> str:
    """One in 476 years; empty where that says no more than the rate."""
    if not 0 < rate < 1:
        return ""
    if rate * RAREST_YEARS < 1:
        return f"less than one in {RAREST_YEARS:,.0f} years"
    years = amount(1 / rate, digits=digits)
    return f"one in {years} {plural('year', float(years.replace(',', '')))}"


# --- differences --------------------------------------------------------------


def gap(row: Row, scale: float = 100, unit: str = "") -> tuple[str, str]:
    """A difference with its unit, and its limits: +0.3, +0.1 to +0.5; of probabilities in
    percentage points."""
    digits = digits_of(row.get("quantity", ""))
    difference, low, high = (
        amount(scale * row[key], "+", digits) for key in ("difference", "low", "high")
    )
    return f"{difference}{unit}", f"{low} to {high}"


def gap_cell(row: Row | None, scale: float = 100) -> str:
    """The same in a cell of a table whose head has the unit."""
    return "-" if row is None else "{} ({})".format(*gap(row, scale))


# --- costs --------------------------------------------------------------------


def amount(value: float, sign: str = "", digits: int = 3) -> str:
    """So many figures, written out: 1,230,000. No sign before a 0."""
    rounded = float(f"{value:.{digits}g}") + 0.0
    return format(rounded, f"{sign if rounded else ''},.15g")


def cost_with_limits(row: Row, unit: str, name: str = "cost_per_year") -> str:
    """What a candidate costs a year."""
    expected, low, high = (amount(row[f"{name}{end}"]) for end in ENDS)
    return f"{expected} {unit} a year ({low} to {high})"


def cost_cell(row: Row, name: str = "cost_per_year") -> str:
    """The same in a cell of a table whose head or note has the unit."""
    if math.isnan(row[name]):
        return "-"
    expected, low, high = (amount(row[f"{name}{end}"]) for end in ENDS)
    return f"{expected} ({low}-{high})"


def duration(seconds: float) -> str:
    """An estimate of a time, as coarse as it is known: 40 s, 3 min, 2.5 h."""
    _, step, scale, unit = next(row for row in DURATIONS if seconds < row[0])
    return f"{max(round(seconds / step), 1) * step / scale:g} {unit}"
