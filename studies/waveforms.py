"""The waveforms of a finished run: cases at the boundary of the chosen setting, for secondary injection."""

from __future__ import annotations

from typing import TYPE_CHECKING

from montecarlo.engine.boundary import KINDS, nearest_cases
from montecarlo.report.tables import Result
from montecarlo.report.waveforms import FOLDER, index, records
from studies.text import paragraph

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["waveforms"]

CAUTION = ("Caution: secondary injection by qualified persons only, with the trip outputs isolated; the secondary of a "
           "CT that carries current is never opened.")
NAMES = {"false_trip": "false trips", "near_false_trip": "external events just below the setting",
         "weakest_detected": "weakest detected faults", "strongest_missed": "strongest missed faults"}


def waveforms(result: Result) -> tuple[pd.DataFrame, dict[str, bytes], list[str]]:
    """Index, files and a paragraph; the index is empty where no setting was chosen."""
    study, setting = result.study, result.outcome.chosen
    if setting is None:
        import pandas as pd

        return pd.DataFrame(), {}, []
    search = nearest_cases(study, setting)
    frame = index(study, setting, search.cases, search.searched)
    counts = [f"{(frame['case'] == kind).sum()} {NAMES[kind]}" for kind in KINDS]
    samples = max(search.searched.values())
    text = (f"Waveforms for secondary injection ({FOLDER}/, COMTRADE; index {FOLDER}.csv): {', '.join(counts)}, the "
            f"nearest to the boundary of the chosen setting among the first {samples} samples of each type. {CAUTION}")
    return frame, records(study, setting, search.cases, CAUTION), ["", *paragraph(text)]
