"""What of a sheet is printed: whole rows and columns that stay legible, on few pages.

Page sizes are those of A4 across. A column so many letters wide, and a row so many points high,
are as wide and as high as common spreadsheet programs show them with their own font; from memory,
checked against one that prints."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import accumulate
from math import ceil, floor
from textwrap import wrap

PAPER_A4 = 9  # ISO/IEC 29500, paper sizes of a page's set-up; from memory
SIDE_MM, TOP_MM = 10.0, 17.0  # margins
PAGE_WIDTH_PX = (297 - 2 * SIDE_MM) / 25.4 * 96
PAGE_HEIGHT_PT = (210 - 2 * TOP_MM) / 25.4 * 72
LEAST_SCALE = 0.55  # of a font of 11 points: some 6 points on paper
ROW_PT = 15.0  # of one line
LETTER_PX, PADDING_PX = 7, 5  # of a column
MOST_PAGES = 30  # of a workbook
PAGES_EACH = (2, 1)  # of a long table, the second where the first makes too many in all


@dataclass(frozen=True)
class Extent:
    """A sheet as it is laid out: widths of columns in letters, heights of rows in points, how many
    rows stand above the data, and the data rows that matter where not all can be printed."""

    widths: Sequence[float]
    heights: Sequence[float]
    head: int
    matter: range | None = None


@dataclass(frozen=True)
class Plan:
    """Rows and columns that are printed, the last ones included, of how many, on so many pages."""

    rows: range
    columns: int
    all_rows: int
    all_columns: int
    pages: int

    @property
    def whole(self) -> bool:
        """Whether nothing is left out."""
        return len(self.rows) == self.all_rows and self.columns == self.all_columns


def plan(sheet: Extent, pages: int) -> Plan:
    """What of a sheet is printed on at most so many pages."""
    columns = _columns(sheet.widths)
    scale = min(PAGE_WIDTH_PX / _width_px(sheet.widths[:columns]), 1.0)
    head = sum(sheet.heights[: sheet.head])
    room = max(PAGE_HEIGHT_PT / scale - head, ROW_PT)
    count = len(sheet.heights) - sheet.head
    breaks = _breaks(sheet.heights[sheet.head :], room)
    rows = range(count)
    if len(breaks) > pages:
        rows = range(breaks[pages])
        if sheet.matter is not None and len(sheet.matter):
            own = sheet.heights[sheet.head + sheet.matter.start : sheet.head + sheet.matter.stop]
            breaks = [*_breaks(own, room), len(own)]
            rows = sheet.matter[: breaks[min(pages, len(breaks) - 1)]]
    shown = sheet.heights[sheet.head + rows.start : sheet.head + rows.stop]
    return Plan(rows, columns, count, len(sheet.widths), max(len(_breaks(shown, room)), 1))


def plans(sheets: Sequence[Extent]) -> list[Plan]:
    """Of every sheet, so that a workbook has at most `MOST_PAGES` where one page a sheet allows."""
    found: list[Plan] = []
    for pages in PAGES_EACH:
        found = [plan(sheet, pages) for sheet in sheets]
        if sum(each.pages for each in found) <= MOST_PAGES:
            break
    return found


def _columns(widths: Sequence[float]) -> int:
    """How many of the first columns fit a page in legible letters."""
    return max(sum(px <= PAGE_WIDTH_PX / LEAST_SCALE for px in accumulate(map(_px, widths))), 1)


def _width_px(widths: Sequence[float]) -> float:
    return sum(map(_px, widths)) or 1.0


def _px(width: float) -> float:
    """Of a column so many letters wide."""
    return floor(width * LETTER_PX + PADDING_PX)


def _breaks(heights: Sequence[float], room: float) -> list[int]:
    """The first row of each page."""
    starts, filled = [0] if len(heights) else [], 0.0
    for row, height in enumerate(heights):
        if filled and filled + height > room:
            starts.append(row)
            filled = 0.0
        filled += height
    return starts


def lines_in(text: str, width: float) -> int:
    """How many lines a wrapped text has in a cell so many letters wide."""
    room = max(floor(width) - 1, 1)
    return sum(max(len(wrap(line, room)), 1) for line in text.splitlines()) or 1


def height(lines: int) -> float:
    """Of a row with so many lines."""
    return min(ROW_PT * max(lines, 1), 409.0)  # the most that a row may have, ECMA-376


def pages_of(found: Sequence[Plan]) -> int:
    """Of all sheets together."""
    return ceil(sum(each.pages for each in found))
