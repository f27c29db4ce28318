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
from studies.report.catalogue import BIAS_PLANE
from studies.report.safety import ISOLATE, SECONDARY
from studies.waveforms.bias_plane import bias_plane, events_of
from studies.waveforms.cases import KINDS, Case, Search, nearest_cases
from studies.waveforms.figures import cases_in_time
from studies.waveforms.in_time import (
    MISSED_CASE,
    WORST_CASES,
    as_csv,
    missed_of,
    shown,
    table_of,
    worst_of,
)
from studies.waveforms.plane_figure import path_in_plane, plane_of_event
from studies.waveforms.records import FOLDER, index, names_of, records
from studies.waveforms.sampled import sampled
from studies.waveforms.trajectory import TRAJECTORY, path_of

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from montecarlo.engine.rare import Densities
    from montecarlo.study.axes import Setting
    from montecarlo.study.description import Study
    from studies.protocol import Recipe

NAMES = {
    "false_trip": "worst false trips",
    "near_false_trip": "external events closest below the setting",
    "weakest_detected": "weakest detected faults",
    "strongest_missed": "strongest missed faults",
}


def waveforms(study: Study, setting: Setting, densities: Densities) -> Part:
    """Index, records, figures and a paragraph on the cases nearest to a setting.

    Parameters
    ----------
    study : Study
    setting : Setting
        The chosen one.
    densities : Densities
        Of weighted samples, by external event.

    Returns
    -------
    Part
    """
    search = nearest_cases(study, setting, densities)
    made = {
        name: (case, sampled(study, case))
        for name, case in zip(names_of(search.cases), search.cases, strict=True)
    }
    frame = index(study, setting, made, search.searched)
    pictures = _in_time(study, setting, search.cases)
    return Part(
        {"waveforms": frame} if len(frame) else {},
        {**records(study, setting, made), **pictures.files},
        tuple(items(_counted(search))),
        pictures.figures,
    )


def in_time(result: Result, of: str = "") -> Part:
    """The figures of these cases and their tables alone; `of`: whose they are, where there are
    several choices."""
    if (setting := result.outcome.chosen) is None:
        return Part()
    search = nearest_cases(result.study, setting, densities_of(result))
    return _in_time(result.study, setting, search.cases, of)


def densities_of(result: Result) -> Densities:
    """Of the weighted samples of a run's own batch."""
    return result.outcome.first.known[STATED].densities


def _in_time(study: Study, setting: Setting, cases: Sequence[Case], of: str = "") -> Part:
    named = list(zip(names_of(cases), cases, strict=True))
    picked = {WORST_CASES: worst_of(named), MISSED_CASE: missed_of(named)}
    drawn = {
        name: [shown(study, setting, *one) for one in cases]
        for name, cases in picked.items()
        if cases
    }
    files = {f"{name}.csv": table_of(cases) for name, cases in drawn.items()}
    recipes: dict[str, Recipe] = {
        name: partial(cases_in_time, cases, of) for name, cases in drawn.items()
    }
    if (plane := bias_plane(study, setting)) is not None:
        files[f"{BIAS_PLANE}.csv"] = plane.table()
        recipes |= {
            f"{BIAS_PLANE}_{event}": partial(plane_of_event, plane.of(event), event, of)
            for event in events_of(plane)
        }
    if (path := path_of(study, setting, named)) is not None:
        files[f"{TRAJECTORY}.csv"] = as_csv(path.frame)
        recipes[TRAJECTORY] = partial(path_in_plane, path, of)
    return Part(files=files, figures=recipes)


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
