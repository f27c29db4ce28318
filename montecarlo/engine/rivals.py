"""Whether another setting would be chosen in a study with other inputs, on the random numbers of
the independent sample.

Internal faults are solved again on few samples, as they are dear. What p_missed of each setting
changes there is added to its p_missed in the whole sample: paired differences on common random
numbers, without error where nothing moves (control variates with a coefficient of 1)."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from montecarlo.engine.batch import Batch
from montecarlo.engine.counted import Counted, by_block, counted_chunks
from montecarlo.engine.job import Job
from montecarlo.engine.margins import Reason
from montecarlo.engine.progress import Progress, silent
from montecarlo.engine.run import Outcome
from montecarlo.engine.shifted import Again, Resolving
from montecarlo.engine.sizes import designs, with_sizes
from montecarlo.engine.space import concerns
from montecarlo.estimates.choose import weights_of
from montecarlo.estimates.intervals import ratio
from montecarlo.estimates.knee_rule import meet_knee_rule
from montecarlo.estimates.refusals import may_be_chosen
from montecarlo.estimates.tally import Tally
from montecarlo.quantities import Array, Flags
from montecarlo.quantities.digits import alike
from montecarlo.sampling.design import BLOCKS
from montecarlo.sampling.inputs import Input
from montecarlo.sampling.stratum import LOAD, OVERLOAD, Stratum
from montecarlo.study.axes import Setting
from montecarlo.study.candidates import neighbours
from montecarlo.study.description import Study
from montecarlo.study.strata import strata

SOLVED_BLOCKS = 1  # of the 16 blocks of installations
SOLVED = 64  # samples of each type on them, at least where the study has as many


@dataclass(frozen=True, eq=False)
class Moved:
    """A study with one input other than stated.

    Attributes
    ----------
    item : Input
    study : Study
    events : tuple of Stratum
        External events that have the input.
    rises : bool
        Whether false trips are known to rise: then nothing that was refused is admitted.
    refused : frozenset of Setting
        Those that are known to break the limit here.
    inside : bool
        Whether internal faults are solved again; loads always are.
    """

    item: Input
    study: Study
    events: tuple[Stratum, ...]
    rises: bool
    refused: frozenset[Setting] = frozenset()
    inside: bool = True


@dataclass(frozen=True, eq=False)
class _Inside:
    """Of every setting: what it misses, and whether it operates on load."""

    missed: Array  # (C,)
    on_load: Flags


def rivals_of(outcome: Outcome) -> tuple[Setting, ...]:
    """The settings that may take the chosen one's place: its neighbours, and the runner-up, in the
    independent sample.

    Not those that would do so in the study as stated (the choice is made on another sample), nor
    those that only an assumption set refuses.

    Parameters
    ----------
    outcome : Outcome
        With a choice.

    Returns
    -------
    tuple of Setting
    """
    fresh, chosen, policy = outcome.fresh, outcome.chosen, outcome.study.policy
    if fresh is None or chosen is None or policy.least_annual_cost is not None:
        return ()
    beside = [*neighbours(outcome.settings, chosen), outcome.runner_up]
    missed, own = fresh.judgement.missed.total, fresh.settings.index(chosen)
    found = []
    for one in dict.fromkeys(beside):
        if one is None or one not in fresh.settings:
            continue
        at = fresh.settings.index(one)
        stated, everywhere = (may_be_chosen(by, at) for by in (fresh.judgement, fresh.verdict))
        better = missed[at] < missed[own] - policy.margins.missed
        if stated == everywhere and not (stated and better):
            found.append(one)
    return tuple(found)


@dataclass(frozen=True, eq=False)
class Rivals:
    """The chosen setting and those beside it.

    Attributes
    ----------
    resolving : Resolving
        Of the external events; `beside` are the rivals.
    """

    resolving: Resolving

    @property
    def settings(self) -> tuple[Setting, ...]:
        """The chosen one first."""
        return (self.resolving.setting, *self.resolving.beside)

    @property
    def study(self) -> Study:
        """As stated."""
        return self.resolving.stated

    @property
    def batch(self) -> Batch:
        """The independent sample."""
        return self.resolving.batch

    @cached_property
    def places(self) -> list[int]:
        """Where they stand in the independent sample."""
        return [self.batch.settings.index(one) for one in self.settings]

    @cached_property
    def allowed(self) -> Flags:
        """By the policy's limits, in the study as stated."""
        return self.batch.judgement.allowed[self.places]

    @cached_property
    def on_own_circuit(self) -> tuple[Setting, ...]:
        """Rivals that the policy's limits refuse, on the relay circuit of the chosen setting: they
        are judged without solving more."""
        circuits = [lattice.circuit for lattice in self.resolving.lattices]
        beside = zip(self.settings[1:], circuits[1:], self.allowed[1:], strict=True)
        return tuple(one for one, of, allowed in beside if of == circuits[0] and not allowed)

    @cached_property
    def inside(self) -> tuple[Stratum, ...]:
        """Internal faults and loads of the study."""
        return (*weights_of(self.study).internal, *self.states)

    @cached_property
    def states(self) -> tuple[Stratum, ...]:
        """In which no setting may operate."""
        return tuple(name for name in (LOAD, OVERLOAD) if name in strata(self.study))

    @cached_property
    def as_stated(self) -> dict[Stratum, Array]:
        """p of everything inside on the few samples."""
        return self._solved([(self.study, self.inside)])[0]

    def changes(
        self, cases: Sequence[Moved], tell: Progress, what: str
    ) -> list[tuple[Reason, Setting | None] | None]:
        """Whether another one would be chosen in each case, and why.

        Parameters
        ----------
        cases : sequence of Moved
        tell : Progress
        what : str
            The stage.

        Returns
        -------
        list of (Reason, Setting or None) or None
        """
        wanted = [self._wanted(case) for case in cases]
        pairs = [(case.study, names) for case, names in zip(cases, wanted, strict=True)]
        found = self._solved(pairs, tell, what)
        inside = [self._inside(one) for one in found]
        knees = [meet_knee_rule(case.study, self.resolving.lattices) for case in cases]
        ignored = self.study.policy.ignore_knee_rule
        usable = [(knee | ignored) & ~one.on_load for knee, one in zip(knees, inside, strict=True)]
        better = [
            ok & (one.missed < one.missed[0] - self.study.policy.margins.missed)
            for ok, one in zip(usable, inside, strict=True)
        ]
        admitted = self._admitted(cases, better, tell, what)
        return [
            self._verdict(knee | ignored, one, flags)
            for knee, one, flags in zip(knees, inside, admitted, strict=True)
        ]

    def _wanted(self, case: Moved) -> tuple[Stratum, ...]:
        names = self.inside if case.inside else self.states
        return tuple(name for name in names if concerns(self.study, case.item, name))

    def _verdict(
        self, knee: Flags, inside: _Inside, better: Flags
    ) -> tuple[Reason, Setting | None] | None:
        if inside.on_load[0]:
            return Reason.LOAD, None
        if not knee[0]:
            return Reason.KNEE, None
        if not better.any():
            return None
        best = int(np.argmin(np.where(better, alike(inside.missed), np.inf)))
        return Reason.MISSES, self.settings[best]

    # --- inside the zone ----------------------------------------------------------

    def _inside(self, solved: Mapping[Stratum, Array]) -> _Inside:
        """What was not solved again is as stated."""
        weight, judged = weights_of(self.study), self.batch.judgement
        missed = judged.missed.total[self.places].copy()
        for name, share in zip(weight.internal, weight.shares, strict=True):
            if name in solved:
                missed += share * (solved[name] - self.as_stated[name])
        on_load = judged.load_share[self.places] != 0  # also without a result
        for name in (LOAD, OVERLOAD):
            if name in solved:
                on_load = on_load | (solved[name] != 0)
        return _Inside(missed, on_load)

    @cached_property
    def _sizes(self) -> dict[str, int]:
        size, (counted, earth) = SOLVED * BLOCKS // SOLVED_BLOCKS, designs(self.study)
        return {
            "samples": min(size, counted.samples_drawn),
            "earth_fault_samples": min(size, earth.samples_drawn),
        }

    def _solved(
        self,
        cases: Sequence[tuple[Study, Sequence[Stratum]]],
        tell: Progress = silent,
        what: str = "",
    ) -> list[dict[Stratum, Array]]:
        """p of every setting in each type of each case."""
        lattices, tasks = self.resolving.lattices, list[list[Counted]]()
        for study, names in cases:
            sized = with_sizes(study, self._sizes)
            job = Job(sized, lattices, *designs(sized))
            tasks.append([task for name in names for task in self._tasks(job, name)])
        total = sum(map(len, tasks))
        if total:
            tell(0, total, what)
        found = iter(
            self.resolving.workers.mapped(counted_chunks, [one for some in tasks for one in some])
        )
        done, solved = 0, list[dict[Stratum, Array]]()
        for own in tasks:
            sums: dict[Stratum, Tally] = {}
            for task in own:
                tallies, _ = next(found)
                name = task.stratum
                for tally in by_block(task, tallies).values():
                    sums[name] = sums[name] + tally if name in sums else tally
                done += 1
                tell(done, total, what)
            solved.append({name: _p(tally) for name, tally in sums.items()})
        return solved

    def _tasks(self, job: Job, name: Stratum) -> list[Counted]:
        """Of the first blocks of installations."""
        tasks = job.design_of(name).tasks(name, self.batch.round_)
        first = (tuple(c for c in some if c.installation_block < SOLVED_BLOCKS) for some in tasks)
        return [Counted(job, chunks, False) for chunks in first if chunks]

    # --- outside the zone ---------------------------------------------------------

    def _admitted(
        self, cases: Sequence[Moved], better: Sequence[Flags], tell: Progress, what: str
    ) -> list[Flags]:
        """Those of the better ones that the policy's limits allow. Where false trips rise, what was
        refused stays refused; where no event has the input, everything stays. Few samples may not
        show the limit of one that the whole sample allows: it stays where its bound does not rise.
        """
        left = [
            flags
            & (self.allowed | (not case.rises and bool(case.events)))
            & [one not in case.refused for one in self.settings]
            for case, flags in zip(cases, better, strict=True)
        ]
        asked: dict[tuple[Setting, ...], list[int]] = {}
        for at, (case, flags) in enumerate(zip(cases, left, strict=True)):
            if case.events and flags.any():
                asked.setdefault(self._on_circuits_of(flags), []).append(at)
        for beside, places in asked.items():
            on, own = replace(self.resolving, beside=beside), (self.settings[0], *beside)
            again = [Again(cases[at].study, cases[at].events) for at in places]
            for at, used in zip(places, on.used(again, tell, what), strict=True):
                unrisen = used.bounds <= on.as_stated.bounds
                allowed = self.allowed[[self.settings.index(one) for one in own]]
                kept = dict(zip(own, (used.bounds <= 1) | allowed & unrisen, strict=True))
                left[at] = left[at] & [kept.get(one, False) for one in self.settings]
        return left

    def _on_circuits_of(self, flags: Flags) -> tuple[Setting, ...]:
        """The settings that are asked for, without the chosen one."""
        return tuple(one for one, flag in zip(self.settings[1:], flags[1:], strict=True) if flag)


def _p(tally: Tally) -> Array:
    """Of every setting over the samples that have a result. [-]"""
    parts = [
        ratio(part.total.sum(axis=0).ravel(), part.trials.sum() - part.unresolved.sum())
        for part in tally.lattices
    ]
    return np.concatenate(parts)
