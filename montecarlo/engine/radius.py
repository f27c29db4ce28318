"""The radius of a choice: how far the centre of each uncertain input may be off, downwards and
upwards, before the upper limit of p_false of the chosen setting breaks the policy's limit.

One input is moved at a time, all of its values with it, and the external events that have it are
solved again on the random numbers of the independent sample. Related to the robustness function of
info-gap theory (Ben-Haim, Info-Gap Decision Theory, 2nd ed. 2006, from memory)."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import Enum

from montecarlo.engine.progress import Progress, radius_stage
from montecarlo.engine.run import Outcome
from montecarlo.engine.shifted import Again, Resolving, Used
from montecarlo.engine.sizes import designs, with_sizes
from montecarlo.engine.space import concerns
from montecarlo.engine.stages import SCREEN
from montecarlo.engine.workers import Workers
from montecarlo.quantities import half_width
from montecarlo.sampling.inputs import Input, list_inputs
from montecarlo.sampling.stratum import Stratum
from montecarlo.study.budget import limit_of_p_false
from montecarlo.study.description import Study
from montecarlo.study.shifts import reachable, uncertain_inputs, with_shift

PARTS = (4, 2)  # the first one in so many samples serves, where it shows the limit clearly
CLEAR = 1.25  # times the limit, for what a part decides
STEP = 0.02  # half-widths
NEAR = 0.08  # of the limit, below it
AIM = -0.04  # ln of the share of the limit
LEAST_CUT, MOST_STEPS = 0.1, 12
NARROW = 1 / 64  # of the distance to the end


class Unasked(Enum):
    """Why there is no radius."""

    NO_LIMIT = "no limit"  # the policy has none that could break
    TOO_FEW = "too few"  # the samples that can be solved again do not show the limit


@dataclass(frozen=True)
class Margin:
    """How far one input may be off.

    Attributes
    ----------
    key, unit, event : str
        event: the external event that alone has it, or "".
    centre, half_width : float
        In the unit.
    longest, shortest : float
        Ends of what is drawn, in the unit; infinite without an end.
    below, above : float or None
        Distance from the centre up to which the limit is kept; None: not within reach.
    reach_below, reach_above : float
        Distance that was looked at; 0 where the input cannot be moved, or where too few hits leave
        it open.
    """

    key: str
    unit: str
    event: str
    centre: float
    half_width: float
    shortest: float
    longest: float
    below: float | None
    above: float | None
    reach_below: float
    reach_above: float


@dataclass(frozen=True)
class Radius:
    """The margins of a chosen setting, the nearest first.

    Attributes
    ----------
    margins : tuple of Margin
    unasked : Unasked or None
        Why there are none.
    reach : float
        In half-widths.
    samples : int
        Of each external event that was solved again.
    undecided : int
        Directions of inputs that too few hits of weighted samples leave open.
    numbers : int
        Plain numbers that external events use: they have no width, and are not moved.
    """

    margins: tuple[Margin, ...]
    unasked: Unasked | None
    reach: float
    samples: int = 0
    numbers: int = 0
    undecided: int = 0


@dataclass(eq=False)
class _Side:
    """One direction of one input on its way to where the limit breaks. Distances in its unit."""

    item: Input
    names: tuple[Stratum, ...]
    sign: int
    end: float
    good: float = 0.0  # the limit is kept
    good_log: float = 0.0  # ln of what is used of the limit
    bad: float = math.inf
    bad_log: float = math.inf
    halve: bool = False
    steps: int = 0
    few: bool = False  # the end is not decided

    def case(self, study: Study, distance: float) -> Again:
        return Again(with_shift(study, self.item, self.sign * distance), self.names)

    @property
    def open(self) -> bool:
        """Whether the place is not known well enough yet."""
        gap = self.bad - self.good
        fine = max(STEP * half_width(self.item.distribution), NARROW * self.end)
        near = self.good > 0 and self.good_log >= math.log1p(-NEAR)
        return math.isfinite(self.bad) and gap > fine and not near and self.steps < MOST_STEPS

    def next(self) -> float:
        """A straight line through the logarithms, by turns with the middle where that does not
        close in."""
        share = 0.5
        rise = self.bad_log - self.good_log
        if not self.halve and 0 < rise < math.inf:
            share = (AIM - self.good_log) / rise
        share = min(max(share, LEAST_CUT), 1 - LEAST_CUT)
        return self.good + share * (self.bad - self.good)

    def take(self, distance: float, used: Used) -> None:
        """What was found at a distance."""
        gap = self.bad - self.good
        if used.bound <= 1:
            self.good, self.good_log = distance, _log(used.bound)
        else:
            self.bad, self.bad_log = distance, _log(used.bound)
        self.halve = not self.bad - self.good <= gap / 2
        self.steps += 1


def _log(used: float) -> float:
    return math.log(max(used, 1e-300))


def radius_of(outcome: Outcome, workers: Workers, tell: Progress) -> Radius | None:
    """The radius of a run's choice, in the study as stated.

    Parameters
    ----------
    outcome : Outcome
    workers : Workers
    tell : Progress

    Returns
    -------
    Radius or None
        None without a choice, or where the study does not ask.
    """
    study, fresh = outcome.study.alone, outcome.fresh
    if outcome.chosen is None or fresh is None or not study.study.radius:
        return None
    reach = study.policy.margins.reach
    if math.isinf(limit_of_p_false(study)) and study.policy.p_false_max_each is None:
        return Radius((), Unasked.NO_LIMIT, reach)
    whole = Resolving(study, outcome.chosen, fresh, workers)
    if not whole.as_stated.bound <= 1:
        return Radius((), Unasked.TOO_FEW, reach)
    return _Search(whole, tell).radius(reach)


class _Search:
    """All sides at once, step by step, so that all workers have work; the path depends on tallies
    alone."""

    def __init__(self, whole: Resolving, tell: Progress) -> None:
        self.study, self.tell = whole.stated, tell
        self.screen = replace(whole, part=SCREEN)
        parts = (replace(whole, part=part) for part in PARTS)
        clear = (one for one in parts if one.as_stated.bound * CLEAR <= 1)
        self.used = next(clear, whole)
        self.number = 1

    def radius(self, reach: float) -> Radius:
        """Every input that an external event uses."""
        sides, inputs = self._sides(reach)
        self._look_at_ends(sides)
        while open_ := [side for side in sides if side.open]:
            distances = [side.next() for side in open_]
            for side, distance, used in zip(
                open_, distances, self._found(self.used, open_, distances), strict=True
            ):
                side.take(distance, used)
        found = {(side.item.key, side.sign): side for side in sides}
        margins = [self._margin(item, found) for item in inputs]
        sized = with_sizes(self.study, self.used.sizes)
        return Radius(
            tuple(sorted(margins, key=_nearest)),
            None,
            reach,
            designs(sized)[0].samples_drawn,
            self._numbers(),
            sum(side.few for side in sides),
        )

    def _events_with(self, item: Input) -> tuple[Stratum, ...]:
        return tuple(name for name in self.used.names if concerns(item, name))

    def _numbers(self) -> int:
        plain = [item for item in list_inputs(self.study) if item.distribution.is_number]
        return sum(1 for item in plain if self._events_with(item))

    def _sides(self, reach: float) -> tuple[list[_Side], list[Input]]:
        """Both directions of every input, where they can be moved, and the inputs."""
        sides, inputs = [], []
        log = _log(self.used.as_stated.bound)
        for item in uncertain_inputs(self.study):
            if not (names := self._events_with(item)):
                continue
            reached = reachable(self.study, item, reach)
            inputs.append(item)
            for sign, end in zip((-1, 1), reached, strict=True):
                if end > 0:
                    sides.append(_Side(item, names, sign, end, good_log=log))
        return sides, inputs

    def _look_at_ends(self, sides: Sequence[_Side]) -> None:
        """Which ends break the limit; those that few samples leave open are solved on more."""
        unclear = []
        found = self._found(self.screen, sides, [side.end for side in sides])
        for side, used in zip(sides, found, strict=True):
            if used.few:
                unclear.append(side)
            elif used.estimate >= CLEAR:
                side.bad, side.bad_log = side.end, _log(used.bound)
            elif used.bound * CLEAR > 1:
                unclear.append(side)
        found = self._found(self.used, unclear, [side.end for side in unclear])
        for side, used in zip(unclear, found, strict=True):
            if used.bound > 1:
                side.bad, side.bad_log = side.end, _log(used.bound)
            side.few = used.few and used.bound <= 1

    def _found(
        self, on: Resolving, sides: Sequence[_Side], distances: Sequence[float]
    ) -> list[Used]:
        if not sides:
            return []
        cases = [
            side.case(self.study, distance) for side, distance in zip(sides, distances, strict=True)
        ]
        self.number += 1
        return on.used(cases, self.tell, radius_stage(self.number - 1))

    def _margin(self, item: Input, sides: dict[tuple[str, int], _Side]) -> Margin:
        def breaks(sign: int) -> float | None:
            side = sides.get((item.key, sign))
            return None if side is None or math.isinf(side.bad) else side.good

        def looked_at(sign: int) -> float:
            side = sides.get((item.key, sign))
            return 0.0 if side is None or side.few else side.end

        low, high = item.distribution.support()
        own = item.key.startswith("external_events.")
        return Margin(
            item.key,
            item.quantity.unit,
            self._events_with(item)[0].kind if own else "",
            item.distribution.centre(),
            half_width(item.distribution),
            low,
            high,
            breaks(-1),
            breaks(1),
            looked_at(-1),
            looked_at(1),
        )


def _nearest(margin: Margin) -> float:
    """Half-widths to where the limit breaks first."""
    distances = [each for each in (margin.below, margin.above) if each is not None]
    return min(distances, default=math.inf) / margin.half_width
