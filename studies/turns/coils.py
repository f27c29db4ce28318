"""The coils of a winding as a table that a study may name in `winding.table`."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from montecarlo.plant.turns.layout import Coils
from montecarlo.plant.turns.table import PHASES, SIDES

if TYPE_CHECKING:
    import pandas as pd


def coil_frame(coils: Coils) -> pd.DataFrame:
    """The table winding_coils.csv: a row a coil, by upper slots; numbers from 1.

    Parameters
    ----------
    coils : Coils

    Returns
    -------
    DataFrame
    """
    import pandas as pd

    return pd.DataFrame(
        {
            "upper_slot": coils.upper + 1,
            "lower_slot": coils.lower + 1,
            "phase": np.array(PHASES)[coils.phase],
            "branch": coils.branch + 1,
            "order": coils.order + 1,
            "entered": np.array(SIDES)[(1 - coils.direction) // 2],
        }
    )
