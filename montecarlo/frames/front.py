"""What each limit on false trips would allow."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from montecarlo.engine.front import FrontPoint, front_limits, front_of
from montecarlo.engine.run import Outcome
from montecarlo.frames.candidates import setting_columns
from montecarlo.quantities.digits import alike

if TYPE_CHECKING:
    import pandas as pd


def front(outcome: Outcome) -> pd.DataFrame:
    """At each limit of p_false the setting of each scheme that misses least, of the selection
    sample and, after a search, of all that its rounds judged. Relay circuits that were left out
    early count by the samples that they had.

    The independent sample has too few settings for it. So each point is the best of many estimates,
    and looks a little better than it is.

    Parameters
    ----------
    outcome : Outcome

    Returns
    -------
    DataFrame
        A row a scheme and limit, the loosest first; none at limits to which the samples show no
        setting to keep. Probabilities [-]; p_false_bound: one-sided, at the policy's level.
        `candidate`: its number, empty for one of a round of the search alone.
    """
    import pandas as pd

    points = _points(outcome)
    numbers = {setting: number for number, setting in enumerate(outcome.settings, 1)}
    candidates = [numbers.get(point.setting) for point in points]
    return pd.DataFrame(
        {
            "scheme": [point.setting.scheme for point in points],
            "p_false_limit": [point.limit for point in points],
            "candidate": pd.array(candidates, dtype="Int64"),
            **setting_columns(outcome.study, [point.setting for point in points]),
            "p_missed": [point.p_missed for point in points],
            "p_missed_low": [point.low for point in points],
            "p_missed_high": [point.high for point in points],
            "p_false": [point.p_false for point in points],
            "p_false_low": [point.false_low for point in points],
            "p_false_bound": [point.bound for point in points],
            "samples": [point.samples for point in points],
        }
    )


def _points(outcome: Outcome) -> list[FrontPoint]:
    """The best of each scheme and limit, scheme by scheme in the order of the candidates. A setting
    of a round that the selection sample has counts by that."""
    study, whole = outcome.study, {*outcome.settings}
    parts = (outcome.first, *outcome.first.left_out.values())
    points = []
    for scheme in dict.fromkeys(setting.scheme for setting in outcome.settings):
        found = [
            point
            for part in parts
            for point in front_of(study, part.settings, part.verdict, scheme, part.samples)
        ]
        found += (
            point
            for one in outcome.rounds
            for point in one.front
            if point.setting.scheme == scheme and point.setting not in whole
        )
        for limit in front_limits(study):
            keeping = [point for point in found if point.bound <= limit]
            if keeping:
                ranks = alike([(point.p_missed, point.bound) for point in keeping]).tolist()
                best = keeping[ranks.index(min(ranks))]
                points.append(replace(best, limit=limit))
    return points
