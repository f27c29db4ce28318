"""How far each uncertain input may be off before the chosen setting breaks the policy's limit."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from montecarlo.engine.radius import Margin, Radius

if TYPE_CHECKING:
    import pandas as pd


def radius_frame(radius: Radius | None) -> pd.DataFrame:
    """The margins of a choice, those that break first on top.

    Parameters
    ----------
    radius : Radius or None

    Returns
    -------
    DataFrame
        A row an input. breaks_below, breaks_above: its centre up to which the limit is kept, in
        `unit`, and the distances in half-widths; empty where it is not reached. looked_at_below,
        looked_at_above: the last centres that were tried. Empty without margins.
    """
    import pandas as pd

    return pd.DataFrame([_row(one) for one in (radius.margins if radius else ())])


def _row(one: Margin) -> dict[str, object]:
    below, above = (math.nan if gap is None else gap for gap in (one.below, one.above))
    return {
        "key": one.key,
        "unit": one.unit,
        "event": one.event,
        "centre": one.centre,
        "half_width": one.half_width,
        "breaks_below": one.centre - below,
        "breaks_above": one.centre + above,
        "half_widths_below": below / one.half_width,
        "half_widths_above": above / one.half_width,
        "looked_at_below": one.centre - one.reach_below,
        "looked_at_above": one.centre + one.reach_above,
    }
