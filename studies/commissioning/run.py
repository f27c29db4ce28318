"""The commissioning sheet of a finished run, for the chosen setting."""

from __future__ import annotations

from typing import TYPE_CHECKING

from montecarlo.frames.result import Result
from studies.commissioning.expected import Sheet
from studies.commissioning.lines import lines_of
from studies.commissioning.sheet import commissioning_frame, commissioning_page
from studies.report.blocks import Block, Paragraph

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["commissioning"]

PAGE = "commissioning.html"
TOLD = (
    f"Commissioning sheet of the chosen setting: {PAGE} to print, commissioning.csv to fill in; the"
    " command update tells what the measured values say of these results."
)


def commissioning(
    result: Result, peak: str
) -> tuple[pd.DataFrame | None, dict[str, bytes], list[Block]]:
    """The table, the page and a sentence on them; nothing where no setting was chosen.

    Parameters
    ----------
    result : Result
    peak : str
        What is to be said of the peak voltage.

    Returns
    -------
    tuple of DataFrame or None, dict of str to bytes, list of Block
    """
    if (setting := result.outcome.chosen) is None:
        return None, {}, []
    sheet = Sheet(result.study, setting)
    lines = [*lines_of(sheet)]
    frame = commissioning_frame(lines)
    page = commissioning_page(sheet, lines, frame, result.provenance, peak)
    return frame, {PAGE: page.encode()}, [Paragraph(TOLD)]
