"""Grids that are too long to be judged whole: fewer values to begin with, then those about the best
one.

Everything here follows from the grids and the best setting alone."""

from __future__ import annotations

import math
from collections.abc import Sequence

from montecarlo.study.axes import AXES, Grids, Setting
from montecarlo.study.grids import Range

MOST_WHOLE = 2000  # combinations of ranges that are judged without a search
# Values of a range at the beginning, and about the best one afterwards
FIRST = {"pick-up": 16, "high set": 4, "circuit": 9, "bias": 4, "time": 6}
AFTER = {"pick-up": 7, "high set": 3, "circuit": 5, "bias": 3, "time": 4}
# Steps from the best setting on the whole batch: beside it, and so far that one keeps to the limit
# with a margin
AWAY = {
    "pick-up": (1, 2, 4),
    "high set": (1,),
    "circuit": (1, 3, 8),
    "bias": (1,),
    "time": (1, 2, 4),
}
PARTS = {axis.key: axis.part for axis in AXES}


def combinations(grids: Sequence[Grids]) -> int:
    """Settings that grids span, each slope with each turning point.

    Parameters
    ----------
    grids : sequence of Grids

    Returns
    -------
    int
    """
    return sum(math.prod(max(len(values), 1) for values in one.values.values()) for one in grids)


def are_searched(grids: Sequence[Grids]) -> bool:
    """Whether the best settings are sought: some grid is a range, and there are too many to judge
    each.

    Parameters
    ----------
    grids : sequence of Grids

    Returns
    -------
    bool
    """
    ranges = any(isinstance(values, Range) for one in grids for values in one.values.values())
    return ranges and combinations(grids) > MOST_WHOLE


def spread_out(values: Sequence[float], most: int) -> tuple[float, ...]:
    """At most so many of the values, first and last among them, at even ratios.

    Parameters
    ----------
    values : sequence of float
        Increasing, none below 0. 0 stays, beside the others.
    most : int
        At least 2.

    Returns
    -------
    tuple of float

    Examples
    --------
    >>> spread_out((0, 10, 20, 30, 40, 50, 60, 70, 80), 5)
    (0, 10, 20, 40, 80)
    """
    positive = [value for value in values if value > 0]
    zero = [value for value in values if value <= 0]
    wanted = most - len(zero)
    if len(positive) <= wanted:
        return tuple(values)
    ratio = (positive[-1] / positive[0]) ** (1 / (wanted - 1))
    points = [positive[0] * ratio**k for k in range(wanted)]
    nearest = [min(positive, key=lambda value: abs(value - point)) for point in points]
    return (*zero, *dict.fromkeys(nearest))


def at_first(grids: Grids) -> Grids:
    """A few values of each range; lists stay.

    Parameters
    ----------
    grids : Grids

    Returns
    -------
    Grids
    """
    return Grids(
        grids.scheme,
        {
            key: spread_out(values, FIRST[PARTS[key]]) if isinstance(values, Range) else values
            for key, values in grids.values.items()
        },
    )


def about(whole: Grids, judged: Grids, best: Setting) -> Grids:
    """Values between those next to the best setting, on every axis; beyond an end of the judged
    ones as far as on the other side. Every gate stays.

    Parameters
    ----------
    whole : Grids
        As the study states them.
    judged : Grids
        Those that were judged.
    best : Setting
        One of them.

    Returns
    -------
    Grids
    """
    values = {}
    for key, every in whole.values.items():
        own, there = getattr(best, key), judged.values[key]
        if own not in there or PARTS[key] == "gate":  # no second slope; gates have no order
            values[key] = there
            continue
        first, last = _window(every, there, own)
        values[key] = _evenly(every[first : last + 1], own, AFTER[PARTS[key]])
    return Grids(whole.scheme, values)


def beside(whole: Grids, best: Setting) -> Grids:
    """Settings about one on every axis, for the whole batch: its neighbours and some farther away.
    Every gate stays.

    Parameters
    ----------
    whole : Grids
        As the study states them.
    best : Setting

    Returns
    -------
    Grids
    """
    values = {}
    for key, every in whole.values.items():
        own = getattr(best, key)
        if own not in every:  # no second slope
            values[key] = every[:1]
            continue
        if PARTS[key] == "gate":
            values[key] = every
            continue
        at = every.index(own)
        away = AWAY[PARTS[key]]
        places = {at, *(at - steps for steps in away), *(at + steps for steps in away)}
        values[key] = tuple(every[place] for place in sorted(places) if 0 <= place < len(every))
    return Grids(whole.scheme, values)


def is_fine(whole: Grids, judged: Grids, best: Setting) -> bool:
    """Whether every value of the whole grids next to the best setting's was judged.

    Parameters
    ----------
    whole, judged, best
        As of `about`.

    Returns
    -------
    bool
    """
    for key, every in whole.values.items():
        own, there = getattr(best, key), judged.values[key]
        if own in there:
            at = every.index(own)
            if not {*every[max(at - 1, 0) : at + 2]} <= {*there}:
                return False
    return True


def _window(every: Sequence[float], there: Sequence[float], own: float) -> tuple[int, int]:
    """Places in the whole grid of the judged values next to one's own."""
    at, middle = there.index(own), every.index(own)
    below = middle - every.index(there[at - 1]) if at > 0 else 0
    above = every.index(there[at + 1]) - middle if at + 1 < len(there) else 0
    below, above = below or above or 1, above or below or 1
    return max(middle - below, 0), min(middle + above, len(every) - 1)


def _evenly(values: Sequence[float], own: float, most: int) -> tuple[float, ...]:
    """At most so many, and its own: first, last and others at even distances."""
    if len(values) <= most:
        return tuple(values)
    places = {round(k * (len(values) - 1) / (most - 1)) for k in range(most)}
    return tuple(sorted({own, *(values[place] for place in places)}))
