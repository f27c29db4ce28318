"""What one step of each setting would change: missed faults against false trips."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

import numpy as np

from montecarlo.engine.batch import Batch
from montecarlo.engine.run import Outcome
from montecarlo.estimates.verdicts import Verdict
from montecarlo.quantities import Array
from montecarlo.study.axes import PICKUPS, STEPS, Setting

if TYPE_CHECKING:
    import pandas as pd

WINDOW = 0.25  # of a pick-up, to both sides
FEWEST = 3  # points of a straight line
QUANTITIES = ("p_missed", "p_false")
ENDS = {"difference": "", "low": "_low", "high": "_high"}


def prices(outcome: Outcome, neighbours: pd.DataFrame) -> pd.DataFrame:
    """One step down and one step up on each axis of the chosen setting.

    Parameters
    ----------
    outcome : Outcome
    neighbours : DataFrame
        As of `choosing.neighbour_rows`.

    Returns
    -------
    DataFrame
        A row a neighbour: `setting`, the axis; `step`, down or up; `chosen_value` and `value`;
        `candidate`; changes of p_missed and p_false with limits and verdicts as of `neighbours`;
        `missed_per_false`: by how much p_missed falls for a rise of p_false by 1 (-), or the other
        way round, empty unless both changes are sure and opposite; `false_power`: the power of a
        pick-up with which p_false goes nearby, from `power_points` settings, empty with fewer than
        3 that trip at all. Empty without a chosen setting.
    """
    import pandas as pd

    if outcome.chosen is None or not len(neighbours):
        return pd.DataFrame()
    rows = [
        _row(outcome, outcome.chosen, str(axis), int(number), gaps)
        for (axis, number), gaps in neighbours.groupby(["pair", "candidate"], sort=False)
    ]
    rows.sort(key=lambda row: (STEPS.index(row["setting"]), row["value"]))
    return pd.DataFrame(rows)


def _row(
    outcome: Outcome, chosen: Setting, axis: str, number: int, gaps: pd.DataFrame
) -> dict[str, Any]:
    by_quantity = gaps.set_index("quantity").to_dict("index")
    here, there = getattr(chosen, axis), getattr(outcome.first.settings[number - 1], axis)
    slope = dict(zip(("false_power", "power_points"), _power(outcome, chosen, axis), strict=True))
    return {
        "setting": axis,
        "step": "up" if there > here else "down",
        "chosen_value": here,
        "value": there,
        "candidate": number,
        **{
            f"{quantity}_change{end}": by_quantity[quantity][name]
            for quantity in QUANTITIES
            for name, end in ENDS.items()
        },
        **{f"{quantity[2:]}_verdict": by_quantity[quantity]["verdict"] for quantity in QUANTITIES},
        "missed_per_false": _exchange(*(by_quantity[quantity] for quantity in QUANTITIES)),
        **slope,
        "batch": int(gaps["batch"].iloc[0]),
    }


def _exchange(missed: dict[str, Any], false: dict[str, Any]) -> float:
    """Of p_missed for p_false; not a number unless one surely rises and the other surely falls."""
    sure = all(each["verdict"] is Verdict.APART for each in (missed, false))
    if not sure or missed["difference"] * false["difference"] >= 0:
        return math.nan
    return float(-missed["difference"] / false["difference"])


def _power(outcome: Outcome, chosen: Setting, axis: str) -> tuple[float, int]:
    """The slope of a straight line through ln p_false over ln of a pick-up, all other settings as
    chosen, and of how many points: of the sample that has more of them."""
    if axis not in PICKUPS:
        return math.nan, 0
    batches = (outcome.batch_of(chosen), outcome.first)
    points = max(([*_nearby(batch, chosen, axis)] for batch in batches), key=len)
    if len(points) < FEWEST:
        return math.nan, len(points)
    return slope(*np.log(points).T), len(points)


def _nearby(batch: Batch, chosen: Setting, axis: str) -> Iterator[tuple[float, float]]:
    """Pick-ups within the window whose p_false is above 0, and that."""
    here = getattr(chosen, axis)
    for setting, p in zip(batch.settings, batch.judgement.false.total, strict=True):
        own = getattr(setting, axis)
        if own is None or p <= 0 or abs(own / here - 1) > WINDOW * (1 + 1e-9):
            continue
        if all(getattr(setting, name) == getattr(chosen, name) for name in _others(axis)):
            yield own, float(p)


def _others(axis: str) -> tuple[str, ...]:
    return ("scheme", *(name for name in STEPS if name != axis))


def slope(x: Array, y: Array) -> float:
    """Of the straight line of least squares.

    Parameters
    ----------
    x, y : (n,) array

    Returns
    -------
    float
    """
    away = x - x.mean()
    return float(away @ y / (away @ away))
