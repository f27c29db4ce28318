"""What would make another option the best one, as a tidy frame."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from montecarlo.engine.clearing_radius import BestOption, Turn
from montecarlo.study.shifts import Way

if TYPE_CHECKING:
    import pandas as pd

EVERY = "all"  # options that are compared have the input alike


def best_option_frame(found: BestOption) -> pd.DataFrame:
    """The table options_radius.csv: a row an input and way; where another option becomes the best
    stands first, the nearest on top, then where the best one leads least.

    Parameters
    ----------
    found : BestOption

    Returns
    -------
    DataFrame
        `options` that have the input alike; `stands_to`: its centre up to which the best option
        stays the best, in `unit`, empty where it does so up to `looked_at`; `lead` at the end: the
        least value of any other option over that of the best one [-].
    """
    import pandas as pd

    turns = sorted(found.turns, key=lambda one: (half_widths(one), one.lead))
    return pd.DataFrame([_row(found, one) for one in turns])


def half_widths(turn: Turn) -> float:
    """Distance up to which the best option stands; infinite where it does so to the end.

    Parameters
    ----------
    turn : Turn

    Returns
    -------
    float (-)
        In half-widths of the input.
    """
    return math.inf if turn.stands_to is None else turn.stands_to / turn.half_width


def centre_at(turn: Turn, distance: float) -> float:
    """The input's centre at a distance. [unit of the input]

    Parameters
    ----------
    turn : Turn
    distance : float
        In the input's unit.

    Returns
    -------
    float
    """
    return turn.centre + (-distance if turn.way is Way.LOWER else distance)


def _row(found: BestOption, turn: Turn) -> dict[str, Any]:
    to = math.nan if turn.stands_to is None else turn.stands_to
    return {
        "input": turn.key,
        "options": EVERY if len(turn.options) == len(found.among) else "; ".join(turn.options),
        "unit": turn.unit,
        "way": turn.way.value,
        "centre": turn.centre,
        "half_width": turn.half_width,
        "stands_to": centre_at(turn, to),
        "stands_to_half_widths": to / turn.half_width,
        "best_beyond": turn.other or "",
        "looked_at": centre_at(turn, turn.looked_at),
        "lead": turn.lead,
    }
