"""What one step of each setting would change, beside the chosen one: a table of a report."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any

from montecarlo.estimates.verdicts import Verdict
from studies.report.blocks import Block, Table
from studies.report.numbers import amount, digits_of, figures
from studies.report.words import AXIS_WORDS, value_text

if TYPE_CHECKING:
    import pandas as pd

Row = Mapping[str, Any]
CAPTION = "What one step of a setting changes"
EVENTS = 1000  # of which one trips falsely: what is bought by it
UNSURE = "not shown"


def prices_table(frame: pd.DataFrame) -> list[Block]:
    """A row a step, of prices.csv; nothing without one."""
    if not len(frame):
        return []
    rows = frame.to_dict("records")
    head = [
        "setting",
        "from",
        "to",
        "no.",
        "missed faults, points",
        f"false trips in {EVENTS:,} events",
        f"points for 1 more in {EVENTS:,}",
    ]
    columns = len(head) - bool(frame["missed_per_false"].isna().all())
    cells = tuple(_cells(row)[:columns] for row in rows)
    align = "<" + ">" * (columns - 1)
    notes = [*_notes(rows)]
    if columns == len(head):
        notes.append(
            f"{head[-1]}: fewer missed faults for one more false trip in {EVENTS:,} events"
        )
    return [Table(tuple(head[:columns]), cells, align, CAPTION, notes=tuple(notes))]


def _cells(row: Row) -> tuple[str, ...]:
    key = row["setting"]
    return (
        AXIS_WORDS[key].label,
        value_text(key, row["chosen_value"]),
        value_text(key, row["value"]),
        str(row["candidate"]),
        _change(row, "missed", 100),
        _change(row, "false", EVENTS),
        _bought(row["missed_per_false"]),
    )


def _change(row: Row, name: str, scale: float) -> str:
    """A change, and its limits; what is not sure is not shown as a number."""
    key = f"p_{name}"
    signs = [
        amount(scale * row[f"{key}_change{end}"], "+", digits_of(key))
        for end in ("", "_low", "_high")
    ]
    sure = row[f"{name}_verdict"] is Verdict.APART
    return (
        f"{signs[0]} ({signs[1]} to {signs[2]})" if sure else f"{UNSURE} ({signs[1]} to {signs[2]})"
    )


def _bought(exchange: float) -> str:
    """Missed faults in percentage points that one more false trip in so many events buys."""
    if math.isnan(exchange):
        return UNSURE
    return figures(100 * exchange / EVENTS, 2)


def _notes(rows: list[Row]) -> Iterator[str]:
    yield (
        "paired on the same events; points: percentage points; 95 % limits, which hold for all rows"
        " together; not shown: no significant change"
    )
    for key in dict.fromkeys(row["setting"] for row in rows):
        power = next(row["false_power"] for row in rows if row["setting"] == key)
        if not math.isnan(power):
            elements = "phase elements" if key.startswith("phase") else "earth element"
            yield (
                f"near the chosen setting, 1 % more {AXIS_WORDS[key].label} makes"
                f" {_percent_change(power)} external events operate the {elements}"
            )


def _percent_change(power: float) -> str:
    word = "fewer" if power < 0 else "more"
    return f"{figures(abs(power), 2)} % {word}"
