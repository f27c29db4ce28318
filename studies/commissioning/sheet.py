"""The commissioning sheet: what to inject, what to expect, room for what is measured; a table and a
page to print."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any

import numpy as np

from studies.commissioning.expected import Sheet
from studies.commissioning.lines import Line, Printed
from studies.connections.figure import pictures
from studies.report.letters import together, with_symbols
from studies.report.page import inline
from studies.report.safety import MODEL, PROPOSED, TESTS
from studies.report.setting_words import setting_lines, setting_row
from studies.report.words import scheme_name, setting_text

if TYPE_CHECKING:
    import pandas as pd

COLUMNS = (
    "test",
    "how",
    "injected_primary_a",
    "injected_secondary_a",
    "quantity",
    "unit",
    "expected",
    "low",
    "high",
    "measured",
    "uncertainty",
)
BAND = (0.025, 0.5, 0.975)
TINY_A = 1e-9  # below it is round-off
FILLED_IN = ("band, 95 %", "measured", "instrument, ±", "in the band")
SHOWN_A = 1e-4  # the least that is printed


def commissioning_frame(lines: Iterable[Line]) -> pd.DataFrame:
    """A row a quantity: its median over the sampled installations and the band that holds 95 % of
    them.

    Parameters
    ----------
    lines : iterable of Line

    Returns
    -------
    DataFrame
        injected_primary_a, injected_secondary_a: what is injected at a CT's primary or at the
        relay's terminals; none where it is what is sought. `measured` and its standard
        `uncertainty` are left to be filled in.
    """
    import pandas as pd

    rows = []
    for line in lines:
        installations = line.installations(line.injected_a)
        installations = np.where(installations < TINY_A, 0.0, installations)
        row = {"test": line.test, "how": line.how, line.injected: line.injected_a}
        row |= {"quantity": line.quantity, "unit": line.unit}
        band = np.quantile(installations, BAND, method="nearest").tolist()
        rows.append(row | dict(zip(("low", "expected", "high"), band, strict=True)))
    return pd.DataFrame(rows, columns=list(COLUMNS))


# --- to print -----------------------------------------------------------------


def _tables(lines: Iterable[Line], frame: pd.DataFrame) -> list[dict[str, Any]]:
    """The frame as tables of texts, each with title, heads and rows."""
    tables: dict[Printed, list[list[str]]] = {}
    for line, row in zip(lines, frame.to_dict("records"), strict=True):
        expected, low, high = (_text(row[name]) for name in ("expected", "low", "high"))
        cells = [line.words, expected, f"{low}\u00a0…\u00a0{high}", "", "", ""]
        tables.setdefault(line.printed, []).append(cells)
    return [
        {
            "title": f"{number}. {printed.title}",
            "heads": [printed.first, printed.expected, *FILLED_IN],
            "rows": rows,
        }
        for number, (printed, rows) in enumerate(tables.items(), 1)
    ]


def commissioning_page(
    sheet: Sheet,
    lines: Iterable[Line],
    frame: pd.DataFrame,
    provenance: Mapping[str, Any],
    peak: str,
) -> str:
    """One page of HTML that needs nothing else; every text of the study is escaped.

    Parameters
    ----------
    sheet : Sheet
    lines : iterable of Line
    frame : DataFrame
        Of the lines.
    provenance : mapping
    peak : str
        What is to be said of the peak voltage across the relay circuit.

    Returns
    -------
    str
    """
    from jinja2 import Environment, PackageLoader

    setting = setting_row(sheet.study, sheet.setting)
    loader = PackageLoader("studies.report")
    templates = Environment(loader=loader, autoescape=True, trim_blocks=True, lstrip_blocks=True)
    templates.filters["inline"] = inline
    return templates.get_template("commissioning.html").render(
        title=sheet.study.study.title,
        scheme=scheme_name(sheet.setting.scheme),
        setting=with_symbols(setting_text(setting)),
        tables=_tables(lines, frame),
        connections=pictures(sheet.study, sheet.setting),
        installations=len(next(iter(sheet.samples.values()))),
        peak=together(peak),
        steps=[together(step) for step in TESTS],
        lines=[(name, with_symbols(value)) for name, value in setting_lines(sheet.study, setting)],
        proposed=PROPOSED,
        reach=MODEL,
        provenance=provenance,
    )


def _text(value: float) -> str:
    """Four figures, trailing zeros shown; what no instrument would tell from zero as that."""
    if np.isinf(value):
        return "never"
    return f"{value:#.4g}".rstrip(".") if value >= SHOWN_A else f"< {SHOWN_A:g}"
