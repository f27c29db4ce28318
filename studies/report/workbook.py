"""All tables of a run as one workbook: a sheet a table, and before them a sheet of notes.

Numbers are numbers and text is text: nothing that stands in a cell becomes a formula or a link.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from studies.report.frame_table import UNITS

if TYPE_CHECKING:
    import pandas as pd
    from xlsxwriter import Workbook
    from xlsxwriter.format import Format
    from xlsxwriter.worksheet import Worksheet

__all__ = ["NOTES", "header", "write_workbook"]

NOTES = "notes"
ROWS_MAX = 1_048_576  # of a sheet, ECMA-376
NAME_MAX = 31  # letters in the name of a sheet
WIDEST = 60

LIMITS = ("_low", "_high")

# Number formats. Of a probability small values keep their digits, and a plain zero stays one.
PROBABILITY = "[=0]0;[<0.001]0.00E+00;0.0000"
FORMATS = {"1/year": PROBABILITY, "A": "0.0###", "ohm": "0.0##", "s": "0.0###", "V": "0.0"}

SHEETS = {
    "candidates": (
        "one row a candidate setting: estimates with 95 % limits, whether it is usable "
        "and whether the "
        "policy's limits allow it; those of batch 2 on random numbers that the choice "
        "has not seen"
    ),
    "by_type": (
        "one row a candidate and a fault type, event or state; p: missed for internal faults,"
        " operated for the others; share_of_total: what a type makes of all missed faults, or of"
        " all false trips"
    ),
    "closest": (
        "where nothing can be chosen: the candidate of each scheme that comes closest to "
        "the policy's limits, "
        "and the limit that it would meet"
    ),
    "coverage": "P(detected) of an earth fault at each place x of the winding, from the neutral",
    "inputs": "every number and distribution of the study, and where it comes from",
    "unresolved": (
        "samples without a result by type and batch, of the candidate that has most; why, over all"
        " circuits; and how they are counted"
    ),
    "backup": "how often the elements in the neutral operate, whatever the candidate",
    "rare": "weighted samples of external events beside the counts, and which of the two was used",
    "exceedance": (
        "probability that an external event drives an element beyond a pick-up, every circuit"
    ),
    "comparison": (
        "the chosen candidate minus others, paired on the same events; "
        "95 % limits hold for all pairs together"
    ),
    "neighbours": (
        "candidates one step of a grid away, minus the chosen one; "
        "95 % limits hold for all steps together"
    ),
    "scenarios": "how each scenario of the policy judges the candidates",
    "scenario_choices": (
        "what each scenario would choose by itself, and the regret of the study's choice there"
    ),
    "schemes": "each scheme at its own best setting",
    "scheme_differences": (
        "one scheme's best setting minus another's, paired on the same events; "
        "95 % limits hold for all pairs together"
    ),
    "caught_by_other": "probability that one scheme misses a fault and another catches it",
    "variants": "each variant of the study at its own best setting",
    "variant_differences": (
        "each variant minus the study as stated, paired on the same events; "
        "95 % limits hold for all variants together"
    ),
    "earthing_options": (
        "each option of earthing at its own best setting, and the energy in its earth faults"
    ),
    "earthing_differences": (
        "one option of earthing minus another, paired on the same events; "
        "95 % limits hold for all pairs together"
    ),
    "drivers": "first and total effects of each input on what the elements get",
    "elasticities": (
        "how missed faults and false trips answer to the centre and the spread of each input"
    ),
    "what_if": "missed faults and false trips with one input at its centre, or half as uncertain",
    "worth_of_measuring": (
        "what it is worth to know an input of a plant before its setting is chosen"
    ),
    "detection_map": (
        "probability that an earth fault is detected, by place along the winding and setting"
    ),
    "convergence": "how the chosen candidate's probabilities settle as the samples come in",
    "remanence_models": "what each remanence model of the CTs chooses",
    "blind_zone": (
        "the part of the winding that stays blind against the false trips allowed, best of each"
        " scheme"
    ),
    "waveforms": (
        "index of the cases for secondary injection: where each comes from, what is expected of the"
        " elements"
    ),
    "commissioning": (
        "primary injections, pick-ups, slopes and times: what is expected and the band that 95 % of"
        " the sampled plants keep to; blank columns for what is measured"
    ),
    "peak_voltage": (
        "highest voltage across the relay circuit on an internal fault, by formula and simulated"
    ),
}


def write_workbook(
    path: Path, frames: Mapping[str, pd.DataFrame], provenance: Mapping[str, Any], caution: str
) -> None:
    """One sheet a frame, under its name; cells that are empty in the CSV are empty here."""
    from xlsxwriter import Workbook
    from xlsxwriter.exceptions import FileCreateError

    book = Workbook(path, {"strings_to_formulas": False, "strings_to_urls": False})
    book.set_properties(
        {"title": provenance.get("study_title", ""), "comments": _origin(provenance)}
    )
    names, notes = _sheet_names(frames), book.add_worksheet(NOTES)
    for name, frame in frames.items():
        _write_table(book, book.add_worksheet(names[name]), frame, provenance)
    _write_notes(book, notes, frames, names, provenance, caution)
    try:
        book.close()
    except FileCreateError as error:  # a full disk in the library's own words
        raise OSError(*error.args[0].args) from error


def header(column: str) -> str:
    """The name of a column with its unit in brackets: p_missed, pickup [A], missed [1/year]."""
    unit = _unit(column)
    if unit is None:
        return column
    base, limit = _without_limit(column)
    return f"{base.removesuffix(_suffix(base))}{limit} [{unit}]"


def _without_limit(column: str) -> tuple[str, str]:
    limit = next((limit for limit in LIMITS if column.endswith(limit)), "")
    return column.removesuffix(limit), limit


def _unit(column: str) -> str | None:
    """What a column's name says of its unit; a cost has the unit that the study gives it."""
    base, _ = _without_limit(column)
    return None if base.endswith("cost_per_year") else UNITS.get(_suffix(base))


def _suffix(base: str) -> str:
    return next((suffix for suffix in UNITS if base.endswith(suffix)), "")


def _number_format(column: str) -> str:
    if (unit := _unit(column)) is not None:
        return FORMATS.get(unit, "General")
    chance = column.startswith(
        ("p_", "covered_", "worst_p", "plant_", "share_of_")
    ) or column.endswith("_share")
    return PROBABILITY if chance or column in ("p", "low", "high", "difference") else "General"


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
        sheet.write_string(0, at, header(column), bold)
        style = book.add_format({"num_format": _number_format(column)})
        values = rows[column].astype(object).where(rows[column].notna(), None).tolist()
        for row, value in enumerate(values, 1):
            _write(sheet, row, at, value, style)
        shown = max((len(value) for value in values if isinstance(value, str)), default=0)
        longest = max(len(word) for word in header(column).replace("_", "_ ").split())
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
    text = SHEETS.get(name, f"the table of {name}.csv")
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
