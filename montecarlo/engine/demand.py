"""A least radius that a policy demands: every candidate that is to be chosen must keep to the
policy's limit with the centre of each uncertain input so many half-widths off, one at a time.

Candidates are asked in the order in which they would be chosen, some at a time, until one has it;
those after it are not asked. The path depends on tallies alone."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from montecarlo.engine.batch import Batch
from montecarlo.engine.progress import Progress, radius_stage
from montecarlo.engine.shifted import Again, Resolving, Used
from montecarlo.engine.space import concerns
from montecarlo.engine.workers import Workers
from montecarlo.estimates.choose import weights_of
from montecarlo.quantities import Array, Flags, half_width
from montecarlo.study.axes import Setting
from montecarlo.study.description import Study
from montecarlo.study.shifts import Way, changed, reachable, uncertain_inputs

AT_ONCE = 8  # candidates


@dataclass(frozen=True)
class InTheWay:
    """What breaks the limit of a candidate at the demanded radius, the most of all inputs.

    Attributes
    ----------
    setting : Setting
    key : str
        Of the input.
    unit : str
    centre : float
        Where the limit breaks, in the unit.
    used : float (-)
        Upper limit of false trips over the policy's.
    """

    setting: Setting
    key: str
    unit: str
    centre: float
    used: float


@dataclass(frozen=True, eq=False)
class _Place:
    """An input at the demanded distance."""

    key: str
    unit: str
    centre: float
    case: Again


def demanded(
    study: Study, batch: Batch, settings: Sequence[Setting], workers: Workers, tell: Progress
) -> tuple[Batch, tuple[InTheWay, ...]]:
    """A batch in which candidates without the demanded radius are refused.

    Parameters
    ----------
    study : Study
    batch : Batch
    settings : sequence of Setting
        Of the batch, in the order in which they would be chosen; asked until one has the radius.
    workers : Workers
    tell : Progress

    Returns
    -------
    Batch
    tuple of InTheWay
        One for each refused candidate.
    """
    least = study.policy.least_radius
    if least is None or not settings:
        return batch, ()
    used = np.full(len(batch.settings), np.nan)
    if batch.judgement.demand is not None:
        used = batch.judgement.demand.copy()
    places, found = list(_places(study.alone, least)), list[InTheWay]()
    for first in range(0, len(settings), AT_ONCE):
        some = settings[first : first + AT_ONCE]
        worst = _worst(study.alone, batch, some, places, workers, tell)
        for one, (each, place) in zip(some, worst, strict=True):
            used[batch.settings.index(one)] = each
            if not each <= 1:
                found.append(InTheWay(one, place.key, place.unit, place.centre, each))
        if any(each <= 1 for each, _ in worst):
            break
    judged = batch.judgement
    kept = np.isnan(used) | (used <= 1)
    return replace(batch, judgement=replace(judged, allowed=judged.allowed & kept, demand=used)), (
        *found,
    )


def _places(study: Study, least: float) -> Iterator[_Place]:
    """Both directions of every input that an external event has, as far as it can be moved."""
    names = weights_of(study).external
    for item in uncertain_inputs(study):
        with_it = tuple(name for name in names if concerns(study, item, name))
        wanted = least * half_width(item.distribution)
        for way, reach in reachable(study, item, least).items():
            by = min(reach, wanted)
            if way is Way.WIDER or not with_it or not by > 0:
                continue
            centre = item.distribution.centre() + (by if way is Way.HIGHER else -by)
            case = Again(changed(study, item, way, by), with_it)
            yield _Place(item.key, item.quantity.unit, centre, case)


def _worst(
    study: Study,
    batch: Batch,
    settings: Sequence[Setting],
    places: Sequence[_Place],
    workers: Workers,
    tell: Progress,
) -> list[tuple[float, _Place]]:
    """The most that each setting takes of the limit, and where."""
    whole = Resolving(study, settings[0], batch, workers, beside=tuple(settings[1:]))
    on = whole.on_few()
    found = on.used([place.case for place in places], tell, radius_stage(1))
    bounds = np.stack([_bounds(used, on.as_stated) for used in found])  # (places, C)
    at = np.argmax(bounds, axis=0)
    return [(float(bounds[row, column]), places[row]) for column, row in enumerate(at)]


def _bounds(used: Used, stated: Used) -> Array:
    """Upper limits; as stated where the estimate does not rise: few hits alone raise a bound."""
    risen: Flags = used.estimates > stated.estimates
    return np.where(risen, used.bounds, np.minimum(used.bounds, stated.bounds))
