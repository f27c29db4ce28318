"""What of a sheet is printed: whole rows and columns that stay legible, on few pages.

Page sizes are those of A4 across. A column so many letters wide, and a row so many points high,
are as wide and as high as common spreadsheet programs show them with their own font; from memory,
checked against one that prints."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import accumulate
from math import floor
from textwrap import wrap

PAPER_A4 = 9  # ISO/IEC 29500, paper sizes of a page's set-up; from memory
SIDE_MM, TOP_MM = 10.0, 17.0  # margins
PAGE_WIDTH_PX = (297 - 2 * SIDE_MM) / 25.4 * 96
PAGE_HEIGHT_PT = (210 - 2 * TOP_MM) / 25.4 * 72
LEAST_SCALE = 0.55  # of a font of 11 points: some 6 points on paper
SCALES = (1.0, 0.8, 0.65, LEAST_SCALE)  # tried for a table that then needs one page
LETTERS_MORE = 1.1  # of prose than of digits in the same width
ROW_PT = 15.0  # of one line
LETTER_PX, PADDING_PX = 7, 5  # of a column
MOST_PAGES = 26  # of a workbook
PAGES_EACH = 2  # of a long table; one where the workbook would have too many


@dataclass(frozen=True)
class Extent:
    """A sheet as it is laid out: widths of columns in letters, heights of rows in points, how many
    rows stand above the data, the data rows that matter where not all can be printed, and whether
    none or all shall be."""

    widths: Sequence[float]
    heights: Sequence[float]
    head: int
    matter: range | None = None
    unprinted: bool = False
    whole: bool = False


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
    columns, count = _columns(sheet.widths), len(sheet.heights) - sheet.head
    widest = min(PAGE_WIDTH_PX / _width_px(sheet.widths[:columns]), 1.0)
    wanted = {count} if sheet.matter is None else {count, len(sheet.matter)}
    rows, needed = range(0), 1
    for scale in sorted({widest, *(scale for scale in SCALES if scale < widest)}, reverse=True):
        rows, needed = _rows(sheet, scale, pages)
        if needed == 1 and len(rows) in wanted:
            break
    else:
        rows, needed = _rows(sheet, widest, pages)
    return Plan(rows, columns, count, len(sheet.widths), needed)


def _rows(sheet: Extent, scale: float, pages: int) -> tuple[range, int]:
    """Which rows are printed on at most so many pages at a scale, and on how many."""
    above, heights = sheet.heights[: sheet.head], sheet.heights[sheet.head :]
    room = max(PAGE_HEIGHT_PT / scale - sum(above), ROW_PT)
    rows = range(len(heights))
    if sheet.unprinted:
        return rows[:0], 1
    if not sheet.whole and len(_breaks(heights, room)) > pages:
        rows = rows if sheet.matter is None else sheet.matter
        breaks = _breaks(heights[rows.start : rows.stop], room)
        rows = rows[: breaks[pages]] if len(breaks) > pages else rows
    return rows, max(len(_breaks(heights[rows.start : rows.stop], room)), 1)


def plans(sheets: Sequence[Extent]) -> list[Plan]:
    """Of every sheet, so that a workbook has at most `MOST_PAGES` where one page a sheet allows:
    the first to give pages up is the table of which the smallest part is printed."""
    found = [plan(sheet, PAGES_EACH) for sheet in sheets]
    long = [at for at, each in enumerate(found) if each.pages > 1 and not sheets[at].whole]
    for at in sorted(long, key=lambda at: len(found[at].rows) / found[at].all_rows):
        if sum(each.pages for each in found) <= MOST_PAGES:
            break
        found[at] = plan(sheets[at], 1)
    return found


def letters(widths: Sequence[float]) -> float:
    """Of columns that are one cell: as wide as one of so many letters."""
    return (sum(map(_px, widths)) - PADDING_PX) / LETTER_PX if widths else 0.0


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
    room = max(floor(width * LETTERS_MORE), 1)
    return sum(max(len(wrap(line, room)), 1) for line in text.splitlines()) or 1


def height(lines: int) -> float:
    """Of a row with so many lines."""
    return min(ROW_PT * max(lines, 1), 409.0)  # the most that a row may have, ECMA-376
