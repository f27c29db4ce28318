"""Any table of a run as a table of a report: heads with units, probabilities in per cent, a value
and its limits in one cell, long tables cut, wide and short ones turned."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any

from studies.report.look import percent
from studies.report.page import Table

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["MOST_ROWS", "column_head", "frame_table"]

MOST_ROWS, MOST_COLUMNS, FEW_ROWS = 20, 10, 8
UNITS = {
    "_per_year": "1/year",
    "_ohm": "ohm",
    "_pu": "pu",
    "_percent": "%",
    "_va": "VA",
    "_hz": "Hz",
    "_a": "A",
    "_v": "V",
    "_s": "s",
    "_j": "J",
    "_f": "F",
    "_k": "K",
}
ENDS = {
    "_low": "low",
    "_high": "high",
    "_p05": "5 %",
    "_p95": "95 %",
    "_median": "median",
    "_mean": "mean",
    "_bound": "bound",
    "_now": "now",
    "_then": "then",
    "_difference": "difference",
}
LIMITS, SPREAD = " (limits)", " (5 to 95 %)"


def column_head(name: str) -> str:
    """A column's name in words, its unit in brackets: delay_s is delay [s], p_missed_low is p
    missed low [%]."""
    stem, ends = name, ""
    while (end := next((end for end in ENDS if stem.endswith(end)), None)) is not None:
        stem, ends = stem.removesuffix(end), f" {ENDS[end]}{ends}"
    suffix = next((suffix for suffix in UNITS if stem.endswith(suffix)), "")
    unit = "%" if _is_share(name) else UNITS.get(suffix, "")
    words = stem.removesuffix(suffix).replace("_", " ").replace("pickup", "pick-up")
    return words + ends + (f" [{unit}]" if unit else "")


def _is_share(name: str) -> bool:
    """A probability or a part of the winding, told in per cent."""
    return name == "p" or (
        name.startswith(("p_", "covered_", "worst_p_", "share_of_")) and not name.endswith("_from")
    )


def frame_table(frame: pd.DataFrame, caption: str, file: str) -> Table:
    """The rows as cells; of more than `MOST_ROWS` the first ones, and where the rest stands."""
    some = frame.head(MOST_ROWS)
    some = some[[name for name in some.columns if not _empty(some[name])]]
    columns = list(_columns([str(name) for name in some.columns]))
    head = [column_head(names[0]) + words for names, words in columns]
    rows = [tuple(_cell(row, names) for names, _ in columns) for row in some.to_dict("records")]
    note = (
        file
        if len(frame) <= MOST_ROWS
        else f"The first {MOST_ROWS} of {len(frame)} rows; all in {file}."
    )
    if len(head) > MOST_COLUMNS and len(rows) <= FEW_ROWS:
        turned = zip(head[1:], *(row[1:] for row in rows), strict=True)
        return Table(
            (head[0], *(row[0] for row in rows)),
            tuple(turned),
            "<" + ">" * len(rows),
            caption,
            note,
        )
    numeric = [some[names[0]].dtype.kind in "fiu" for names, _ in columns]
    return Table(
        tuple(head), tuple(rows), "".join(">" if yes else "<" for yes in numeric), caption, note
    )


def _empty(column: pd.Series[Any]) -> bool:
    """Nothing in it for a reader: no value at all."""
    return len(column) > 0 and bool((column.isna() | (column.astype(str) == "")).all())


def _columns(names: Sequence[str]) -> Iterator[tuple[tuple[str, ...], str]]:
    """The columns that a cell shows together, and what its head says of that: a value with its
    limits, a median with 5 and 95 %."""
    told: set[str] = set()
    for name in names:
        limits = _beside(name, names)
        if name not in told:
            spread = tuple(name.removesuffix("_median") + end for end in ("_p05", "_p95"))
            if limits:
                told |= {*limits}
                yield (name, *limits), LIMITS
            elif name.endswith("_median") and set(spread) <= {*names}:
                yield (name, *spread), SPREAD
            elif not (name.endswith(("_p05", "_p95")) and f"{name[:-4]}_median" in names):
                yield (name,), ""


def _beside(name: str, names: Sequence[str]) -> tuple[str, ...]:
    """The columns of its limits: p_missed_low and p_missed_high of p_missed; low and high of a
    difference."""
    pairs = [(f"{name}_low", f"{name}_high")] + [("low", "high")] * (
        name in ("difference", "p_detected")
    )
    return next((pair for pair in pairs if set(pair) <= {*names}), ())


def _cell(row: dict[Any, Any], names: Sequence[str]) -> str:
    """A value, with its limits where it has some."""
    texts = [_shown(name, row[name], 4 if len(names) == 1 else 3) for name in names]
    if len(texts) == 1 or texts[0] == "\u2013":
        return texts[0]
    if _is_share(names[0]) and row[names[0]] == 0:
        return f"none (< {texts[2]})"  # none seen, fewer than the upper limit
    return f"{texts[0]} ({texts[1]} to {texts[2]})"


def _shown(name: str, value: Any, digits: int) -> str:
    """As a reader wants it: so many figures, a probability in per cent."""
    from pandas import isna

    if isinstance(value, bool) or type(value).__name__ == "bool_":
        return "yes" if value else "no"
    if isna(value):
        return "\u2013"
    if not isinstance(value, (int, float)):
        return str(value)
    if _is_share(name) and math.isfinite(value):
        # As sentences have it
        return percent(value, 2 if name.startswith("p_false") else 3).removesuffix(" %")
    return str(value) if isinstance(value, int) else f"{value + 0.0:.{digits}g}"
