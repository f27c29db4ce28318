"""Any table of a run as a table of a report: heads with units, probabilities in per cent, a value
and its limits in one cell, long tables cut, wide and short ones turned."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any

from studies.report.blocks import Table
from studies.report.catalogue import column_head, is_share
from studies.report.numbers import RATES, bare, digits_of, plain

if TYPE_CHECKING:
    import pandas as pd

MOST_ROWS, MOST_COLUMNS, FEW_ROWS = 20, 10, 8
LIMITS, SPREAD = " (limits)", " (5 to 95 %)"


def frame_table(frame: pd.DataFrame, caption: str, file: str) -> Table:
    """The rows as cells; of more than `MOST_ROWS` the first ones, and where the rest stands."""
    some = frame.head(MOST_ROWS)
    some = some[[name for name in some.columns if not _empty(some[name])]]
    columns = list(_columns([str(name) for name in some.columns]))
    head = [column_head(names[0]) + words for names, words in columns]
    rows = [tuple(_cell(row, names) for names, _ in columns) for row in some.to_dict("records")]
    note = file
    if len(frame) > MOST_ROWS:
        note = f"The first {MOST_ROWS} of {len(frame)} rows; all in {file}."
    if len(head) > MOST_COLUMNS and len(rows) <= FEW_ROWS:
        turned = tuple(zip(head[1:], *(row[1:] for row in rows), strict=True))
        heads = (head[0], *(row[0] for row in rows))
        return Table(heads, turned, "<" + ">" * len(rows), caption, (note,))
    numeric = [some[names[0]].dtype.kind in "fiu" for names, _ in columns]
    align = "".join(">" if yes else "<" for yes in numeric)
    return Table(tuple(head), tuple(rows), align, caption, (note,))


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
    if is_share(names[0]) and row[names[0]] == 0 and not names[2].endswith("_p95"):
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
    if is_share(name) and math.isfinite(value):
        return bare(value, digits_of(name))
    if name.removesuffix("_low").removesuffix("_high") in RATES:
        return plain(value, digits_of(name))
    return str(value) if isinstance(value, int) else f"{value + 0.0:.{digits}g}"
