"""The waveforms of a finished run: cases at the boundary of the chosen setting, in time as figures
and for secondary injection."""

from __future__ import annotations

from collections import Counter
from functools import partial
from typing import TYPE_CHECKING

from montecarlo.engine.batch import STATED
from montecarlo.frames.result import Result
from montecarlo.quantities.wording import listed
from studies.protocol import Part
from studies.report.blocks import items
from studies.report.safety import ISOLATE, SECONDARY
from studies.waveforms.cases import KINDS, Search, nearest_cases
from studies.waveforms.figures import cases_in_time
from studies.waveforms.in_time import MISSED_CASE, WORST_CASES, missed_of, shown, table_of, worst_of
from studies.waveforms.records import FOLDER, index, names_of, records

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from matplotlib.figure import Figure

    from studies.waveforms.in_time import Shown

NAMES = {
    "false_trip": "worst false trips",
    "near_false_trip": "external events closest below the setting",
    "weakest_detected": "weakest detected faults",
    "strongest_missed": "strongest missed faults",
}


def waveforms(result: Result) -> Part:
    """Index, records, figures and a paragraph; nothing where no setting was chosen."""
    study, setting = result.study, result.outcome.chosen
    if setting is None:
        return Part()
    search = _search(result)
    frame = index(study, setting, search.cases, search.searched)
    pictures = _in_time(result, search)
    return Part(
        {"waveforms": frame} if len(frame) else {},
        {**records(study, setting, search.cases), **pictures.files},
        tuple(items(_counted(search))),
        pictures.draw,
    )


def in_time(result: Result, of: str = "") -> Part:
    """The figures of these cases and their tables alone; `of`: whose they are, where there are
    several choices."""
    return Part() if result.outcome.chosen is None else _in_time(result, _search(result), of)


def _search(result: Result) -> Search:
    assert result.outcome.chosen is not None
    densities = result.outcome.first.known[STATED].densities
    return nearest_cases(result.study, result.outcome.chosen, densities)


def _in_time(result: Result, search: Search, of: str = "") -> Part:
    setting = result.outcome.chosen
    assert setting is not None
    named = list(zip(names_of(search.cases), search.cases, strict=True))
    picked = {WORST_CASES: worst_of(named), MISSED_CASE: missed_of(named)}
    drawn = {
        name: [shown(result.study, setting, *one) for one in cases]
        for name, cases in picked.items()
        if cases
    }
    files = {f"{name}.csv": table_of(cases) for name, cases in drawn.items()}
    return Part(files=files, draw=partial(_drawn, drawn, of))


def _drawn(drawn: Mapping[str, Sequence[Shown]], of: str) -> dict[str, Figure]:
    return {name: cases_in_time(cases, of) for name, cases in drawn.items()}


def _counted(search: Search) -> Iterator[str]:
    """Which cases were found, and where."""
    found = Counter(case.kind for case in search.cases)
    held = listed(f"{NAMES[kind]} ({found[kind]})" for kind in KINDS)
    yield (
        f"Waveforms of the chosen setting for secondary injection: {FOLDER}/ (COMTRADE), index"
        f" {FOLDER}.csv. They show {held}. These are among the first samples of each type, at most"
        f" {max(search.searched.values()):,}."
    )
    if any(case.weight is not None for case in search.cases):
        yield (
            "No plain sample trips falsely. The false trips shown are weighted samples;"
            f" {FOLDER}.csv has their weights."
        )
    yield f"{SECONDARY} {ISOLATE}"
