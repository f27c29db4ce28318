"""Any table of a run as a table of a report: heads with units, probabilities in per cent, a value
and its limits in one cell, long tables cut, wide and short ones turned."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any

from studies.report.blocks import Table
from studies.report.catalogue import column_head, is_share
from studies.report.numbers import RATES, bare, digits_of, figures, plain
from studies.report.words import AXIS_WORDS, QUANTITIES, scheme_name

if TYPE_CHECKING:
    import pandas as pd

MOST_ROWS, MOST_COLUMNS, FEW_ROWS = 20, 10, 8
LIMITS, SPREAD = " (limits)", " (5 to 95 %)"
DIFFERENCE, QUANTITY = "difference", "quantity"  # of probabilities in percentage points


def frame_table(frame: pd.DataFrame, caption: str, file: str) -> Table:
    """The rows as cells; of more than `MOST_ROWS` the first ones, and where the rest stands."""
    some = _worded(frame.head(MOST_ROWS))
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


def _worded(frame: pd.DataFrame) -> pd.DataFrame:
    """With the names of schemes in words; `minus` holds one beside a column `scheme` that begins a
    row."""
    schemes = {"scheme", "missed_by", "caught_by"}
    if frame.columns[0] == "scheme":
        schemes.add("minus")
    words = {name: frame[name].map(_scheme) for name in frame.columns if name in schemes}
    words |= {name: frame[name].map(_axis) for name in ("pair", "axis") if name in frame}
    return frame.assign(**words)


def _axis(name: Any) -> Any:
    return AXIS_WORDS[name].label if name in AXIS_WORDS else name


def _scheme(name: Any) -> Any:
    return scheme_name(name) if isinstance(name, str) else name


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
        name in (DIFFERENCE, "p_detected")
    )
    return next((pair for pair in pairs if set(pair) <= {*names}), ())


def _cell(row: dict[Any, Any], names: Sequence[str]) -> str:
    """A value, with its limits where it has some."""
    values = [row[name] for name in names]
    points = names[0] == DIFFERENCE and is_share(str(row.get(QUANTITY, "")))
    if points:
        values = [100 * value for value in values]
    digits = 4 if len(names) == 1 else 3
    texts = [_shown(name, value, digits) for name, value in zip(names, values, strict=True)]
    if len(texts) == 1 or texts[0] == "\u2013":
        return texts[0]
    if values[0] == 0 < values[2] and (names[0] == "p" or names[0].startswith("p_")):
        return f"none (< {texts[2]})"  # none seen, fewer than the upper limit
    return f"{texts[0]}{' points' if points else ''} ({texts[1]} to {texts[2]})"


def _shown(name: str, value: Any, digits: int) -> str:
    """As a reader wants it: so many figures, a probability in per cent."""
    from pandas import isna

    if isinstance(value, bool) or type(value).__name__ == "bool_":
        return "yes" if value else "no"
    if isna(value):
        return "\u2013"
    if not isinstance(value, (int, float)):
        return QUANTITIES.get(value, value) if name == QUANTITY else str(value)
    if is_share(name) and math.isfinite(value):
        return bare(value, digits_of(name))
    if name.removesuffix("_low").removesuffix("_high") in RATES:
        return plain(value, digits_of(name))
    return str(value) if isinstance(value, int) else figures(value, digits)
