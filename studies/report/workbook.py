"""All tables of a run as one workbook: a sheet a table, and before them a sheet of notes.

Numbers are numbers and text is text: nothing that stands in a cell becomes a formula or a link.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterator, Mapping
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, Any

from studies.report.catalogue import column_unit, is_share, sheet_head, table_text

if TYPE_CHECKING:
    import pandas as pd
    from xlsxwriter import Workbook
    from xlsxwriter.format import Format
    from xlsxwriter.worksheet import Worksheet

NOTES = "notes"
ROWS_MAX = 1_048_576  # of a sheet, ECMA-376
NAME_MAX = 31  # letters in the name of a sheet
WIDEST = 60

# Number formats. Of a probability small values keep their digits, and a plain zero stays one.
PROBABILITY = "[=0]0;[<0.001]0.00E+00;0.0000"
FORMATS = {"1/year": PROBABILITY, "A": "0.0###", "ohm": "0.0##", "s": "0.0###", "V": "0.0"}


def write_workbook(
    path: Path, frames: Mapping[str, pd.DataFrame], provenance: Mapping[str, Any], caution: str
) -> None:
    """One sheet a frame, under its name; cells that are empty in the CSV are empty here."""
    from xlsxwriter import Workbook

    # written to memory, since the library has words of its own for a disk that is full
    whole = BytesIO()
    plain = {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False}
    book = Workbook(whole, plain)
    book.set_properties(
        {"title": provenance.get("study_title", ""), "comments": _origin(provenance)}
    )
    names, notes = _sheet_names(frames), book.add_worksheet(NOTES)
    for name, frame in frames.items():
        _write_table(book, book.add_worksheet(names[name]), frame, provenance)
    _write_notes(book, notes, frames, names, provenance, caution)
    book.close()
    path.write_bytes(whole.getvalue())


def _number_format(column: str) -> str:
    if unit := column_unit(column):
        return FORMATS.get(unit, "General")
    chance = is_share(column) or column in ("low", "high", "difference")
    return PROBABILITY if chance else "General"


def _sheet_names(frames: Mapping[str, Any]) -> dict[str, str]:
    """Names of sheets: at most 31 letters, different also where case counts for nothing."""
    taken, names = {NOTES}, {}
    for name in frames:
        short = name[:NAME_MAX]
        for number in range(2, len(frames) + 3):
            if short.lower() not in taken:
                break
            short = f"{name[: NAME_MAX - 4]}_{number}"
        taken.add(short.lower())
        names[name] = short
    return names


# --- sheets -------------------------------------------------------------------


def _write_table(
    book: Workbook, sheet: Worksheet, frame: pd.DataFrame, provenance: Mapping[str, Any]
) -> None:
    bold = book.add_format({"bold": True, "bottom": 1, "text_wrap": True, "valign": "top"})
    rows = frame.iloc[: ROWS_MAX - 1]
    for at, column in enumerate(rows.columns):
        sheet.write_string(0, at, sheet_head(column), bold)
        style = book.add_format({"num_format": _number_format(column)})
        values = rows[column].astype(object).where(rows[column].notna(), None).tolist()
        for row, value in enumerate(values, 1):
            _write(sheet, row, at, value, style)
        shown = max((len(value) for value in values if isinstance(value, str)), default=0)
        longest = max(len(word) for word in sheet_head(column).replace("_", "_ ").split())
        sheet.set_column(at, at, min(max(shown, longest, 8) + 2, WIDEST))
    sheet.freeze_panes(1, 1)
    if len(rows):
        sheet.autofilter(0, 0, len(rows), len(rows.columns) - 1)
    sheet.repeat_rows(0)
    sheet.set_landscape()
    sheet.fit_to_pages(1, 0)
    sheet.set_footer(f"&L{_for_footer(_origin(provenance))}&R&A, &P/&N")


def _write(
    sheet: Worksheet, row: int, column: int, value: Any, style: Format | None = None
) -> None:
    if isinstance(value, bool):
        sheet.write_boolean(row, column, value)
    elif isinstance(value, (int, float)):
        if math.isfinite(value):
            sheet.write_number(row, column, value, style)
        else:
            sheet.write_string(row, column, str(value))  # the format knows no infinity
    elif value not in (None, ""):
        sheet.write_string(row, column, str(value))


def _write_notes(
    book: Workbook,
    sheet: Worksheet,
    frames: Mapping[str, pd.DataFrame],
    names: Mapping[str, str],
    provenance: Mapping[str, Any],
    caution: str,
) -> None:
    bold, wrapped = (
        book.add_format({"bold": True}),
        book.add_format({"text_wrap": True, "valign": "top"}),
    )
    sheet.set_column(0, 0, 28)
    sheet.set_column(1, 1, 10)
    sheet.set_column(2, 2, 100)
    lines: list[tuple[str, Any, str]] = [
        (provenance.get("study_title", ""), None, ""),
        ("caution", None, caution),
        (
            "units",
            None,
            (
                "in brackets behind the name of a column; columns without are numbers without a"
                " unit (probabilities, shares, slopes), counts or words; costs are in the study's"
                " own unit"
            ),
        ),
        ("", None, ""),
        ("sheet", "rows", "what it holds"),
    ]
    lines += [(names[name], len(frame), _told(name, frame)) for name, frame in frames.items()]
    lines += [("", None, ""), ("provenance", None, "")]
    lines += [(key, None, text) for key, text in _flat(provenance)]
    for row, (key, count, text) in enumerate(lines):
        sheet.write_string(
            row, 0, key, bold if row == 0 or key in ("sheet", "provenance", "caution") else None
        )
        _write(sheet, row, 1, count)
        sheet.write_string(row, 2, text, wrapped)
    sheet.freeze_panes(1, 0)
    sheet.set_landscape()
    sheet.fit_to_pages(1, 0)


def _told(name: str, frame: pd.DataFrame) -> str:
    text = table_text(name).holds
    if len(frame) <= ROWS_MAX - 1:
        return text
    return (
        f"{text}; only the first {ROWS_MAX - 1} rows fit a sheet, all {len(frame)} are in"
        f" {name}.csv"
    )


def _flat(provenance: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    """The provenance line by line, a table within it by dotted keys."""
    for key, value in provenance.items():
        if isinstance(value, Mapping):
            yield from ((f"{key}.{inner}", text) for inner, text in _flat(value))
        else:
            yield key, value if isinstance(value, str) else json.dumps(value, ensure_ascii=False)


def _origin(provenance: Mapping[str, Any]) -> str:
    parts = [
        f"{word} {provenance[key]}"
        for key, word in (("version", "statorodds"), ("study_digest", "study"), ("seed", "seed"))
        if key in provenance
    ]
    return ", ".join(parts)


def _for_footer(text: str) -> str:
    return text.replace("&", "&&")[:200]  # & begins a code there; the format takes 255 letters
