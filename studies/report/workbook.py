"""All tables of a run as one workbook: a summary, a sheet a table, and a sheet of provenance.

Numbers are numbers and text is text: nothing that stands in a cell becomes a formula, or a link to
elsewhere. Every sheet says what of it is printed."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, Any

from studies.report.blocks import Block
from studies.report.letters import with_symbols
from studies.report.print_plan import PAPER_A4, SIDE_MM, TOP_MM, Plan, plans
from studies.report.sheets import Line, Lines, TableSheet, number_format
from studies.report.summary_sheet import (
    PROVENANCE,
    SUMMARY,
    origin,
    provenance_lines,
    summary_lines,
)

if TYPE_CHECKING:
    import pandas as pd
    from xlsxwriter import Workbook
    from xlsxwriter.format import Format
    from xlsxwriter.worksheet import Worksheet

NAME_MAX = 31  # letters in the name of a sheet
FOOT_DIGEST = 16  # letters of the study's digest in a foot, beside the sheet's name
STYLES: dict[str, dict[str, Any]] = {
    "text": {"text_wrap": True, "valign": "top"},
    "title": {"bold": True, "font_size": 14, "valign": "top", "text_wrap": True},
    "cell": {"valign": "top", "align": "left", "indent": 1},
    "wrapped": {"text_wrap": True, "valign": "top", "align": "left", "indent": 1},
    "head": {"bold": True, "bottom": 1, "text_wrap": True, "valign": "top"},
    "head text": {
        "bold": True,
        "bottom": 1,
        "text_wrap": True,
        "valign": "top",
        "align": "left",
        "indent": 1,
    },
    "head number": {
        "bold": True,
        "bottom": 1,
        "text_wrap": True,
        "valign": "top",
        "align": "right",
    },
    "bold": {"bold": True, "text_wrap": True, "valign": "top"},
    "link": {"font_color": "#0563C1", "underline": 1, "valign": "top"},
}


@dataclass(frozen=True)
class Told:
    """What stands beside the tables: the text of the run, its provenance and the caution."""

    provenance: Mapping[str, Any]
    caution: str
    text: Sequence[Block] = ()


def write_workbook(path: Path, frames: Mapping[str, pd.DataFrame], told: Told) -> None:
    """One sheet a frame, under its name; cells hold what the CSV has, and nothing where that is
    empty."""
    from xlsxwriter import Workbook

    from montecarlo.frames.digits import as_written

    # written to memory, since the library has words of its own for a disk that is full
    whole = BytesIO()
    plain = {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False}
    book = Workbook(whole, plain)
    title = told.provenance.get("study_title", "")
    book.set_properties({"title": title, "comments": origin(told.provenance)})
    rounded = {name: as_written(frame) for name, frame in frames.items()}
    _Writer(book, origin(told.provenance, FOOT_DIGEST)).write(rounded, told)
    book.close()
    path.write_bytes(whole.getvalue())


def sheet_plans(frames: Mapping[str, pd.DataFrame], told: Told) -> dict[str, Plan]:
    """What of each sheet is printed, and on how many pages."""
    return _plans(frames, told, _tables(frames, told))


def _plans(
    frames: Mapping[str, pd.DataFrame], told: Told, tables: Sequence[TableSheet]
) -> dict[str, Plan]:
    names = sheet_names(frames)
    extents = [
        _summary(frames, told, tables, [None] * len(tables)).extent,
        *(table.extent for table in tables),
        provenance_lines(told.provenance).extent,
    ]
    return dict(zip((SUMMARY, *names.values(), PROVENANCE), plans(extents), strict=True))


def sheet_names(frames: Iterable[str]) -> dict[str, str]:
    """Names of sheets: at most 31 letters, different also where case counts for nothing."""
    taken, names = {SUMMARY, PROVENANCE}, {}
    for name in frames:
        short = name[:NAME_MAX]
        for number in range(2, len(taken) + 3):
            if short.lower() not in taken:
                break
            short = f"{name[: NAME_MAX - 4]}_{number}"
        taken.add(short.lower())
        names[name] = short
    return names


def _tables(frames: Mapping[str, pd.DataFrame], told: Told) -> list[TableSheet]:
    chosen = told.provenance.get("chosen")
    return [TableSheet(name, frame, chosen) for name, frame in frames.items()]


def _summary(
    frames: Mapping[str, pd.DataFrame],
    told: Told,
    tables: Sequence[TableSheet],
    found: Sequence[Plan | None],
) -> Lines:
    names = sheet_names(frames).values()
    held = {
        name: (len(table.frame), table.holds(), plan)
        for name, table, plan in zip(names, tables, found, strict=True)
    }
    return summary_lines(told.text, told.provenance, told.caution, frames.get("candidates"), held)


class _Writer:
    """What writes sheets into a book; formats are made once."""

    def __init__(self, book: Workbook, foot: str) -> None:
        self._book, self._foot = book, foot
        self._formats: dict[str, Format] = {}

    def write(self, frames: Mapping[str, pd.DataFrame], told: Told) -> None:
        """All sheets."""
        names, tables = sheet_names(frames), _tables(frames, told)
        found = _plans(frames, told, tables)
        of_tables = [found[name] for name in names.values()]
        self._lines(SUMMARY, _summary(frames, told, tables, of_tables), found[SUMMARY])
        for table, name in zip(tables, names.values(), strict=True):
            self._table(name, table, found[name])
        self._lines(PROVENANCE, provenance_lines(told.provenance), found[PROVENANCE])

    def _lines(self, name: str, lines: Lines, plan: Plan) -> None:
        sheet = self._added(name, lines.widths)
        for row, line in enumerate(lines.lines):
            self._line(sheet, row, line)
        self._page(sheet, plan, head=0)

    def _table(self, name: str, table: TableSheet, plan: Plan) -> None:
        sheet = self._added(name, table.widths)
        above = table.above(plan)
        for row, line in enumerate(above[:-1]):
            self._line(sheet, row, line)
        sheet.set_row(len(above) - 1, above[-1].height)
        for at, head in enumerate(above[-1].cells):
            style = "head number" if table.is_number(at) else "head text"
            self._cell(sheet, len(above) - 1, at, head, style)
        for at, (column, values) in enumerate(table.columns()):
            wrapped = table.is_wrapped(column)
            style = "wrapped" if wrapped else "cell"
            for row, value in enumerate(values, len(above)):
                self._cell(sheet, row, at, value, style, column)
        for row, height in table.high_rows():
            sheet.set_row(row, height)
        sheet.freeze_panes(len(above), 1)
        if table.rows:
            last = len(above) - 1 + table.rows
            sheet.autofilter(len(above) - 1, 0, last, len(table.widths) - 1)
        self._page(sheet, plan, head=len(above))

    def _added(self, name: str, widths: Sequence[float]) -> Worksheet:
        sheet = self._book.add_worksheet(name)
        for at, width in enumerate(widths):
            sheet.set_column(at, at, width)
        return sheet

    def _line(self, sheet: Worksheet, row: int, line: Line) -> None:
        """A line of texts and numbers, each over its columns."""
        sheet.set_row(row, line.height)
        at = 0
        for value, span in zip(line.cells, line.spans or [1] * len(line.cells), strict=True):
            if span > 1:
                last = at + span - 1
                sheet.merge_range(row, at, row, last, "", self._format(line.style))
            self._cell(sheet, row, at, value, line.style, line.column)
            at += span
        if line.link:
            target = f"internal:'{line.link}'!A1"
            sheet.write_url(row, 0, target, self._format("link"), str(line.cells[0]))

    def _cell(
        self, sheet: Worksheet, row: int, at: int, value: Any, style: str, column: str = ""
    ) -> None:
        """A value; `column`: the name of its column, which says how numbers are shown."""
        if isinstance(value, bool):
            sheet.write_boolean(row, at, value, self._format(style))
        elif isinstance(value, (int, float)) and math.isfinite(value):
            shown = self._format(f"number {number_format(column, value)}")
            sheet.write_number(row, at, value, shown)
        elif value not in (None, ""):
            sheet.write_string(row, at, with_symbols(str(value)), self._format(style))

    def _format(self, style: str) -> Format:
        if style not in self._formats:
            number = {"num_format": style.removeprefix("number "), "valign": "top"}
            self._formats[style] = self._book.add_format(STYLES.get(style, number))
        return self._formats[style]

    def _page(self, sheet: Worksheet, plan: Plan, head: int) -> None:
        """Paper, margins, what is printed, and the foot of each page."""
        sheet.set_landscape()
        sheet.set_paper(PAPER_A4)
        side, top = SIDE_MM / 25.4, TOP_MM / 25.4
        sheet.set_margins(left=side, right=side, top=top, bottom=top)
        sheet.fit_to_pages(1, plan.pages)
        last = max(head + plan.rows.stop - 1, 0)
        sheet.print_area(head + plan.rows.start if plan.rows else 0, 0, last, plan.columns - 1)
        if head:
            sheet.repeat_rows(0, head - 1)
        foot = self._foot.replace("&", "&&")[:200]  # & begins a code; the format takes 255 letters
        sheet.set_footer(f"&L{foot}&R&A, &P/&N")
