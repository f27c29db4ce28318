"""The waveforms of a finished run: cases at the boundary of the chosen setting, for secondary injection."""

from __future__ import annotations

from typing import TYPE_CHECKING

from montecarlo.engine.boundary import KINDS, nearest_cases
from montecarlo.quantities.wording import listed
from montecarlo.report.safety import ISOLATE, SECONDARY
from montecarlo.report.tables import Result
from montecarlo.report.waveforms import FOLDER, index, records
from studies.text import paragraph

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["waveforms"]

NAMES = {"false_trip": "the worst false trips", "near_false_trip": "the external events closest below the setting",
         "weakest_detected": "the weakest detected faults", "strongest_missed": "the strongest missed faults"}


def waveforms(result: Result) -> tuple[pd.DataFrame, dict[str, bytes], list[str]]:
    """Index, files and a paragraph; the index is empty where no setting was chosen."""
    study, setting = result.study, result.outcome.chosen
    if setting is None:
        import pandas as pd

        return pd.DataFrame(), {}, []
    search = nearest_cases(study, setting)
    frame = index(study, setting, search.cases, search.searched)
    counts = {kind: int((frame["case"] == kind).sum()) for kind in KINDS}
    told = listed(f"{NAMES[kind]} ({count})" for kind, count in counts.items() if count)
    without = listed((NAMES[kind].removeprefix("the ") for kind, count in counts.items() if not count), "or")
    text = (f"Waveforms of the chosen setting for secondary injection ({FOLDER}/, COMTRADE; index {FOLDER}.csv), from "
            f"the first samples of each type, at most {max(search.searched.values())}: {told or 'none'}"
            f"{f'; no {without}' if without else ''}. {SECONDARY} {ISOLATE}")
    return frame, records(study, setting, search.cases), ["", *paragraph(text)]
