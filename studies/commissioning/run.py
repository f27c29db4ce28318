"""The commissioning sheet of a finished run, for the chosen setting."""

from __future__ import annotations

from montecarlo.frames.provenance import origin
from montecarlo.study.axes import Setting
from montecarlo.study.description import Study
from studies.commissioning.expected import Sheet
from studies.commissioning.gate_tests import every_line
from studies.commissioning.sheet import commissioning_frame, commissioning_page
from studies.protocol import Part
from studies.report.blocks import Paragraph

PAGE = "commissioning.html"
TOLD = (
    f"Commissioning sheet of the chosen setting: {PAGE} to print, commissioning.csv to fill in."
    " The command measured applies the measured values to these results."
)


def commissioning(study: Study, setting: Setting, peak: str) -> Part:
    """The table, the page and a sentence on them.

    Parameters
    ----------
    study : Study
    setting : Setting
        The chosen one.
    peak : str
        What is to be said of the peak voltage.

    Returns
    -------
    Part
    """
    sheet = Sheet(study, setting)
    lines = [*every_line(sheet)]
    frame = commissioning_frame(lines)
    page = commissioning_page(sheet, lines, frame, origin(study), peak)
    return Part({"commissioning": frame}, {PAGE: page.encode()}, (Paragraph(TOLD),))
