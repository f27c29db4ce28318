"""What one input, off by its half-width, does to the damage of earth faults and to how often nobody
clears them: the same setting on the same random numbers, solved once more."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from montecarlo.engine.clearing import Asked, Clearing, sample_clearings
from montecarlo.engine.clearing_paths import stated_case
from montecarlo.engine.progress import Progress
from montecarlo.engine.sizes import designs, with_sizes
from montecarlo.engine.space import concerns
from montecarlo.engine.stages import Stage
from montecarlo.engine.workers import Workers
from montecarlo.quantities import half_width, shifted, widened
from montecarlo.quantities.widening import RATIOS
from montecarlo.sampling.inputs import Input
from montecarlo.sampling.stratum import EARTH, Stratum
from montecarlo.study.description import Study
from montecarlo.study.shifts import Way, changed, reachable, uncertain_inputs
from montecarlo.study.strata import internal_shares
from montecarlo.study.wider import with_inputs

INPUTS_STAGE = "inputs of the damage"
MOST_FAULTS = 1024  # earth faults of each run
EXPONENT = "damage.exponent"
OF_DAMAGE = (EXPONENT, "fault_energy.", "dependability.breaker_failure_time_s")
BESIDE = (*OF_DAMAGE, "backup.", "dependability.", "earthing.")  # no event states them
UNWANTED = "spurious_per_year"  # alike whatever clears a fault
EARTH_ALONE = (EARTH,)
WAYS = (Way.LOWER, Way.HIGHER)
SQUEEZED = 0.95  # of the way to the end of what is possible


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
    return [item for item in uncertain_inputs(study) if types_with(study, item, (EARTH,))]


def types_with(study: Study, item: Input, types: Sequence[Stratum]) -> tuple[Stratum, ...]:
    """The types of faults of which an input may change the damage, or who clears them.

    Parameters
    ----------
    study : Study
    item : Input
    types : sequence of Stratum
        Among these.

    Returns
    -------
    tuple of Stratum
    """
    if item.key.endswith(UNWANTED) or (study.damage is None and item.key.startswith(OF_DAMAGE)):
        return ()
    beside = EARTH_ALONE if item.key.startswith(OF_DAMAGE) else types
    every = item.key.startswith(BESIDE)
    return tuple(
        name for name in types if concerns(study, item, name) or (every and name in beside)
    )


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
        for way, by in room(study, item, 1.0).items()
    ]
    others = [(moved(study, *move), f"{move[0].key} {move[1].value}") for move in moves]
    asked = [
        Asked(one, clearing.setting, clearing.round_, EARTH_ALONE, (stated_case(one),), name)
        for one, name in ((study, ""), *others)
    ]
    stated, *found = sample_clearings(asked, workers, progress, INPUTS_STAGE)
    return stated, tuple(Apart(*move, one) for move, one in zip(moves, found, strict=True))


# --- one input moved ----------------------------------------------------------


def room(study: Study, item: Input, reach: float) -> dict[Way, float]:
    """How far the centre of an input can be lower and higher.

    Parameters
    ----------
    study : Study
    item : Input
    reach : float (-)
        At most so many of its half-widths.

    Returns
    -------
    dict of Way to float
        In the input's unit; ways that it cannot go are left out.
    """
    found = _to_ends(item, reach) if _is_squeezed(item) else reachable(study, item, reach)
    return {way: found[way] for way in WAYS if found[way] > 0}


def moved(study: Study, item: Input, way: Way, by: float) -> Study:
    """The study with the centre of one input elsewhere.

    An exponent of damage may fill what is possible, 1 to 2: its values come nearer to one end.

    Parameters
    ----------
    study : Study
    item : Input
    way : Way
    by : float
        In the input's unit, as far as there is `room`.

    Returns
    -------
    Study
    """
    if not _is_squeezed(item):
        return changed(study, item, way, by)
    to_end = _to_end(item, way)
    part = by / abs(to_end)  # of the way that each value goes
    squeezed = shifted(widened(item.distribution, 1 - part), part * to_end)
    return with_inputs(study, {item.key: squeezed})


def _is_squeezed(item: Input) -> bool:
    given = item.distribution
    return item.key == EXPONENT and given.is_continuous and given.family not in RATIOS


def _to_ends(item: Input, reach: float) -> dict[Way, float]:
    most = reach * half_width(item.distribution)
    return {way: min(most, SQUEEZED * abs(_to_end(item, way))) for way in WAYS}


def _to_end(item: Input, way: Way) -> float:
    """From the centre to the end of what is possible."""
    end = item.quantity.low if way is Way.LOWER else item.quantity.high
    return end - item.distribution.centre()
