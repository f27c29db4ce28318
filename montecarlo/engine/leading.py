"""The setting that leads while a run is under way. It is handed to a progress that asks for it;
nothing that is estimated depends on it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Protocol, runtime_checkable

import numpy as np

from montecarlo.engine.progress import Progress
from montecarlo.estimates.choose import Judgement
from montecarlo.estimates.refusals import may_be_chosen
from montecarlo.quantities import Index
from montecarlo.quantities.digits import alike
from montecarlo.study.axes import Setting
from montecarlo.study.description import Study


@dataclass(frozen=True, eq=False)
class Standing:
    """All candidates of a round.

    Attributes
    ----------
    study : Study
    settings : sequence of Setting
    judged : Judgement
        Of the same.
    numbers : sequence of int or None
        Of the same; None while candidates are searched.
    """

    study: Study
    settings: Sequence[Setting]
    judged: Judgement
    numbers: Sequence[int] | None


@dataclass(frozen=True)
class Leading:
    """The best setting so far, by counted samples alone.

    Attributes
    ----------
    samples, of_samples : int
        Of each counted type, and how many the run draws.
    number : int or None
        Of the candidate; None while candidates are still searched.
    setting : Setting
    p_missed, low, high : float
        With its 95 % limits (-).
    bound : float
        One-sided upper limit of p_false (-).
    allowed : bool
        Whether the policy allows it; else it is the closest to the policy's limit.
    aim : float
        What the policy wants small of an allowed one; of another its bound over the limit.
    standing : Standing
        With all that it was compared with.
    """

    samples: int
    of_samples: int
    number: int | None
    setting: Setting
    p_missed: float
    low: float
    high: float
    bound: float
    allowed: bool
    aim: float
    standing: Standing = field(repr=False, compare=False)

    @property
    def rank(self) -> tuple[bool, float]:
        """The least one leads."""
        return not self.allowed, self.aim


@runtime_checkable
class Listener(Protocol):
    """A progress that takes leading settings too."""

    def leading(self, found: Leading) -> None:
        """Called in the process that runs the study, between two stages."""
        ...


def best_place(judged: Judgement) -> int | None:
    """The candidate that leads.

    Parameters
    ----------
    judged : Judgement

    Returns
    -------
    int or None
        As the policy orders them; where it allows none, the closest to its limit; None where none
        can be used.
    """
    place = best_of(judged, np.arange(judged.usable.size))
    return place if judged.usable[place] else None


def best_of(judged: Judgement, places: Index) -> int:
    """The best of some candidates: as the policy orders them; where it allows none, the closest to
    its limit of those that can be used.

    Parameters
    ----------
    judged : Judgement
    places : array of int
        At least one.

    Returns
    -------
    int
    """
    some = {*places.tolist()}
    for place in judged.order():
        if place in some:
            return place
    used = np.where(judged.usable, judged.limit_used, np.inf)
    nearest = np.lexsort((alike(judged.missed.total[places]), alike(used[places])))[0]
    return int(places[nearest])


def leading_at(standing: Standing, place: int, samples: int, of_samples: int) -> Leading:
    """What is told of one candidate.

    Parameters
    ----------
    standing : Standing
    place : int
        Of the candidate in it.
    samples, of_samples : int
        Of each counted type, and how many the run draws.

    Returns
    -------
    Leading
    """
    judged = standing.judged
    allowed = may_be_chosen(judged, place)
    aim = judged.aim if allowed else judged.limit_used
    return Leading(
        samples,
        of_samples,
        None if standing.numbers is None else standing.numbers[place],
        standing.settings[place],
        float(judged.missed.total[place]),
        float(judged.missed.low[place]),
        float(judged.missed.high[place]),
        float(judged.bound[place]),
        allowed,
        float(aim[place]),
        standing,
    )


def listens(progress: Progress) -> bool:
    """Whether a progress takes leading settings.

    Parameters
    ----------
    progress : callable

    Returns
    -------
    bool
    """
    return isinstance(progress, Listener)


def tell_leading(progress: Progress, found: Leading) -> None:
    """Hand it over; nothing where nobody listens.

    Parameters
    ----------
    progress : callable
        One with a method `leading` takes it.
    found : Leading
    """
    listener: object = progress
    if isinstance(listener, Listener):
        listener.leading(found)
