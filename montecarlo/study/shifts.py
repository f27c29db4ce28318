"""A study with the centre of one input moved or its width grown, and how far that can go."""

from __future__ import annotations

import math
from enum import Enum

from montecarlo.quantities import half_width, shifted
from montecarlo.quantities.widening import RATIOS
from montecarlo.sampling.inputs import Input, list_inputs
from montecarlo.study.consistency import CHECKS
from montecarlo.study.description import Study
from montecarlo.study.wider import possible, with_inputs, with_wider

NEARLY = 0.95  # of the way to a value that is excluded
HALVINGS = 6  # of a distance at which the study contradicts itself


class Way(Enum):
    """In which way an input is other than stated."""

    LOWER = "lower"
    HIGHER = "higher"
    WIDER = "wider"  # about its centre


def changed(study: Study, item: Input, way: Way, by: float) -> Study:
    """The study with one input other than stated and all else as it is.

    Parameters
    ----------
    study : Study
    item : Input
        Of the study.
    way : Way
    by : float
        How far its centre moves, or its half-width grows, in the input's unit.

    Returns
    -------
    Study
    """
    if way is Way.WIDER:
        return with_wider(study, item, 1 + by / half_width(item.distribution))
    return with_shift(study, item, -by if way is Way.LOWER else by)


def with_shift(study: Study, item: Input, by: float) -> Study:
    """The study with one input moved and all else as stated.

    Parameters
    ----------
    study : Study
    item : Input
        Of the study.
    by : float
        In the input's unit.

    Returns
    -------
    Study
    """
    return with_inputs(study, {item.key: shifted(item.distribution, by)})


def reachable(study: Study, item: Input, reach: float) -> dict[Way, float]:
    """How far an input can be other than stated: to the reach, or as far as every draw is possible
    and the study agrees with itself.

    Parameters
    ----------
    study : Study
    item : Input
    reach : float (-)
        In half-widths of the input.

    Returns
    -------
    dict of Way to float
        In the input's unit; 0 where it cannot be moved.
    """
    most = reach * half_width(item.distribution)
    down, up = _room(study, item)
    sound = set(_faults(study))
    room = {Way.LOWER: down, Way.HIGHER: up, Way.WIDER: _room_to_grow(item, down, up)}
    return {way: _agreeing(study, item, way, min(most, own), sound) for way, own in room.items()}


def _room_to_grow(item: Input, down: float, up: float) -> float:
    """Of the half-width: until an end meets what is possible. A ratio stays positive, and is cut
    there (`quantities.widened`); lists of values do not grow."""
    if not item.distribution.is_continuous:
        return 0.0
    return math.inf if item.distribution.family in RATIOS else min(down, up)


def _room(study: Study, item: Input) -> tuple[float, float]:
    """Distances to the ends of what is possible."""
    low, high = possible(study, item)
    least, most = item.distribution.support()
    if item.distribution.family in RATIOS:
        return _room_by_ratio(item.distribution.centre(), (low, high), (least, most))
    down = math.inf if low == -math.inf else max(least - low, 0.0)
    up = math.inf if high == math.inf else max(high - most, 0.0)
    return NEARLY * down if item.quantity.above else down, up


def _room_by_ratio(
    centre: float, allowed: tuple[float, float], drawn: tuple[float, float]
) -> tuple[float, float]:
    """The same of a family that is moved by a ratio, whose draws are positive."""
    smallest = max(allowed[0] / drawn[0], 0.0) if drawn[0] > 0 else 0.0
    down = NEARLY * centre * (1 - smallest)
    up = math.inf if allowed[1] == math.inf else centre * max(allowed[1] / drawn[1] - 1, 0.0)
    return down, up


def _agreeing(study: Study, item: Input, way: Way, by: float, sound: set[str]) -> float:
    """The distance, halved until the study has no fault that it did not have before."""
    for _ in range(HALVINGS):
        if not by or sound.issuperset(_faults(changed(study, item, way, by))):
            return by
        by /= 2
    return 0.0


def _faults(study: Study) -> list[str]:
    return [fault for check in CHECKS for fault in check.faults(study)]


def uncertain_inputs(study: Study) -> list[Input]:
    """Inputs with a width, in the order of the study.

    Parameters
    ----------
    study : Study

    Returns
    -------
    list of Input
    """
    return [item for item in list_inputs(study) if half_width(item.distribution) > 0]
