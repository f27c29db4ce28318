"""The stages of a run as far as they are known before it begins, each with how much it is to solve.

Not known before: how many independent samples are drawn until a setting keeps to the policy, and
whether wider inputs are of use."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

from montecarlo.engine.densities import stage_size, way_of
from montecarlo.engine.progress import (
    INDEPENDENT,
    RARE,
    SELECTION,
    WIDER_INPUTS,
    named_stage,
    narrowing_stage,
    radius_stage,
    search_stage,
)
from montecarlo.engine.rare import final_samples
from montecarlo.engine.search import part_of
from montecarlo.engine.sizes import designs
from montecarlo.engine.winding import STEADY_INTERVALS
from montecarlo.sampling.stratum import EARTH
from montecarlo.secondary.remanence import other_model
from montecarlo.study.candidates import candidate_lattices, is_searched
from montecarlo.study.description import Study
from montecarlo.study.shifts import uncertain_inputs
from montecarlo.study.strata import strata

BREAKING = 2  # whole samples of a step towards where the limit breaks
INSIDE = 400  # earth faults of each end where another setting may be chosen, on all circuits
SCREEN = 8  # the first one in so many samples of the ends
NEAR = 5  # relay circuits of a scheme about its best one
FEW = 4  # relay circuits of an independent sample: those of a setting and its neighbours


@dataclass(frozen=True)
class Stage:
    """What progress calls it, and how many solutions of a relay circuit it is, roughly."""

    what: str
    work: float


def named(stages: Iterator[Stage], name: str) -> Iterator[Stage]:
    """The same of one study, assumption set or model among several.

    Parameters
    ----------
    stages : iterable of Stage
    name : str

    Yields
    ------
    Stage
    """
    return (replace(stage, what=named_stage(stage.what, name)) for stage in stages)


def stages_of(study: Study) -> Iterator[Stage]:
    """Of `montecarlo.engine.run.run`, if the first setting on trial keeps to the policy.

    Parameters
    ----------
    study : Study

    Yields
    ------
    Stage
    """
    yield from _both_samples(study)
    if study.study.compare_remanence_models:
        yield from named(_both_samples(study), other_model(study.ct.remanence_model))


def radius_stages(study: Study) -> Iterator[Stage]:
    """Of the radius of a choice, which is sought after it; how many steps it takes is not known.

    Parameters
    ----------
    study : Study

    Yields
    ------
    Stage
    """
    if not study.study.radius:
        return
    samples = len(study.external_events) * designs(study)[0].samples_drawn
    sides = 2 * len(uncertain_inputs(study))
    yield Stage(radius_stage(1), sides * samples / SCREEN)
    yield from (Stage(radius_stage(step), BREAKING * samples) for step in (2, 3, 4))
    yield Stage(radius_stage(5), sides * INSIDE * (STEADY_INTERVALS + 1))


def _both_samples(study: Study) -> Iterator[Stage]:
    sets: Mapping[str, Study] = dict(study.assumption_sets)
    circuits = len(candidate_lattices(study))
    if is_searched(study):
        part = _counted(part_of(study)) * (1 + len(sets))
        yield Stage(narrowing_stage(1), circuits * part)
        circuits = NEAR * len(study.scheme.kinds)
        yield from (Stage(narrowing_stage(number), circuits * part) for number in (2, 3))
    yield from _selection(study.alone, circuits)
    for name, other in sets.items():
        yield from named(_selection(other, circuits), name)
    few = min(circuits, FEW)
    yield from _independent(study.alone, few)
    if _weighted(study):
        yield Stage(named_stage(f"{INDEPENDENT}, {RARE}", WIDER_INPUTS), few * _weighted(study))
    for name, other in sets.items():
        yield from named(_independent(other, few), name)


def _selection(study: Study, circuits: int) -> Iterator[Stage]:
    yield Stage(SELECTION, circuits * _counted(study))
    if weighted := _weighted(study):
        parts, events = way_of(study).stages, len(study.external_events)
        for place, part in enumerate(parts):
            work = circuits * events * stage_size(study, part)
            yield Stage(search_stage(place + 1, len(parts)), work)
        yield Stage(f"{SELECTION}, {RARE}", circuits * weighted)


def _independent(study: Study, circuits: int) -> Iterator[Stage]:
    yield Stage(INDEPENDENT, circuits * _counted(study))
    if weighted := _weighted(study):
        yield Stage(f"{INDEPENDENT}, {RARE}", circuits * weighted)


def _counted(study: Study) -> int:
    """Solutions of one circuit, every place on the winding of an earth fault."""
    drawn, earth = (design.samples_drawn for design in designs(study))
    places = earth * (STEADY_INTERVALS + 1)
    return sum(places if name == EARTH else drawn for name in strata(study))


def _weighted(study: Study) -> int:
    """Weighted samples of all events."""
    return final_samples(study) * len(study.external_events)
