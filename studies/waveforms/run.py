"""The waveforms of a finished run: cases at the boundary of the chosen setting, for secondary
injection."""

from __future__ import annotations

from collections import Counter

from montecarlo.frames.result import Result
from montecarlo.quantities.wording import listed
from studies.protocol import Part
from studies.report.blocks import Paragraph
from studies.report.safety import ISOLATE, SECONDARY
from studies.waveforms.cases import KINDS, nearest_cases
from studies.waveforms.records import FOLDER, index, records

NAMES = {
    "false_trip": "worst false trips",
    "near_false_trip": "external events closest below the setting",
    "weakest_detected": "weakest detected faults",
    "strongest_missed": "strongest missed faults",
}


def waveforms(result: Result) -> Part:
    """Index, files and a paragraph; nothing where no setting was chosen."""
    study, setting = result.study, result.outcome.chosen
    if setting is None:
        return Part()
    search = nearest_cases(study, setting)
    frame = index(study, setting, search.cases, search.searched)
    found = Counter(case.kind for case in search.cases)
    counts = {kind: found[kind] for kind in KINDS}
    told = listed(f"the {NAMES[kind]} ({count})" for kind, count in counts.items() if count)
    without = listed((NAMES[kind] for kind, count in counts.items() if not count), "or")
    text = (
        f"Waveforms of the chosen setting for secondary injection ({FOLDER}/, COMTRADE; index"
        f" {FOLDER}.csv), from the first samples of each type, at most"
        f" {max(search.searched.values())}: {told or 'none'}{f'; no {without}' if without else ''}."
        f" {SECONDARY} {ISOLATE}"
    )
    frames = {"waveforms": frame} if len(frame) else {}
    return Part(frames, records(study, setting, search.cases), (Paragraph(text),))
