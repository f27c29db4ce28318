"""Which input decides the damage of earth faults, and how often nobody clears them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any

from montecarlo.engine.clearing import Clearing
from montecarlo.engine.clearing_inputs import Apart
from montecarlo.estimates.intervals import student
from montecarlo.frames.clearing import ClearingFrames
from montecarlo.frames.limits import limit_columns

if TYPE_CHECKING:
    import pandas as pd


def inputs_frame(stated: Clearing, found: Sequence[Apart]) -> pd.DataFrame:
    """The table damage_inputs.csv: a row an input and way; what changes the mean damage most comes
    first.

    Parameters
    ----------
    stated : Clearing
        Of earth faults, with all inputs as stated.
    found : sequence of Apart
        Of the same faults.

    Returns
    -------
    DataFrame
        Differences from the study as stated, paired, with 95 % limits; inputs that change nothing
        are left out.
    """
    import pandas as pd

    frame = pd.DataFrame([*_rows(stated, found)])
    if not len(frame):
        return frame
    order = frame["damage_change_s"].abs().sort_values(ascending=False, kind="stable").index
    return frame.loc[order].reset_index(drop=True)


def _rows(stated: Clearing, found: Sequence[Apart]) -> Iterator[dict[str, Any]]:
    own = ClearingFrames(stated).block_means()
    mean = float(own["damage_mean_s"].mean())
    for one in found:
        other = ClearingFrames(one.clearing).block_means()
        if all((other[name] == own[name]).all() for name in ("damage_mean_s", "p_nobody")):
            continue
        harm, nobody = (student(other[name] - own[name]) for name in ("damage_mean_s", "p_nobody"))
        yield {
            "input": one.item.key,
            "way": one.way.value,
            "by": one.by,
            "unit": one.item.quantity.unit,
            **limit_columns("damage_change_s", harm),
            "damage_change_share": float(harm.p) / mean if mean else 0.0,
            **limit_columns("nobody_change", nobody),
        }
