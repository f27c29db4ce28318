"""What one step of each setting would change: missed faults against false trips."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

import numpy as np

from montecarlo.engine.run import Outcome
from montecarlo.estimates.choose import weights_of
from montecarlo.estimates.rare import Trust, Why
from montecarlo.estimates.verdicts import Verdict
from montecarlo.quantities import Array
from montecarlo.study.axes import PICKUPS, STEPS, Setting

if TYPE_CHECKING:
    import pandas as pd

WINDOW = 0.25  # of a pick-up, to both sides
FEWEST = 3  # points of a straight line
HITS = 10.0  # effective ones that a point rests on
POWER = ("false_power", "power_points")
QUANTITIES = ("p_missed", "p_false")
ENDS = {"difference": "", "low": "_low", "high": "_high"}


def prices(outcome: Outcome, neighbours: pd.DataFrame, exceedance: pd.DataFrame) -> pd.DataFrame:
    """One step down and one step up on each axis of the chosen setting.

    Parameters
    ----------
    outcome : Outcome
    neighbours : DataFrame
        As of `choosing.neighbour_rows`.
    exceedance : DataFrame
        As of `rare.exceedance`.

    Returns
    -------
    DataFrame
        A row a neighbour: `setting`, the axis; `step`, down or up; `chosen_value` and `value`;
        `candidate`; changes of p_missed and p_false with limits and verdicts as of `neighbours`;
        `missed_per_false`: by how much p_missed falls for a rise of p_false by 1 (-), or the other
        way round, empty unless both changes are sure and opposite; `false_power`: the power of a
        pick-up with which external events beyond it go nearby, from `power_points` of the curve of
        exceedance, empty with fewer than 3 that rest on enough hits. Empty without a chosen
        setting.
    """
    import pandas as pd

    if outcome.chosen is None or not len(neighbours):
        return pd.DataFrame()
    powers = {
        axis: _power(outcome, outcome.chosen, axis, exceedance) for axis in {*neighbours["pair"]}
    }
    rows = [
        _row(outcome, str(axis), int(number), gaps)
        | dict(zip(POWER, powers[str(axis)], strict=True))
        for (axis, number), gaps in neighbours.groupby(["pair", "candidate"], sort=False)
    ]
    rows.sort(key=lambda row: (STEPS.index(row["setting"]), row["value"]))
    return pd.DataFrame(rows)


def _row(outcome: Outcome, axis: str, number: int, gaps: pd.DataFrame) -> dict[str, Any]:
    by_quantity = gaps.set_index("quantity").to_dict("index")
    here, there = (getattr(one, axis) for one in (outcome.chosen, outcome.settings[number - 1]))
    return {
        "setting": axis,
        "step": "" if isinstance(here, str) else "up" if there > here else "down",
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
        "batch": int(gaps["batch"].iloc[0]),
    }


def _exchange(missed: dict[str, Any], false: dict[str, Any]) -> float:
    """Of p_missed for p_false; not a number unless one surely rises and the other surely falls."""
    sure = all(each["verdict"] is Verdict.APART for each in (missed, false))
    if not sure or missed["difference"] * false["difference"] >= 0:
        return math.nan
    return float(-missed["difference"] / false["difference"])


def _power(
    outcome: Outcome, chosen: Setting, axis: str, exceedance: pd.DataFrame
) -> tuple[float, int]:
    """The slope of a straight line through ln p over ln of a pick-up, p that its elements operate
    on an external event, and of how many points."""
    if axis not in PICKUPS or not len(exceedance):
        return math.nan, 0
    points = [*_nearby(outcome, chosen, axis, exceedance)]
    if len(points) < FEWEST:
        return math.nan, len(points)
    return slope(*np.log(points).T), len(points)


def _nearby(
    outcome: Outcome, chosen: Setting, axis: str, exceedance: pd.DataFrame
) -> Iterator[tuple[float, float]]:
    """Pick-ups within the window, and p there; where the event that makes most of it is trusted."""
    weights, here = weights_of(outcome.study), getattr(chosen, axis)
    kinds = (name.kind for name in weights.external)
    shares = dict(zip(kinds, weights.event_shares, strict=True))
    away = (exceedance["pickup_a"] / here - 1).abs()
    own = (exceedance["scheme"] == chosen.scheme) & (away <= WINDOW * (1 + 1e-9))
    stage = axis.removesuffix("_pickup_a")
    own &= exceedance["element"] == stage
    values = vars(chosen) | {"delay_s": chosen.delay_of(stage)}  # type: ignore[arg-type]
    for key in STEPS:
        value, column = values[key], exceedance.get(key)
        if column is not None:
            own &= column.isna() if value is None else column == value
    if not own.any():
        return
    rows = exceedance[own]
    rows = rows.assign(part=rows["p"] * rows["event"].map(shares))
    for pickup, each in rows.groupby("pickup_a"):
        p = float(each["part"].sum())
        if p > 0 and _trusted(each.loc[each["part"].idxmax(), "note"]):
            yield float(str(pickup)), p


def _trusted(note: Trust | None) -> bool:
    """Whether an estimate rests on enough hits."""
    if note is None or note.why is Why.MAGNITUDE:
        return True
    return note.why is Why.FEW and note.value >= HITS


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
