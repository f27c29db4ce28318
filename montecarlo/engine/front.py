"""The front: at each of some limits on false trips the setting that misses least, of all that were
judged on the same samples."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from montecarlo.estimates.choose import Judgement
from montecarlo.quantities import Flags
from montecarlo.quantities.digits import alike
from montecarlo.study.axes import Setting
from montecarlo.study.description import Study

LIMITS = 13  # of a front


@dataclass(frozen=True)
class FrontPoint:
    """The setting that misses least among those whose bound of p_false keeps to a limit.

    Attributes
    ----------
    limit : float
        Of p_false (-).
    setting : Setting
    samples : int
        Of each counted type.
    p_missed, low, high : float
        With its 95 % limits (-).
    p_false, false_low, bound : float
        With its lower 95 % limit and its one-sided upper limit (-).
    """

    limit: float
    setting: Setting
    samples: int
    p_missed: float
    low: float
    high: float
    p_false: float
    false_low: float
    bound: float


def front_limits(study: Study) -> tuple[float, ...]:
    """The limits of p_false at which the front is reported, the loosest first: evenly spaced in
    their logarithm between the ends of `policy.front`, to two digits where these tell them apart.

    Parameters
    ----------
    study : Study

    Returns
    -------
    tuple of float (-)
    """
    high, low = study.policy.front
    every = [float(limit) for limit in np.geomspace(high, low, LIMITS)[1:-1]]
    rounded = [float(f"{limit:.2g}") for limit in every]
    apart = len({high, low, *rounded}) == LIMITS and low < min(rounded) < max(rounded) < high
    return (high, *(rounded if apart else every), low)


def front_of(
    study: Study, settings: Sequence[Setting], verdict: Judgement, scheme: str, samples: int
) -> Iterator[FrontPoint]:
    """At each limit the setting of a scheme that misses least, of equal ones that with the lowest
    bound; none where none keeps to the limit.

    Parameters
    ----------
    study : Study
    settings : sequence of Setting
    verdict : Judgement
        Of these settings.
    scheme : str
    samples : int
        Of each counted type.

    Yields
    ------
    FrontPoint
    """
    own = np.array([setting.scheme == scheme for setting in settings], bool)
    eligible = own & verdict.usable & _keeps_each(study, verdict)
    missed, false = verdict.missed, verdict.false
    for limit in front_limits(study):
        keeping = np.flatnonzero(eligible & (verdict.bound <= limit))
        if not keeping.size:
            return
        order = np.lexsort((alike(verdict.bound[keeping]), alike(missed.total[keeping])))
        at = int(keeping[order[0]])
        yield FrontPoint(
            limit,
            settings[at],
            samples,
            float(missed.total[at]),
            float(missed.low[at]),
            float(missed.high[at]),
            float(false.total[at]),
            float(false.low[at]),
            float(verdict.bound[at]),
        )


def _keeps_each(study: Study, verdict: Judgement) -> Flags:
    """Whether each keeps to the policy's limit on every kind of event, where it has one."""
    limit = study.policy.p_false_max_each
    if limit is None:
        return np.ones(verdict.bound.shape, bool)
    return np.asarray(np.max([*verdict.each.values()], axis=0) <= limit)
