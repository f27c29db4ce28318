"""The waveforms of a finished run: cases at the boundary of the chosen setting, for secondary
injection."""

from __future__ import annotations

from typing import TYPE_CHECKING

from montecarlo.frames.result import Result
from montecarlo.quantities.wording import listed
from studies.report.blocks import Block, Paragraph
from studies.report.safety import ISOLATE, SECONDARY
from studies.waveforms.cases import KINDS, nearest_cases
from studies.waveforms.records import FOLDER, index, records

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["waveforms"]

NAMES = {
    "false_trip": "worst false trips",
    "near_false_trip": "external events closest below the setting",
    "weakest_detected": "weakest detected faults",
    "strongest_missed": "strongest missed faults",
}


def waveforms(result: Result) -> tuple[pd.DataFrame, dict[str, bytes], list[Block]]:
    """Index, files and a paragraph; the index is empty where no setting was chosen."""
    study, setting = result.study, result.outcome.chosen
    if setting is None:
        import pandas as pd

        return pd.DataFrame(), {}, []
    search = nearest_cases(study, setting)
    frame = index(study, setting, search.cases, search.searched)
    counts = {kind: int((frame["case"] == kind).sum()) for kind in KINDS}
    told = listed(f"the {NAMES[kind]} ({count})" for kind, count in counts.items() if count)
    without = listed((NAMES[kind] for kind, count in counts.items() if not count), "or")
    text = (
        f"Waveforms of the chosen setting for secondary injection ({FOLDER}/, COMTRADE; index"
        f" {FOLDER}.csv), from the first samples of each type, at most"
        f" {max(search.searched.values())}: {told or 'none'}{f'; no {without}' if without else ''}."
        f" {SECONDARY} {ISOLATE}"
    )
    return frame, records(study, setting, search.cases), [Paragraph(text)]
