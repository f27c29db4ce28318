"""Racing: relay circuits that surely cannot win are left out before all samples are drawn.

After a round a circuit is left out if each of its candidates is surely refused, or surely comes
behind a leader that the policy surely allows. The error of all that is left out together is stated
(`ERROR`), shared among rounds and circuits (Bonferroni). Racing: Maron and Moore, Advances in
Neural Information Processing Systems 6, 1993; selection with common random numbers: Kim and Nelson,
ACM TOMACS 11, 2001; both from memory. Counted samples alone decide, with the limits of
`assemble.weighted` and `paired.paired`."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence, Set
from dataclasses import dataclass

import numpy as np

from montecarlo.estimates.assemble import Gathered, weighted
from montecarlo.estimates.choose import Judgement, cost_weights, limits_used, weights_of
from montecarlo.estimates.intervals import Estimate, one_sided
from montecarlo.estimates.paired import Half, paired
from montecarlo.quantities import Array, Flags, Index
from montecarlo.quantities.digits import alike
from montecarlo.sampling.stratum import Stratum
from montecarlo.study.axes import Setting
from montecarlo.study.candidates import Lattice, settings_of
from montecarlo.study.description import Study

ERROR = 0.01  # that any circuit is left out wrongly
ADMITTED, REFUSED, BEHIND = 0.6, 0.2, 0.2  # shares of it: a leader takes the most samples to show


@dataclass(frozen=True, eq=False)
class Race:
    """What a round decides on.

    Attributes
    ----------
    study : Study
        As stated.
    lattices : sequence of Lattice
        Those that are left.
    strata : mapping of Gathered
        Counted so far.
    judged : Judgement
        Of the same.
    error : float
        What this round may spend (-).
    at_first : sequence of Lattice
        Those that the race began with, among which the error is divided.
    """

    study: Study
    lattices: Sequence[Lattice]
    strata: Mapping[Stratum, Gathered]
    judged: Judgement
    error: float
    at_first: Sequence[Lattice]

    def left_out(
        self, kept: Set[Setting], *, by_scheme: bool, refused_only: bool
    ) -> tuple[int, ...]:
        """The circuits that surely cannot win, neither with the least delay nor with a longer one:
        what a delay buys is a question of its own.

        Parameters
        ----------
        kept : set of Setting
            Candidates whose circuits stay whatever they show.
        by_scheme : bool
            Whether the best of each scheme is wanted.
        refused_only : bool
            Whether no candidate is compared with a leader.

        Returns
        -------
        tuple of int
            Places among `lattices`, never all of them.
        """
        settings = settings_of(self.lattices)
        schemes = np.array([setting.scheme for setting in settings])
        cells = [*self._cells()]
        at_once = self._at_once(settings)
        refused, allowed = self._surely_refused(), self._surely_allowed()
        found = list[int]()
        for group in [*dict.fromkeys(schemes)] if by_scheme else [None]:
            own = np.ones(len(schemes), bool) if group is None else schemes == group
            classes = [own & at_once, own & ~at_once]
            leaders = [None if refused_only else self._best(each & allowed) for each in classes]
            there = [place for place, each in enumerate(cells) if own[each[0]]]
            out = [
                place
                for place in there
                if kept.isdisjoint([settings[cell] for cell in cells[place]])
                and all(
                    self._cannot_win(place, cells[place], refused | ~each, leader)
                    for each, leader in zip(classes, leaders, strict=True)
                )
            ]
            if len(out) == len(there):  # the one that comes closest to the policy stays
                used = self.judged.limit_used
                out.remove(min(there, key=lambda place: float(np.min(used[cells[place]]))))
            found += out
        return tuple(sorted(found))

    def _at_once(self, settings: Sequence[Setting]) -> Flags:
        """Candidates with the least delay of all."""
        least = min(delay for lattice in self.at_first for delay in lattice.delay_s)
        return np.array([setting.delay_s == least for setting in settings])

    @property
    def _rows(self) -> int:
        """Rows of the grids. Along one false trips and missed faults are nested, samplewise, so
        that one error covers all of it; costs are not."""
        if self.judged.cost is not None:
            return sum(math.prod(one.shape) for one in self.at_first)
        return sum(math.prod(one.shape) // max(one.shape) for one in self.at_first)

    def _cells(self) -> Iterator[Index]:
        """The candidates of each lattice."""
        first = 0
        for lattice in self.lattices:
            size = math.prod(lattice.shape)
            yield np.arange(first, first + size)
            first += size

    def _used(self, level: float) -> tuple[Array, Array]:
        """Shares of the policy's limits that the lower and the upper limits of p_false take."""
        weight = weights_of(self.study)
        events = [self.strata[name] for name in weight.external]
        whole = weighted(events, weight.event_shares, level)
        each: dict[Stratum, Estimate] = {}
        if self._limits > 1:
            each = {event.name: event.estimate(level) for event in events}
        low, high = (
            limits_used(
                self.study,
                getattr(whole, end),
                {name: getattr(part, end) for name, part in each.items()},
            )
            for end in ("low", "high")
        )
        return low, high

    @property
    def _limits(self) -> int:
        """How many limits each candidate has to keep to."""
        if self.study.policy.p_false_max_each is None:
            return 1
        return 1 + len(weights_of(self.study).external)

    def _surely_refused(self) -> Flags:
        """Candidates that no further sample can bring back: they operate on load or break the knee
        rule; or their false trips are surely above the limit."""
        spent = REFUSED * self.error / (len(self.at_first) * self._limits)
        low, _ = self._used(one_sided(1 - spent))
        return ~self.judged.usable | (low > 1)

    def _surely_allowed(self) -> Flags:
        """Candidates that the policy's limits surely allow."""
        spent = ADMITTED * self.error / (self._rows * self._limits)
        _, high = self._used(one_sided(1 - spent))
        return self.judged.usable & (high <= 1)

    def _best(self, some: Flags) -> int | None:
        places = np.flatnonzero(some)
        return int(places[np.argmin(alike(self.judged.aim[places]))]) if places.size else None

    def _cannot_win(self, place: int, cells: Index, refused: Flags, leader: int | None) -> bool:
        left = cells[~refused[cells]]
        if not left.size:
            return True
        if leader is None or leader in cells:
            return False
        if self.judged.cost is None:
            left = _finest(left, cells, self.lattices[place].shape)
        # whichever leads, so that each row that it may come from counts
        spent = BEHIND * self.error / (len(self.at_first) * self._rows)
        level = one_sided(1 - spent)
        nearest = left[np.argsort(alike(self.judged.aim[left]), kind="stable")]
        return all(self._behind(int(one), leader, level) for one in nearest)

    def _behind(self, candidate: int, leader: int, level: float) -> bool:
        """Whether one surely misses more, or costs more, than another."""
        own, best = alike(self.judged.aim[[candidate, leader]])
        if not own > best:
            return False
        weight = weights_of(self.study)
        costs = cost_weights(self.study) or dict(zip(weight.internal, weight.shares, strict=True))
        parts, shares = [self.strata[name] for name in costs], [*costs.values()]
        gap = paired(Half(parts, shares, candidate), Half(parts, shares, leader), level)
        return bool(gap.low > 0)


def _finest(some: Index, cells: Index, shape: tuple[int, ...]) -> Index:
    """Of some candidates of a lattice those without a finer one among them.

    What a setting misses, a coarser one misses too, samplewise: grids rise, so a candidate is finer
    if it comes first on each axis."""
    there = np.zeros(cells.size, bool)
    there[some - cells[0]] = True
    table = there.reshape(shape)
    covered = table
    for axis in range(table.ndim):
        covered = np.logical_or.accumulate(covered, axis)
    finer = np.zeros(shape, bool)
    for axis in range(table.ndim):
        shifted = np.zeros(shape, bool)
        before = [slice(None)] * table.ndim
        after = [slice(None)] * table.ndim
        before[axis], after[axis] = slice(None, -1), slice(1, None)
        shifted[tuple(after)] = covered[tuple(before)]
        finer |= shifted
    return np.asarray(cells[(table & ~finer).ravel()])
