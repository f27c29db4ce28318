"""How settings were sought in ranges: the rounds of the search."""

from __future__ import annotations

from typing import TYPE_CHECKING

from montecarlo.engine.run import Outcome
from montecarlo.frames.candidates import setting_columns

if TYPE_CHECKING:
    import pandas as pd


def search(outcome: Outcome) -> pd.DataFrame:
    """The rounds of the search, scheme by scheme.

    Parameters
    ----------
    outcome : Outcome

    Returns
    -------
    DataFrame
        A row a round and scheme: candidates, circuits and samples that it judged, its best setting,
        and that one's probabilities [-]. Empty where nothing was sought.
    """
    import pandas as pd

    rounds = outcome.rounds
    return pd.DataFrame(
        {
            "round": [one.number for one in rounds],
            "judged": [one.candidates for one in rounds],
            "circuits": [one.circuits for one in rounds],
            "samples": [one.samples for one in rounds],
            "scheme": [one.scheme for one in rounds],
            **setting_columns(outcome.study, [one.best for one in rounds]),
            "p_missed": [one.p_missed for one in rounds],
            "p_false": [one.p_false for one in rounds],
            "p_false_bound": [one.bound for one in rounds],
            "allowed": [one.allowed for one in rounds],
        }
    )
