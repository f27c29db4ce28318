"""What a run knows of its candidates before it has ended."""

from __future__ import annotations

from typing import TYPE_CHECKING

from montecarlo.engine.leading import Leading
from montecarlo.frames.candidates import setting_columns
from montecarlo.frames.limits import limit_columns

if TYPE_CHECKING:
    import pandas as pd


def so_far(found: Leading) -> pd.DataFrame:
    """Every candidate of the round in which a setting leads.

    Parameters
    ----------
    found : Leading

    Returns
    -------
    DataFrame
        A row a candidate that is still in the run; without a number in a search. Settings in the
        units of their column, probabilities [-], by counted samples alone.
    """
    import pandas as pd

    standing = found.standing
    judged = standing.judged
    return pd.DataFrame(
        {
            **({} if standing.numbers is None else {"candidate": standing.numbers}),
            "scheme": [setting.scheme for setting in standing.settings],
            **setting_columns(standing.study, standing.settings),
            "samples": found.samples,
            **limit_columns("p_missed", judged.missed),
            **limit_columns("p_false", judged.false),
            "p_false_bound": judged.bound,
            "limit_used": judged.limit_used,
            "usable": judged.usable,
            "allowed": judged.allowed,
            "leads": [setting == found.setting for setting in standing.settings],
        }
    )
