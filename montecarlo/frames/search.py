"""How settings were sought in ranges: the rounds of the search, and the front that they saw."""

from __future__ import annotations

from typing import TYPE_CHECKING

from montecarlo.engine.run import Outcome
from montecarlo.engine.search import FrontPoint, Ranked, front_of
from montecarlo.engine.sizes import designs
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


def front(outcome: Outcome) -> pd.DataFrame:
    """At each limit of p_false the setting of each scheme that misses least, of all that the search
    and the whole selection sample judged.

    Parameters
    ----------
    outcome : Outcome

    Returns
    -------
    DataFrame
        A row a scheme and limit; none at limits that the samples of the search cannot show.
        Probabilities [-]. Empty where nothing was sought.
    """
    import pandas as pd

    found = [point for one in outcome.rounds for point in one.front]
    whole = Ranked(outcome.first.settings, outcome.first.verdict)
    for scheme in dict.fromkeys(one.scheme for one in outcome.rounds):
        found += front_of(whole, scheme, designs(outcome.study)[0].samples_drawn)
    best: dict[tuple[str, float], FrontPoint] = {}
    for point in found:
        key = point.setting.scheme, point.limit
        if key not in best or point.p_missed < best[key].p_missed:
            best[key] = point
    points = sorted(best.values(), key=lambda point: (point.setting.scheme, -point.limit))
    return pd.DataFrame(
        {
            "scheme": [point.setting.scheme for point in points],
            "p_false_limit": [point.limit for point in points],
            **setting_columns(outcome.study, [point.setting for point in points]),
            "p_missed": [point.p_missed for point in points],
            "p_missed_low": [point.low for point in points],
            "p_missed_high": [point.high for point in points],
            "p_false_bound": [point.bound for point in points],
            "samples": [point.samples for point in points],
        }
    )
