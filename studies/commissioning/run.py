"""The commissioning sheet of a finished run, for the chosen setting."""

from __future__ import annotations

from montecarlo.frames.result import Result
from studies.commissioning.expected import Sheet
from studies.commissioning.lines import lines_of
from studies.commissioning.sheet import commissioning_frame, commissioning_page
from studies.protocol import Part
from studies.report.blocks import Paragraph

PAGE = "commissioning.html"
TOLD = (
    f"Commissioning sheet of the chosen setting: {PAGE} to print, commissioning.csv to fill in."
    " The command measured applies the measured values to these results."
)


def commissioning(result: Result, peak: str) -> Part:
    """The table, the page and a sentence on them; nothing where no setting was chosen.

    Parameters
    ----------
    result : Result
    peak : str
        What is to be said of the peak voltage.

    Returns
    -------
    Part
    """
    if (setting := result.outcome.chosen) is None:
        return Part()
    sheet = Sheet(result.study, setting)
    lines = [*lines_of(sheet)]
    frame = commissioning_frame(lines)
    page = commissioning_page(sheet, lines, frame, result.provenance, peak)
    return Part({"commissioning": frame}, {PAGE: page.encode()}, (Paragraph(TOLD),))
