"""How far each uncertain input may be off before the chosen setting breaks the policy's limit, or
another one would be chosen."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from montecarlo.engine.margins import Margin, Radius
from montecarlo.study.axes import Setting
from montecarlo.study.shifts import Way

if TYPE_CHECKING:
    import pandas as pd


def radius_frame(radius: Radius | None, candidates: Sequence[Setting]) -> pd.DataFrame:
    """The margins of a choice, the nearest on top.

    Parameters
    ----------
    radius : Radius or None
    candidates : sequence of Setting
        In the order of their numbers.

    Returns
    -------
    DataFrame
        A row an input and way. breaks_at, changes_at: its centre, or of `wider` its half-width, up
        to which the limit is kept and the choice stands, in `unit`, and the distances in
        half-widths; empty where they are not reached. candidate: the one that would be chosen.
        looked_at: the last value that was tried. Empty without margins.
    """
    import pandas as pd

    return pd.DataFrame([_row(one, candidates) for one in (radius.margins if radius else ())])


def value_at(one: Margin, distance: float) -> float:
    """The centre, or of `wider` the half-width, at a distance. [unit of the input]

    Parameters
    ----------
    one : Margin
    distance : float
        In the input's unit.

    Returns
    -------
    float
    """
    if one.way is Way.WIDER:
        return one.half_width + distance
    return one.centre + (-distance if one.way is Way.LOWER else distance)


def _row(one: Margin, candidates: Sequence[Setting]) -> dict[str, object]:
    breaks = math.nan if one.breaks is None else one.breaks
    changes = math.nan if one.change is None else one.change.distance
    other = None if one.change is None else one.change.setting
    return {
        "key": one.key,
        "unit": one.unit,
        "event": one.event,
        "way": one.way.value,
        "centre": one.centre,
        "half_width": one.half_width,
        "breaks_at": value_at(one, breaks),
        "breaks_half_widths": breaks / one.half_width,
        "changes_at": value_at(one, changes),
        "changes_half_widths": changes / one.half_width,
        "reason": "" if one.change is None else one.change.reason.value,
        "candidate": None if other is None else candidates.index(other) + 1,
        "looked_at": value_at(one, one.reach),
    }
