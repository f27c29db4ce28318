"""What one input, off by its half-width, does to the damage of earth faults and to how often nobody
clears them: the same setting on the same random numbers, solved once more."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from montecarlo.engine.clearing import Asked, Clearing, sample_clearings
from montecarlo.engine.clearing_paths import stated_case
from montecarlo.engine.progress import Progress
from montecarlo.engine.sizes import designs, with_sizes
from montecarlo.engine.space import concerns
from montecarlo.engine.stages import Stage
from montecarlo.engine.workers import Workers
from montecarlo.sampling.inputs import Input
from montecarlo.sampling.stratum import EARTH
from montecarlo.study.description import Study
from montecarlo.study.shifts import Way, changed, reachable, uncertain_inputs
from montecarlo.study.strata import internal_shares

INPUTS_STAGE = "inputs of the damage"
MOST_FAULTS = 1024  # earth faults of each run
BESIDE = ("backup.", "damage.exponent", "dependability.", "fault_energy.", "earthing.")
WAYS = (Way.LOWER, Way.HIGHER)


@dataclass(frozen=True, eq=False)
class Apart:
    """The earth faults with one input's centre elsewhere."""

    item: Input
    way: Way
    by: float  # in the input's unit
    clearing: Clearing


def inputs_of_damage(study: Study) -> list[Input]:
    """The uncertain inputs that may change the damage of an earth fault or who clears it.

    Parameters
    ----------
    study : Study

    Returns
    -------
    list of Input
        None without [damage].
    """
    if study.damage is None or EARTH not in internal_shares(study):
        return []
    return [
        item
        for item in uncertain_inputs(study)
        if (concerns(study, item, EARTH) or item.key.startswith(BESIDE))
        and not item.key.endswith("spurious_per_year")
    ]


def inputs_stages(study: Study) -> Iterator[Stage]:
    """What `sample_inputs` is for progress.

    Parameters
    ----------
    study : Study

    Yields
    ------
    Stage
    """
    if items := inputs_of_damage(study):
        yield Stage(INPUTS_STAGE, (1 + 2 * len(items)) * _few(study)[1])


def _few(study: Study) -> tuple[Study, int]:
    """The study with fewer earth faults, and how many."""
    count = min(designs(study)[1].samples_drawn, MOST_FAULTS)
    return with_sizes(study.alone, {"earth_fault_samples": count}), count


def sample_inputs(
    clearing: Clearing, workers: Workers, progress: Progress
) -> tuple[Clearing, tuple[Apart, ...]]:
    """Earth faults as stated, and with the centre of each input one half-width lower and higher, or
    as far as the input can go.

    Parameters
    ----------
    clearing : Clearing
        Whose setting and round are taken.
    workers : Workers
    progress : Progress

    Returns
    -------
    Clearing
        As stated.
    tuple of Apart
    """
    study, _ = _few(clearing.study)
    moves = [
        (item, way, by)
        for item in inputs_of_damage(study)
        for way, by in reachable(study, item, 1.0).items()
        if way in WAYS and by > 0
    ]
    others = [(changed(study, *move), f"{move[0].key} {move[1].value}") for move in moves]
    asked = [
        Asked(one, clearing.setting, clearing.round_, (EARTH,), (stated_case(one),), name)
        for one, name in ((study, ""), *others)
    ]
    stated, *found = sample_clearings(asked, workers, progress, INPUTS_STAGE)
    return stated, tuple(Apart(*move, one) for move, one in zip(moves, found, strict=True))
