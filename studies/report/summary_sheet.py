"""The first sheet of a workbook, what people read: recommendation, figures with limits, cautions,
and what each sheet holds; and its last one, the provenance."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from math import ceil
from typing import TYPE_CHECKING, Any

from montecarlo.study.axes import KEYS, OWN
from studies.report.blocks import (
    Aside,
    Block,
    Caution,
    Heading,
    Items,
    Lead,
    Paragraph,
    Section,
    Table,
)
from studies.report.numbers import ENDS
from studies.report.print_plan import Plan
from studies.report.sheets import Line, Lines, line
from studies.report.words import FIGURES, figure_name, scheme_name, setting_text

if TYPE_CHECKING:
    import pandas as pd

SUMMARY, PROVENANCE, UNRESOLVED = "summary", "provenance", "unresolved"
COLUMNS, LETTERS = 24, 5.5  # a grid of narrow columns, of which each cell takes some
WIDTHS = (LETTERS,) * COLUMNS
OF_FIGURES, OF_SHEETS = (9, 2, 2, 2), (5, 2, 2, 15)  # columns of the grid
LONGEST = 60  # letters of a cell of a table that are counted
OF_PROVENANCE = (56.0, 124.0)
MOST_CHOICES = 12  # with figures on the first sheet
PAIRS = {"p_missed": "missed_per_year", "p_false": "false_per_year"}
Held = Mapping[
    str, tuple[int, str, Plan | None]
]  # of a sheet: rows, what it holds, what is printed


def summary_lines(
    text: Sequence[Block],
    provenance: Mapping[str, Any],
    caution: str,
    candidates: pd.DataFrame | None,
    held: Held,
) -> Lines:
    """The first sheet: what is read first, figures, sections, sheets."""
    sections = [place for place, block in enumerate(text) if isinstance(block, Section)]
    few = sections[0] if sections else len(text)
    lines = [
        _line(provenance.get("study_title", "") or SUMMARY, style="title"),
        _line(origin(provenance)),
        _line(caution, style="bold"),
        _line(""),
        *_blocks(text[:few]),
        *([] if candidates is None else _figures(candidates)),
        *_blocks(text[few:]),
        *_sheets(held),
    ]
    return Lines(WIDTHS, tuple(lines))


def _line(
    *cells: Any, style: str = "text", link: str = "", spans: Sequence[int] = (COLUMNS,)
) -> Line:
    return line(WIDTHS, *cells, style=style, link=link, spans=spans)


# --- text ---------------------------------------------------------------------


def _blocks(blocks: Sequence[Block]) -> Iterator[Line]:
    for block in blocks:
        match block:
            case Paragraph(text) | Caution(text):
                yield _line(f"Caution: {text}" if isinstance(block, Caution) else text)
            case Lead(texts):
                yield from (_line(text) for text in texts)
            case Aside(inner):
                yield from _blocks(inner)
            case Items(texts):
                yield from (_line(f"- {text}") for text in texts)
            case Heading(text):
                yield _line(text, style="bold")
            case Section(heading, inner):
                yield _line("")
                yield _line(heading, style="bold")
                yield from _blocks(inner)
            case Table():
                yield from _table(block)


def _table(table: Table) -> Iterator[Line]:
    """Each column as wide as its texts, as far as there is room."""
    spans = _spans([row for row in (table.header, *table.rows) if row])
    if table.caption:
        yield _line(table.caption)
    if table.header:
        yield _line(*table.header, style="head", spans=spans)
    yield from (_line(*row, spans=spans) for row in table.rows)
    yield from (_line(note) for note in table.notes)
    yield _line("")


def _spans(rows: Sequence[Sequence[str]]) -> list[int]:
    """Columns of the grid for each column of a table; what is too wide gives way, widest first."""
    longest = [min(max(map(len, column)), LONGEST) + 1 for column in zip(*rows, strict=True)]
    spans = [ceil(letters / LETTERS) for letters in longest]
    while sum(spans) > COLUMNS and max(spans) > 1:
        spans[spans.index(max(spans))] -= 1
    return spans


# --- figures ------------------------------------------------------------------


def _figures(candidates: pd.DataFrame) -> Iterator[Line]:
    """Of each choice the figures as numbers, with their limits."""
    if not {"chosen", "candidate", "scheme", *KEYS} - {*OWN} <= {*candidates.columns}:
        return
    chosen = candidates[candidates["chosen"].astype(bool)]
    if not len(chosen):
        return
    yield _line("")
    yield _line("Figures of the choice, with 95 % limits", style="bold")
    if len(chosen) > MOST_CHOICES:
        yield _line(f"The first {MOST_CHOICES} of {len(chosen)}; the sheet candidates has all.")
    for row in chosen.head(MOST_CHOICES).to_dict("records"):
        of = next((f"{row[name]}: " for name in ("option", "alternative") if name in row), "")
        setting = f"no. {row['candidate']}, {scheme_name(row['scheme'])}, {setting_text(row)}"
        yield _line(f"{of}{setting}")
        yield _line("quantity", "value", "low", "high", style="head", spans=OF_FIGURES)
        for name in FIGURES:
            if name in row:
                values = [value for value in _with_limits(row, name) if value == value]
                cells = (figure_name(name), *values)
                yield Line(cells, spans=OF_FIGURES[: len(cells)], column=name)


def _with_limits(row: Mapping[Any, Any], name: str) -> list[float]:
    """A figure and its limits; those of a yearly figure as far from it, in parts of it, as those of
    the probability that it goes with."""
    of = next((p for p, yearly in PAIRS.items() if yearly == name), name)
    rate = row[name] / row[of] if of != name and row[of] > 0 else 1.0
    known = of == name or row[of] > 0
    limits = [rate * row[f"{of}{end}"] for end in ENDS[1:] if f"{of}{end}" in row and known]
    return [float(row[name]), *map(float, limits)]


# --- sheets and provenance ----------------------------------------------------


def _sheets(held: Held) -> Iterator[Line]:
    yield _line("")
    yield _line("sheet", "rows", "pages", "what it holds", style="head", spans=OF_SHEETS)
    for name, (rows, text, plan) in held.items():
        pages = 0 if plan is None else plan.pages
        part = "" if plan is None or plan.whole else " (printed in part)"
        yield _line(name, rows, pages, f"{text}{part}", link=name, spans=OF_SHEETS)
    about = "how these results came about"
    yield _line(PROVENANCE, "", "", about, link=PROVENANCE, spans=OF_SHEETS)
    yield _line(
        "Units stand in brackets behind the name of a column. Columns without are numbers without a"
        " unit (probabilities, shares, slopes), counts or words. Costs are in the study's own unit."
    )


def provenance_lines(provenance: Mapping[str, Any]) -> Lines:
    """The last sheet, a line an entry; not what a sheet of its own holds."""
    own = {key: value for key, value in provenance.items() if key != UNRESOLVED}
    lines = [line(OF_PROVENANCE, "entry", "value", style="head")]
    lines += [line(OF_PROVENANCE, key, text) for key, text in _flat(own)]
    return Lines(OF_PROVENANCE, tuple(lines))


def _flat(provenance: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    """The provenance line by line, a table within it by dotted keys."""
    for key, value in provenance.items():
        if isinstance(value, Mapping):
            yield from ((f"{key}.{inner}", text) for inner, text in _flat(value))
        elif key == "sentences" and isinstance(value, list):
            yield from ((f"{key}.{number}", text) for number, text in enumerate(value, 1))
        else:
            yield key, value if isinstance(value, str) else json.dumps(value, ensure_ascii=False)


def origin(provenance: Mapping[str, Any], letters: int | None = None) -> str:
    """Version, study and seed in one line; `letters` of the digest of the study."""
    words = (("version", "statorodds"), ("study_digest", "study"), ("seed", "seed"))
    short = dict(provenance)
    if letters is not None and "study_digest" in short:
        short["study_digest"] = short["study_digest"][:letters]
    return ", ".join(f"{word} {short[key]}" for key, word in words if key in short)
