"""The radius of a choice: how far each uncertain input may be off, its centre lower or higher or
its width larger, before the upper limit of p_false of the chosen setting breaks the policy's limit,
and before another setting would be chosen (`rivals.py`).

One input is moved at a time, all of its values with it, and what has it is solved again on the
random numbers of the independent sample. Related to the robustness function of info-gap theory
(Ben-Haim, Info-Gap Decision Theory, 2nd ed. 2006, from memory)."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from montecarlo.engine.margins import Change, Margin, Radius, Reason, Unasked
from montecarlo.engine.progress import Progress, radius_stage
from montecarlo.engine.rivals import Moved, Rivals, rivals_of
from montecarlo.engine.run import Outcome
from montecarlo.engine.shifted import CLEAR, Again, Resolving, Used
from montecarlo.engine.sizes import designs, with_sizes
from montecarlo.engine.space import concerns
from montecarlo.engine.stages import SCREEN
from montecarlo.engine.workers import Workers
from montecarlo.quantities import half_width
from montecarlo.quantities.digits import alike
from montecarlo.sampling.inputs import Input, list_inputs
from montecarlo.sampling.stratum import Stratum
from montecarlo.study.axes import Setting
from montecarlo.study.budget import limit_of_p_false
from montecarlo.study.description import Study
from montecarlo.study.shifts import Way, changed, reachable, uncertain_inputs

STEP = 0.05  # half-widths
NEAR = 0.1  # of the limit, below it
AIM = -0.04  # ln of the share of the limit
LEAST_CUT, MOST_STEPS = 0.1, 12
NARROW = 1 / 32  # of the distance
COUNTED = 512  # samples
ROUNDING = 1e-9
NEARER = 1  # halvings of an end that few hits leave open
HALVINGS = 5  # of the distance within which another setting would be chosen


@dataclass(eq=False)
class _Side:
    """One way of one input, and where the limit breaks on it. Distances in its unit."""

    item: Input
    names: tuple[Stratum, ...]  # external events that have it
    way: Way
    end: float  # as far as it is looked at
    possible: float  # as far as it could be
    good: float = 0.0  # the limit is kept
    good_log: float = 0.0  # ln of what is used of the limit
    bad: float = math.inf
    bad_log: float = math.inf
    halve: bool = False
    steps: int = 0
    few: bool = False  # the end is not decided
    rises: bool = False  # more false trips at the end than as stated
    refused: frozenset[Setting] = frozenset()  # that break the limit at the end
    change: Change | None = None

    def case(self, study: Study, distance: float) -> Again:
        return Again(changed(study, self.item, self.way, distance), self.names)

    def moved(self, study: Study, distance: float) -> Moved:
        known = self.refused if distance == self.end else frozenset[Setting]()
        other = changed(study, self.item, self.way, distance)
        wider = self.way is Way.WIDER
        return Moved(self.item, other, self.names, self.rises or wider, known, not wider)

    def break_at_end(self, used: Used) -> None:
        """That the limit does not hold there."""
        self.bad, self.bad_log = self.end, _log(used.bound)

    @property
    def kept_to(self) -> float:
        """Up to where the limit is kept, or was looked at."""
        return self.good if self.breaks else self.end

    @property
    def breaks(self) -> bool:
        """Whether the limit breaks within reach."""
        return math.isfinite(self.bad)

    @property
    def open(self) -> bool:
        """Whether the place is not known well enough yet."""
        gap = self.bad - self.good
        fine = max(STEP * half_width(self.item.distribution), NARROW * min(self.bad, self.end))
        near = self.good > 0 and self.good_log >= math.log1p(-NEAR)
        wide = bool(alike(gap) > alike(fine))
        return self.breaks and wide and not near and self.steps < MOST_STEPS

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
        self.halve = bool(alike(self.bad - self.good) > alike(gap / 2))
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
    return _Search(whole, rivals_of(outcome), tell).radius(reach)


class _Search:
    """All sides at once, step by step, so that all workers have work; the path depends on tallies
    alone."""

    def __init__(self, whole: Resolving, rivals: tuple[Setting, ...], tell: Progress) -> None:
        self.study, self.tell = whole.stated, tell
        self.counted = replace(whole, part=self._few_samples(), counted=True)
        self.used = whole.on_few()
        self.rivals = Rivals(replace(self.used, beside=rivals)) if rivals else None
        beside = self.rivals.on_own_circuit if self.rivals else ()
        self.screen = replace(whole, part=SCREEN, beside=beside)
        self.number = 1

    def radius(self, reach: float) -> Radius:
        """Every input that has a part in anything that is solved."""
        sides, inputs = self._sides(reach)
        outside = [side for side in sides if side.names]
        self._look_at_ends(outside)
        while open_ := [side for side in outside if side.open]:
            distances = [side.next() for side in open_]
            for side, distance, used in zip(
                open_, distances, self._found(self.used, open_, distances), strict=True
            ):
                side.take(distance, used)
        self._look_for_changes(sides)
        found = {(side.item.key, side.way): side for side in sides}
        margins = [
            self._margin(item, way, found.get((item.key, way)))
            for item in inputs
            for way in self._ways(item)
        ]
        sized = with_sizes(self.study, self.used.sizes)
        return Radius(
            tuple(sorted(margins, key=lambda one: one.nearest)),
            None,
            reach,
            designs(sized)[0].samples_drawn,
            self._numbers(),
            sum(side.few for side in sides),
            len(self.rivals.settings) - 1 if self.rivals else 0,
            sum(side.end < side.possible and not (side.few or side.breaks) for side in sides),
        )

    def _few_samples(self) -> int:
        """Part of the samples that counts a limit which breaks by far."""
        return max(SCREEN, self.study.study.samples // COUNTED)

    def _events_with(self, item: Input) -> tuple[Stratum, ...]:
        return tuple(name for name in self.used.names if concerns(self.study, item, name))

    def _ways(self, item: Input) -> tuple[Way, ...]:
        """A width tells more than a centre where each CT or element has a value of its own: these
        differ by it. Else its values are those of centres on both sides."""
        several = item.columns > 1 and bool(self._events_with(item))
        return tuple(way for way in Way if several or way is not Way.WIDER)

    def _concerns(self, item: Input) -> bool:
        inside = self.rivals.inside if self.rivals else ()
        return any(concerns(self.study, item, name) for name in (*self.used.names, *inside))

    def _numbers(self) -> int:
        plain = [item for item in list_inputs(self.study) if item.distribution.is_number]
        return sum(1 for item in plain if self._events_with(item))

    def _sides(self, reach: float) -> tuple[list[_Side], list[Input]]:
        """Every way of every input, where it can be moved, and the inputs."""
        sides, inputs = [], []
        log = _log(self.used.as_stated.bound)
        for item in filter(self._concerns, uncertain_inputs(self.study)):
            inputs.append(item)
            names, ways = self._events_with(item), self._ways(item)
            for way, end in reachable(self.study, item, reach).items():
                if end > 0 and way in ways:
                    sides.append(_Side(item, names, way, end, end, good_log=log))
        return sides, inputs

    def _look_at_ends(self, sides: Sequence[_Side]) -> None:
        """Which ends break the limit; those near to it are solved on more samples. Where too few
        weighted samples trip, counted ones may show a limit that breaks by far; else the end comes
        nearer by halves."""
        unclear, left = list[_Side](), [*sides]
        for step in range(NEARER + 1):
            near, few = self._screened(left)
            unclear += near
            left = self._not_by_far(few) if step == 0 else few
            for side in left:
                side.end /= 2
        for side in left:
            side.few = True
        for side, used in zip(unclear, self._ends(self.used, unclear), strict=True):
            if used.bound > 1:
                side.break_at_end(used)
            side.few = used.few and used.bound <= 1

    def _screened(self, sides: Sequence[_Side]) -> tuple[list[_Side], list[_Side]]:
        """Those whose end lies near the limit, and those that too few hits leave open."""
        near, few = list[_Side](), list[_Side]()
        for side, used in zip(sides, self._ends(self.screen, sides), strict=True):
            self._note_rivals(side, used)
            if used.few:
                few.append(side)
            elif used.estimate >= CLEAR:
                side.break_at_end(used)
            elif used.bound * CLEAR > 1:
                near.append(side)
        return near, few

    def _not_by_far(self, sides: Sequence[_Side]) -> list[_Side]:
        """Those of which counted samples do not show that the limit breaks."""
        left = list[_Side]()
        for side, used in zip(sides, self._ends(self.counted, sides), strict=True):
            if not used.few and used.estimate >= CLEAR:
                side.break_at_end(used)
            else:
                left.append(side)
        return left

    def _note_rivals(self, side: _Side, used: Used) -> None:
        """Whether false trips rise at the end, and which rivals break the limit there."""
        side.rises = used.few or used.estimate > self.screen.as_stated.estimate
        beyond = zip(self.screen.beside, used.estimates[1:], strict=True)
        side.refused = frozenset(one for one, estimate in beyond if not estimate <= 1)

    def _ends(self, on: Resolving, sides: Sequence[_Side]) -> list[Used]:
        return self._found(on, sides, [side.end for side in sides])

    def _found(
        self, on: Resolving, sides: Sequence[_Side], distances: Sequence[float]
    ) -> list[Used]:
        if not sides:
            return []
        cases = [
            side.case(self.study, distance) for side, distance in zip(sides, distances, strict=True)
        ]
        return on.used(cases, self.tell, self._stage())

    def _stage(self) -> str:
        self.number += 1
        return radius_stage(self.number - 1)

    def _look_for_changes(self, sides: Sequence[_Side]) -> None:
        """Where another setting would be chosen: looked for where the limit breaks, else at the
        end, then between it and the centre by halves. Of a width only the loads are asked."""
        for side in sides:
            if side.breaks:
                side.change = Change(side.good, Reason.LIMIT)
        if self.rivals is None:
            return
        good = dict.fromkeys(sides, 0.0)
        bad = {side: side.kept_to for side in sides if side.kept_to > 0 and not side.few}
        asked = list(bad)
        for step in range(HALVINGS + 1):
            places = [bad[side] if step == 0 else (good[side] + bad[side]) / 2 for side in asked]
            cases = [side.moved(self.study, at) for side, at in zip(asked, places, strict=True)]
            if not cases:
                return
            found = self.rivals.changes(cases, self.tell, self._stage())
            for side, at, change in zip(asked, places, found, strict=True):
                if change is None:
                    good[side] = at
                else:
                    bad[side], side.change = at, Change(good[side], *change)
            if step == 0:
                asked = [side for side, change in zip(asked, found, strict=True) if change]
        for side in asked:
            assert side.change is not None
            side.change = replace(side.change, distance=good[side])

    def _margin(self, item: Input, way: Way, side: _Side | None) -> Margin:
        low, high = item.distribution.support()
        width = half_width(item.distribution)
        wanted = self.study.policy.margins.reach * width
        own = item.key.startswith("external_events.")
        return Margin(
            item.key,
            item.quantity.unit,
            self._events_with(item)[0].kind if own else "",
            way,
            item.distribution.centre(),
            width,
            low,
            high,
            side.good if side and side.breaks else None,
            side.change if side else None,
            0.0 if side is None or side.few else side.end,
            side is None or side.possible < wanted * (1 - ROUNDING),
        )
