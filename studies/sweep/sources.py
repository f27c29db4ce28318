"""Where the false trips and the missed earth faults of a choice come from: tables and figures."""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial
from typing import TYPE_CHECKING

from montecarlo.frames.result import Result
from studies.protocol import Part
from studies.sweep.false_trips import false_trip_sources
from studies.sweep.missed_places import missed_fault_places, several_resistances
from studies.waveforms.run import in_time

if TYPE_CHECKING:
    import pandas as pd

    from studies.protocol import Recipe

SOURCES, PLACES = "false_trip_sources", "missed_fault_places"


def sources(result: Result, of: str = "") -> Part:
    """Of the chosen setting and the existing one; `of`: whose they are, where there are several
    choices."""
    found = {SOURCES: result.false_trip_sources, PLACES: result.missed_fault_places}
    frames = {name: frame for name, frame in found.items() if len(frame)}
    return Part(frames, figures=_figures(frames, of))


def with_cases(result: Result, of: str = "") -> Part:
    """The same, and the cases in time."""
    own, cases = sources(result, of), in_time(result, of)
    return Part(own.frames, cases.files, figures={**own.figures, **cases.figures})


def of_first_choice(results: Mapping[str, Result]) -> Part:
    """The same of the first of several that chooses a setting; nothing if none does."""
    for name, result in results.items():
        if result.chosen is not None:
            return with_cases(result, f"{name}: ")
    return Part()


def of_best_choice(results: Mapping[str, Result]) -> Part:
    """The same of the one whose choice misses least."""
    missed = {
        name: result.row(result.chosen)["p_missed"]
        for name, result in results.items()
        if result.chosen is not None
    }
    if not missed:
        return Part()
    best = min(missed, key=missed.__getitem__)
    return with_cases(results[best], f"{best}: ")


def _figures(frames: Mapping[str, pd.DataFrame], of: str) -> dict[str, Recipe]:
    recipes: dict[str, Recipe] = {}
    if SOURCES in frames:
        recipes[SOURCES] = partial(false_trip_sources, frames[SOURCES], of)
    if PLACES in frames and several_resistances(frames[PLACES]):
        recipes[PLACES] = partial(missed_fault_places, frames[PLACES], of)
    return recipes
