"""p_false of one setting on studies with other inputs, on the random numbers of a batch: what is
drawn stays, the events are solved again.

Weighted samples keep their densities and weights: in standard-normal space only the map to the
inputs changes. An event keeps the estimator that it has in the batch, so that no limit jumps from
one to the other."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

import numpy as np

from montecarlo.engine.batch import STATED, Batch
from montecarlo.engine.counted import Counted, by_block, counted_chunks
from montecarlo.engine.draws import Draw
from montecarlo.engine.job import Job
from montecarlo.engine.progress import Progress, silent
from montecarlo.engine.rare import final_draws, final_samples, summed
from montecarlo.engine.sizes import designs, first_part, with_sizes
from montecarlo.engine.workers import Workers
from montecarlo.estimates.assemble import Gathered, gather, weighted
from montecarlo.estimates.choose import limits_used, open_ct_circuit, weights_of
from montecarlo.estimates.intervals import one_sided
from montecarlo.estimates.rare import BATCH, Sums, Symmetric, Trust, Why
from montecarlo.estimates.tally import Tally
from montecarlo.estimates.weighted import SEEN, Weighted
from montecarlo.quantities import Array
from montecarlo.sampling.design import BLOCKS
from montecarlo.sampling.stratum import Stratum
from montecarlo.study.axes import Setting
from montecarlo.study.candidates import Lattice, lattices_of
from montecarlo.study.description import Study
from montecarlo.study.strata import OPEN_CT_CIRCUIT, open_ct_circuits

LEAST = 2048  # weighted samples of an event
PARTS = (8, 4, 2)  # the first one in so many samples serves, where it shows the limits clearly
CLEAR = 1.25  # times the limit, for what a part decides


@dataclass(frozen=True, eq=False)
class Used:
    """What a setting takes of the policy's limit: by its estimate, and by its upper limit; above 1
    the limit is broken. few: an event whose estimate rises rests on so few hits that it decides
    nothing; it counts as stated."""

    estimate: float
    bound: float
    few: bool = False
    # (C,) of all settings, the chosen one first: every event as it was solved
    estimates: Array = field(default_factory=lambda: np.zeros(0))
    bounds: Array = field(default_factory=lambda: np.zeros(0))


@dataclass(frozen=True, eq=False)
class Again:
    """A study whose events `names` are solved again; the others are as stated."""

    study: Study
    names: tuple[Stratum, ...]


@dataclass(frozen=True, eq=False)
class Resolving:
    """One setting on the random numbers of a batch.

    Attributes
    ----------
    stated : Study
        Without its assumption sets.
    setting : Setting
    batch : Batch
        That has the setting.
    workers : Workers
    part : int
        The first one in so many of the study's samples is solved.
    beside : tuple of Setting
        That are judged too.
    counted : bool
        Count every event, whatever the batch has.
    """

    stated: Study
    setting: Setting
    batch: Batch
    workers: Workers
    part: int = 1
    beside: tuple[Setting, ...] = ()
    counted: bool = False

    @cached_property
    def lattices(self) -> tuple[Lattice, ...]:
        """Those of the setting, and of those beside it."""
        return lattices_of(self.stated, self.setting, *self.beside)

    @cached_property
    def names(self) -> tuple[Stratum, ...]:
        """External events, in the order of their weights."""
        return weights_of(self.stated).external

    @cached_property
    def densities(self) -> Mapping[Stratum, Symmetric]:
        """Of the events whose p_false of this setting is weighted in the batch."""
        if self.counted:
            return {}
        at = self.batch.settings.index(self.setting)
        known = self.batch.known[STATED].densities
        found = {}
        for name in self.names:
            judged = self.batch.strata[name].weighted
            if judged is not None and judged.alone[at]:
                found[name] = known[name]
        return found

    @cached_property
    def sizes(self) -> dict[str, int]:
        """Keys of [study] that say how much is solved."""
        return first_part(self.stated, self.part, self.part)

    @cached_property
    def rare(self) -> tuple[tuple[Stratum, int], ...]:
        """Weighted samples of each event that has them."""
        every = final_samples(self.stated)
        some = min(max(-(-every // self.part // BATCH) * BATCH, LEAST), every)
        return tuple((name, some) for name in self.densities)

    @cached_property
    def centre(self) -> dict[Stratum, Gathered]:
        """Every event of the study as stated."""
        return dict(zip(self.names, self._solved([(self.stated, self.names)]), strict=True))

    @cached_property
    def as_stated(self) -> Used:
        """What the setting takes of the limit in the study as stated."""
        return self._used(self.centre)

    def on_few(self) -> Resolving:
        """On the first part of the samples that shows the limit of every setting clearly; on all
        where none does.

        Returns
        -------
        Resolving
        """
        parts = (replace(self, part=part) for part in PARTS)
        clear = (one for one in parts if bool(np.all(one.as_stated.bounds * CLEAR <= 1)))
        return next(clear, self)

    def used(self, cases: Sequence[Again], tell: Progress, what: str) -> list[Used]:
        """What the setting takes of the limit in each case.

        Parameters
        ----------
        cases : sequence of Again
        tell : Progress
        what : str
            The stage.

        Returns
        -------
        list of Used
        """
        found = self._solved([(case.study, case.names) for case in cases], tell, what)
        solved = [dict(zip(case.names, found, strict=False)) for case in cases]
        every = [self._taken({**self.centre, **one}) for one in solved]
        return [
            replace(self._used(*self._worse(one)), estimates=estimates, bounds=bounds)
            for one, (estimates, bounds) in zip(solved, every, strict=True)
        ]

    def _worse(self, found: Mapping[Stratum, Gathered]) -> tuple[dict[Stratum, Gathered], bool]:
        """Every event; one whose estimate does not rise counts as stated, and one that rises by
        few hits, which is said. Where weighted samples lose their hits, their bound rises though
        p_false falls; and a single one has a large weight."""
        risen = {name: part for name, part in found.items() if _p(part) > _p(self.centre[name])}
        shown = {name: part for name, part in risen.items() if self._hits(part) >= SEEN}
        return {**self.centre, **shown}, len(shown) < len(risen)

    def _hits(self, part: Gathered) -> float:
        """Effective hits of weighted samples, or those of counts in their place."""
        if part.weighted is not None:
            return part.weighted.diagnostics.seen[0].effective
        return float(part.total[0].sum()) if self.counted else math.inf

    def _used(self, solved: Mapping[Stratum, Gathered], few: bool = False) -> Used:
        estimates, bounds = self._taken(solved)
        return Used(float(estimates[0]), float(bounds[0]), few, estimates, bounds)

    def _taken(self, solved: Mapping[Stratum, Gathered]) -> tuple[Array, Array]:
        weight, level = weights_of(self.stated), one_sided(self.stated.policy.level)
        external = [solved[name] for name in weight.external]
        total = weighted(external, weight.event_shares, level)
        parts = {part.name: part.estimate(level) for part in external}
        bounds = {name: part.high for name, part in parts.items()}
        estimates = {name: part.p for name, part in parts.items()}
        return (
            limits_used(self.stated, total.total, estimates),
            limits_used(self.stated, total.high, bounds),
        )

    # --- samples ------------------------------------------------------------------

    def _solved(
        self,
        cases: Sequence[tuple[Study, Sequence[Stratum]]],
        tell: Progress = silent,
        what: str = "",
    ) -> Iterator[Gathered]:
        """Each event of each case, in their order; all are handed out together."""
        asked = [(self._job(study), name) for study, names in cases for name in names]
        tasks = [task for job, name in asked for task in self._tasks(job, name)]
        if not tasks:
            return iter(())
        tell(0, len(tasks), what)
        found = list[Any]()
        for one in self.workers.mapped(_sums_of, tasks):
            found.append(one)
            tell(len(found), len(tasks), what)
        return self._gathered(asked, iter(found))

    def _job(self, study: Study) -> Job:
        sized = with_sizes(study, self.sizes)
        return Job(sized, self.lattices, *designs(sized), weighted=self.rare)

    def _tasks(self, job: Job, name: Stratum) -> Sequence[Counted | Draw]:
        return self._drawn(job, name) or self._counted(job, name)

    def _counted(self, job: Job, name: Stratum) -> list[Counted]:
        names = open_ct_circuits(job.study) if name == OPEN_CT_CIRCUIT else (name,)
        return [
            Counted(job, chunks, False)
            for one in names
            for chunks in job.design_of(one).tasks(one, self.batch.round_)
        ]

    def _drawn(self, job: Job, name: Stratum) -> list[Draw]:
        if name not in self.densities:
            return []
        return final_draws(job, name, self.densities[name], self.batch.round_)

    def _gathered(
        self,
        asked: Sequence[tuple[Job, Stratum]],
        found: Iterator[Any],
    ) -> Iterator[Gathered]:
        for job, name in asked:
            draws = self._drawn(job, name)
            if draws:
                yield self._weighted(job, name, Sums.join([next(found) for _ in draws]))
                continue
            blocks: dict[Stratum, dict[int, Tally]] = {}
            for task in self._counted(job, name):
                own = blocks.setdefault(task.stratum, {})
                for place, tally in by_block(task, next(found)).items():
                    own[place] = own[place] + tally if place in own else tally
            parts = {
                one: gather(one, [own[block] for block in range(BLOCKS)])
                for one, own in blocks.items()
            }
            if name == OPEN_CT_CIRCUIT:
                parts = open_ct_circuit(job.study, self.lattices, parts)
            yield parts[name]

    def _weighted(self, job: Job, name: Stratum, sums: Sums) -> Gathered:
        """By its weighted samples alone; none is counted."""
        settings = 1 + len(self.beside)
        none = np.zeros((settings, job.design.installations_rounded))
        trusted = (Trust(Why.GOOD),) * settings
        judged = Weighted(sums, trusted, np.full(settings, np.nan), self.lattices)
        return Gathered(name, none, none[0] + 1, none, None, None, None, None, judged)


def _sums_of(task: Counted | Draw) -> list[Tally] | Sums:
    """What is needed of either kind of task: they are handed out together, so that no worker waits
    between the two."""
    if isinstance(task, Counted):
        return counted_chunks(task)[0]
    return summed(task)[0].candidates


def _p(part: Gathered) -> float:
    return float(part.estimate().p[0])
