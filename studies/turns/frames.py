"""Tables of the winding: places of possible faults by class, what faults carry, and which of them
stay below a pick-up."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from montecarlo.plant.turns.catalogue import BETWEEN_PHASES, CLASSES, PLACES, WITHIN_PHASE
from montecarlo.plant.turns.currents import FaultCurrents
from montecarlo.quantities import Array
from studies.turns.faults import Measured, OfWinding, standing_a

if TYPE_CHECKING:
    import pandas as pd

ONE_TURN, ALL = "one_turn", "all_within_phase"
SHIELDED, UNSHIELDED, CLOSED_FORM = "shielded", "unshielded", "closed_form"
SPREAD = ("least", "median", "most")


# --- catalogue ----------------------------------------------------------------


def catalogue_frame(of: OfWinding) -> pd.DataFrame:
    """The table fault_catalogue.csv: a row a place and class.

    Parameters
    ----------
    of : OfWinding

    Returns
    -------
    DataFrame
    """
    import pandas as pd

    return pd.DataFrame(list(_catalogue_rows(of)))


def _catalogue_rows(of: OfWinding) -> Iterator[dict[str, Any]]:
    found, every = of.contacts, of.contacts.count.sum()
    weights, voltages = of.every_weight, of.voltages_v
    for place, where in enumerate(PLACES):
        for name in CLASSES:
            mine = found.of(name) & (found.place == place)
            count, weight = int(found.count[mine].sum()), float(weights[mine].sum())
            if not count:
                continue
            drawn = np.nan if name == BETWEEN_PHASES else weight / of.weights.sum()
            yield {
                "place": where,
                "class": name,
                "count": count,
                "count_share": count / every,
                "within_phase_share": drawn,
                "voltage_v": float(np.median(voltages[mine])),
                "weight_share": weight / weights.sum(),
            }


# --- currents -----------------------------------------------------------------


def turn_fault_frame(of: OfWinding) -> pd.DataFrame:
    """The table turn_faults.csv: a row a class, by X''d and by Xd, and one shorted turn in closed
    form.

    Parameters
    ----------
    of : OfWinding

    Returns
    -------
    DataFrame
    """
    import pandas as pd

    rows = [
        _row(of, name, gap, currents)
        for gap, currents in ((SHIELDED, of.shielded), (UNSHIELDED, of.unshielded))
        for name in WITHIN_PHASE
        if (of.kinds == name).any()
    ]
    return pd.DataFrame([*rows, _closed_form_row(of)])


def _row(of: OfWinding, name: str, gap: str, currents: FaultCurrents) -> dict[str, Any]:
    mine = of.kinds == name
    apart = of.branch_a * np.abs(currents.difference[mine]).max(axis=1)
    return {
        "class": name,
        "gap": gap,
        "count": int(of.counts[mine].sum()),
        "within_phase_share": of.weights[mine].sum() / of.weights.sum(),
        **_columns(of, of.contacts.shorted[of.which][mine], np.abs(currents.fault[mine]), apart),
    }


def _closed_form_row(of: OfWinding) -> dict[str, Any]:
    shorted = np.array([1 / of.branch_turns])
    current = np.array([of.one_turn])
    row = {"class": ONE_TURN, "gap": CLOSED_FORM, "count": np.nan, "within_phase_share": np.nan}
    return row | _columns(of, shorted, current, shorted * current * of.branch_a)


def _columns(of: OfWinding, shorted: Array, fault: Array, apart_a: Array) -> dict[str, float]:
    quantities = {
        "shorted_turns_{}_share": shorted,
        "fault_current_{}_pu": fault,
        "fault_current_{}_a": of.branch_a * fault,
        "group_difference_{}_a": apart_a,
        "group_difference_{}_percent": 100 * apart_a / of.study.machine.rated_current_a,
    }
    return {
        key.format(end): value
        for key, values in quantities.items()
        for end, value in zip(SPREAD, np.quantile(values, (0, 0.5, 1)), strict=True)
    }


# --- pick-ups -----------------------------------------------------------------


def unseen_frame(of: OfWinding, pickups: Mapping[tuple[str, str], Sequence[float]]) -> pd.DataFrame:
    """The table turn_faults_unseen.csv: a row a scheme, pick-up and class.

    Parameters
    ----------
    of : OfWinding
    pickups : mapping of sequence
        By scheme and "phase" or "earth" (A).

    Returns
    -------
    DataFrame
    """
    import pandas as pd

    return pd.DataFrame(
        [
            row
            for one in of.measured
            for pickup_a in pickups.get((one.scheme, one.axis), ())
            for row in _unseen_rows(of, one, pickup_a)
        ]
    )


def _unseen_rows(of: OfWinding, one: Measured, pickup_a: float) -> Iterator[dict[str, Any]]:
    primary_a = pickup_a * one.ratio
    for name in (*WITHIN_PHASE, ALL):
        mine = np.ones(of.kinds.size, bool) if name == ALL else of.kinds == name
        if not mine.any():
            continue
        yield {
            "scheme": one.scheme,
            "element": one.axis,
            "pickup_a": pickup_a,
            "pickup_primary_a": primary_a,
            "standing_primary_a": standing_a(one),
            "standing_above_share": float(np.mean(one.standing_a > primary_a)),
            "class": name,
            "count": int(of.counts[mine].sum()),
            "unseen_share": unseen(of, one, primary_a, mine),
        }


def unseen(of: OfWinding, one: Measured, primary_a: float, mine: Array | slice) -> float:
    """Share of some bolted faults that drive less than a primary current, each by its weight.

    Parameters
    ----------
    of : OfWinding
    one : Measured
    primary_a : float (A)
    mine : (faults,) array of bool, or slice

    Returns
    -------
    float
        NaN where none of them has a weight.
    """
    below, weights = one.faults_a[mine] < primary_a, of.weights[mine]
    return float(np.average(below, weights=weights)) if weights.any() else np.nan
