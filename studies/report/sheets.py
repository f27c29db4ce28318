"""Sheets of a workbook as they are laid out, before anything is written: lines of text, and a
table with what stands above it."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import accumulate, pairwise
from typing import TYPE_CHECKING, Any

from studies.report.catalogue import UNPRINTED, column_unit, is_share, sheet_head, table_text
from studies.report.letters import with_symbols
from studies.report.print_plan import ROW_PT, Extent, Plan, height, letters, lines_in

if TYPE_CHECKING:
    import pandas as pd

ROWS_MAX = 1_048_576  # of a sheet, ECMA-376
NARROWEST, WIDEST = 9.0, 56.0  # letters of a column
NUMBER_LETTERS = 10  # of a number without a format of its own
HEAD = 3  # rows above the data: what the table holds, what is printed, names of columns

FORMATS = {"A": "0.0###", "ohm": "0.0##", "s": "0.0###", "V": "0.0"}
SMALL, LARGE = 1e-3, 1e6  # beyond, a number has powers of ten
FIGURES = 4  # of a number whose column has no format of its own


def number_format(column: str, value: float) -> str:
    """Of a number in a column. The sign and the size of the number decide nothing later: a format
    with conditions drops signs in some programs."""
    if not value or not math.isfinite(value):
        return "0"
    if (size := abs(value)) < SMALL or size >= LARGE:
        return "0.00E+00"
    if is_share(column) or column in ("low", "high", "difference"):
        return "0.0000"
    if isinstance(value, int) or value.is_integer():
        return "0"
    decimals = max(FIGURES - 1 - math.floor(math.log10(size)), 0)
    return FORMATS.get(column_unit(column), f"0.{'#' * decimals}" if decimals else "0")


@dataclass(frozen=True)
class Line:
    """Cells of a row; `spans`: over how many columns each reaches, one where empty; `link`: a sheet
    to which the first one leads; `column`: whose numbers stand there."""

    cells: tuple[Any, ...]
    style: str = "text"
    spans: tuple[int, ...] = ()
    link: str = ""
    height: float = ROW_PT
    column: str = ""


@dataclass(frozen=True)
class Lines:
    """A sheet of lines, and the widths of its columns in letters."""

    widths: tuple[float, ...]
    lines: tuple[Line, ...]

    @property
    def extent(self) -> Extent:
        """How large it is."""
        return Extent(self.widths, [line.height for line in self.lines], 0, whole=True)


def line(
    widths: Sequence[float],
    *cells: Any,
    style: str = "text",
    link: str = "",
    spans: Sequence[int] = (),
) -> Line:
    """A line as high as its longest cell needs; without `spans` the last cell has the rest of the
    columns."""
    spans = tuple(spans) or (*[1] * (len(cells) - 1), len(widths) - len(cells) + 1)
    starts = [0, *accumulate(spans)]
    rooms = [letters(widths[start:end]) for start, end in pairwise(starts)]
    count = max(lines_in(str(cell), room) for cell, room in zip(cells, rooms, strict=True))
    points = height(count) + (5.0 if style == "title" else 0.0)
    return Line(cells, style, spans, link, points)


class TableSheet:
    """A table of a run as a sheet."""

    def __init__(self, name: str, frame: pd.DataFrame, chosen: Any) -> None:
        self.frame, self.rows = frame, min(len(frame), ROWS_MAX - HEAD)
        self._name, self._chosen = name, chosen

    def columns(self) -> Iterator[tuple[str, list[Any]]]:
        """Each column with its values, None for an empty cell."""
        yield from self._values.items()

    @cached_property
    def _values(self) -> dict[str, list[Any]]:
        some = self.frame.iloc[: self.rows]
        return {
            str(name): some[name].astype(object).where(some[name].notna(), None).tolist()
            for name in some.columns
        }

    def holds(self) -> str:
        """What it holds, and what a sheet has no room for."""
        text = with_symbols(table_text(self._name).holds)
        if len(self.frame) == self.rows:
            return text
        return (
            f"{text}; only the first {self.rows} rows fit a sheet, all {len(self.frame)} are in"
            f" {self._name}.csv"
        )

    # --- layout ---------------------------------------------------------------

    @cached_property
    def widths(self) -> list[float]:
        """Of the columns, in letters: as their texts and the words of their heads need."""
        return [self._width(name, values) for name, values in self._values.items()]

    def _width(self, name: str, values: Sequence[Any]) -> float:
        texts = max((len(value) for value in values if isinstance(value, str)), default=0)
        numbers = any(isinstance(value, float) for value in values)
        word = max(map(len, sheet_head(name).split()))
        wanted = max(texts, word, NUMBER_LETTERS if numbers else 0) + 2.0
        return min(max(wanted, NARROWEST), WIDEST)

    def is_number(self, at: int) -> bool:
        """Whether a column, by its place, holds numbers, which stand to the right."""
        values = [*self._values.values()][at]
        return not any(isinstance(value, (str, bool)) for value in values)

    def is_wrapped(self, name: str) -> bool:
        """Whether a column has texts that are longer than it is wide."""
        return any(isinstance(value, str) and len(value) > WIDEST for value in self._values[name])

    @cached_property
    def _heights(self) -> list[float]:
        """Of the data rows, in points."""
        heights = [ROW_PT] * self.rows
        for (name, values), width in zip(self._values.items(), self.widths, strict=True):
            if self.is_wrapped(name):
                lines = (lines_in(value, width) if value else 1 for value in map(_text, values))
                each = zip(heights, map(height, lines), strict=True)
                heights = [max(pair) for pair in each]
        return heights

    def high_rows(self) -> Iterator[tuple[int, float]]:
        """Rows of more than one line, by their place on the sheet."""
        for row, points in enumerate(self._heights, HEAD):
            if points > ROW_PT:
                yield row, points

    @cached_property
    def extent(self) -> Extent:
        """How large it is, and the rows of the chosen setting, where they stand together."""
        above = [line.height for line in self.above(None)]
        unprinted = self._name in UNPRINTED and self.rows > 0
        return Extent(self.widths, [*above, *self._heights], HEAD, self._matter(), unprinted)

    def _matter(self) -> range | None:
        numbers = self._values.get("candidate", [])
        if self._chosen is None or self._chosen not in numbers:
            return None
        first, count = numbers.index(self._chosen), numbers.count(self._chosen)
        together = numbers[first : first + count] == [self._chosen] * count
        return range(first, first + count) if together and count > 1 else None

    # --- above the data -------------------------------------------------------

    def above(self, plan: Plan | None) -> list[Line]:
        """What the table holds, what is printed, and the heads of its columns."""
        columns = len(self.widths) if plan is None else plan.columns
        room = self.widths[:columns]
        heads = [sheet_head(name) for name in self._values] or [""]
        lines = max(
            (lines_in(head, width) for head, width in zip(heads, self.widths, strict=False)),
            default=1,
        )
        return [
            line(room, f"{self._name}: {self.holds()}", style="bold"),
            line(room, self._printed(plan), style="text"),
            Line(tuple(heads), "head", height=height(lines)),
        ]

    def _printed(self, plan: Plan | None) -> str:
        """What of it is printed."""
        if plan is None or plan.whole:
            return "All of it is printed."
        if not plan.rows:
            return "None of it is printed. Change the print area to print some."
        parts = []
        if len(plan.rows) < plan.all_rows:
            own = plan.rows.start > 0 or plan.rows == self._matter()
            whose = f" of candidate {self._chosen}" if own else ""
            parts.append(f"{len(plan.rows)} rows{whose}, of {plan.all_rows}")
        if plan.columns < plan.all_columns:
            parts.append(f"{plan.columns} columns, of {plan.all_columns}")
        return f"Printed: {' and '.join(parts)}. Change the print area to print more."


def _text(value: Any) -> str:
    return value if isinstance(value, str) else ""
