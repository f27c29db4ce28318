"""Figures of two runs side by side, each with its limits, and the difference of the two.

The runs count as independent. What pairs their samples stands in no table, so on the same random
numbers these limits are too wide."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from montecarlo.estimates.intervals import Estimate
from montecarlo.estimates.totals import independent_difference
from montecarlo.estimates.verdicts import Verdict, verdict_of
from montecarlo.frames.limits import with_limits
from montecarlo.study.axes import KEYS, OWN
from studies.compare.read import Side
from studies.report.words import scheme_name

if TYPE_CHECKING:
    import pandas as pd

MISSED, FALSE, PROTECTED, COST = "p_missed", "p_false", "protected_median", "cost_per_year"
RATES = {MISSED: "missed_per_year", FALSE: "false_per_year"}
QUANTITIES = (MISSED, RATES[MISSED], FALSE, RATES[FALSE], PROTECTED, COST)
_SETTING = tuple(key for key in KEYS if key not in OWN)  # that every table of candidates has
LEAST = ("candidate", *_SETTING, *with_limits(MISSED, FALSE), *RATES.values(), PROTECTED)
ENDS = ("", "_low", "_high")
SIDES = ("a", "b")
CANDIDATES, WINDING = "candidates", "protected_winding"


class Choices(NamedTuple):
    """Where a kind of study holds its choices: a table, and the column of their names there and
    among the candidates, empty where the kind makes one choice."""

    table: str
    name: str = ""
    in_candidates: bool = True


CHOICES = {
    "setting_sweep": Choices(CANDIDATES),
    "uncertainty_drivers": Choices(CANDIDATES),
    "scheme_comparison": Choices("schemes", "scheme", False),
    "earthing_options": Choices("earthing_options", "option"),
    "alternatives": Choices("alternatives", "alternative"),
}


class Effects(NamedTuple):
    """A table of effects: what names a row, and its values with limits."""

    table: str
    keys: tuple[str, ...]
    values: tuple[str, ...]


OF_INPUTS = (
    Effects("drivers", ("side", "type", "output", "input"), ("first", "total")),
    Effects("elasticities", ("quantity", "input"), ("by_centre", "by_spread")),
)


def tables_of(kind: str) -> list[str]:
    """The tables that hold the figures of a kind of study."""
    return [CANDIDATES, WINDING, CHOICES[kind].table, *(effects.table for effects in OF_INPUTS)]


@dataclass(frozen=True)
class Compared:
    """Tables of a comparison: choices, settings that both runs have, effects of inputs; names that
    have a choice in one run only."""

    choices: pd.DataFrame
    settings: pd.DataFrame
    effects: pd.DataFrame
    without: Mapping[str, tuple[str, ...]]


def compared(one: Side, other: Side, *, same: bool) -> Compared:
    """All figures of two runs of one kind; `same`: their samples and figures are. Raises
    StudyError."""
    where = CHOICES[one.record["study_kind"]]
    sides = [_read(side, where) for side in (one, other)]
    found = [_choices(side, table, where) for side, table in zip((one, other), sides, strict=True)]
    named = [dict.fromkeys(frame["name"]) for frame in found]
    return Compared(
        _rows(found, ["name"], same),
        _rows(sides, ["name", "scheme", *KEYS], same),
        _effects(one, other, same),
        {
            "A": tuple(name for name in named[0] if name not in named[1]),
            "B": tuple(name for name in named[1] if name not in named[0]),
        },
    )


# --- reading ------------------------------------------------------------------


def _read(side: Side, where: Choices) -> pd.DataFrame:
    """The candidates with all quantities."""
    named = [where.name] if where.name and where.in_candidates else []
    frame = side.table(CANDIDATES, ["scheme", "chosen", *named], LEAST)
    frame["name"] = frame[where.name] if named else ""
    return _completed(side, frame, frame)


def _choices(side: Side, candidates: pd.DataFrame, where: Choices) -> pd.DataFrame:
    """A row a choice, under its name."""
    if where.table == CANDIDATES:
        return candidates[candidates["chosen"].str.lower() == "true"]
    frame = side.table(where.table, ["scheme", where.name], LEAST)
    names = frame[where.name]
    frame["name"] = names if where.in_candidates else names.map(scheme_name)
    made = frame[frame["candidate"].notna()].copy()
    return _completed(side, made, candidates)


def _completed(side: Side, frame: pd.DataFrame, candidates: pd.DataFrame) -> pd.DataFrame:
    """With limits of what happens in a year and of the protected winding, and with all settings."""
    columns: dict[str, Any] = {key: np.nan for key in OWN if key not in frame}
    for quantity, yearly in RATES.items():
        rate = _rates(candidates, quantity, yearly)
        mine = frame["name"].map(rate).fillna(rate.get("", np.nan)).astype(float)
        columns |= {f"{yearly}{end}": mine * frame[f"{quantity}{end}"] for end in ENDS}
    if not side.has(WINDING):
        columns |= {f"{PROTECTED}{end}": np.full(len(frame), np.nan) for end in ENDS[1:]}
        return frame.assign(**columns)
    away = _protected_limits(side)
    for end, place in zip(ENDS[1:], (0, 1), strict=True):
        moved = frame["candidate"].map({number: gap[place] for number, gap in away.items()})
        columns[f"{PROTECTED}{end}"] = (frame[PROTECTED] + moved).clip(0, 1)
    return frame.assign(**columns)


def _rates(candidates: pd.DataFrame, quantity: str, yearly: str) -> dict[str, float]:
    """Events a year that p is of, by name: every candidate of one name has the same."""
    seen = candidates[candidates[quantity] > 0]
    rates = (seen[yearly] / seen[quantity]).groupby(seen["name"]).median()
    return {str(name): float(rate) for name, rate in rates.items()}


def _protected_limits(side: Side) -> dict[float, tuple[float, float]]:
    """How far the limits of the median protected part of the winding lie from it, by candidate:
    where the limits of P(detected at x) reach one half (limits of a median from those of a
    distribution function, common practice)."""
    numbers = ("candidate", "x", "p_detected", "low", "high")
    frame = side.table(WINDING, numbers=numbers)
    found = {}
    for number, curve in frame.groupby("candidate", sort=False):
        middle, low, high = (
            np.interp(0.5, np.maximum.accumulate(curve[name]), curve["x"]) for name in numbers[2:]
        )
        found[number] = (min(middle - low, 0.0), max(middle - high, 0.0))
    return found


# --- comparing ----------------------------------------------------------------


def _rows(sides: Sequence[pd.DataFrame], keys: list[str], same: bool) -> pd.DataFrame:
    """A row a pair of settings and quantity."""
    import pandas as pd

    first, second = (frame.drop_duplicates(keys) for frame in sides)
    # NaN, the value of an axis that a scheme lacks, counts as equal to itself
    both = first.merge(second, on=keys, suffixes=("_a", "_b"))
    rows = [
        {**_heads(pair, keys), "quantity": quantity, **_difference(pair, quantity, same)}
        for pair in both.to_dict("records")
        for quantity in QUANTITIES
        if f"{quantity}_low_a" in both and f"{quantity}_low_b" in both
    ]
    return pd.DataFrame(rows, columns=[*_HEADS, "quantity", *_VALUES])


_OWN = ("candidate", "scheme", *KEYS)
_HEADS = ("name", *(f"{name}_{side}" for side in SIDES for name in _OWN))
_VALUES = (*with_limits(*SIDES), "difference", "low", "high", "verdict")


def _heads(pair: Mapping[Any, Any], keys: Sequence[str]) -> dict[str, Any]:
    """Name and both settings; those of one setting are the same."""
    own = {
        f"{name}_{side}": pair[name] if name in keys else pair[f"{name}_{side}"]
        for side in SIDES
        for name in _OWN
    }
    return {"name": pair["name"], **own}


def _difference(pair: Mapping[Any, Any], quantity: str, same: bool) -> dict[str, Any]:
    """Both estimates and B minus A."""
    one, other = (
        Estimate(*np.array([pair[f"{quantity}{end}_{side}"] for end in ENDS])) for side in SIDES
    )
    gap = independent_difference(other, one)
    verdict = verdict_of(gap)
    if same:
        gap, verdict = Estimate(*np.zeros(3)), Verdict.ITSELF
    columns = {
        f"{side}{end}": float(value)
        for side, estimate in zip(SIDES, (one, other), strict=True)
        for end, value in zip(ENDS, estimate, strict=True)
    }
    limits = dict(zip(("difference", "low", "high"), map(float, gap), strict=True))
    return {**columns, **limits, "verdict": verdict if np.isfinite(gap.low) else ""}


def _effects(one: Side, other: Side, same: bool) -> pd.DataFrame:
    """A row an effect of an input that both runs have."""
    import pandas as pd

    rows = [row for table in OF_INPUTS for row in _effect_rows(one, other, table, same)]
    return pd.DataFrame(rows, columns=["table", "name", "quantity", *_VALUES])


def _effect_rows(one: Side, other: Side, table: Effects, same: bool) -> Iterator[dict[str, Any]]:
    if not (one.has(table.table) and other.has(table.table)):
        return
    numbers = with_limits(*table.values)
    first, second = (side.table(table.table, table.keys, numbers) for side in (one, other))
    keys = [*table.keys]
    both = first.drop_duplicates(keys).merge(
        second.drop_duplicates(keys), on=keys, suffixes=("_a", "_b")
    )
    for pair in both.to_dict("records"):
        name = ", ".join(filter(None, (pair[key] for key in keys)))
        for value in table.values:
            head = {"table": table.table, "name": name, "quantity": value}
            yield head | _difference(pair, value, same)
