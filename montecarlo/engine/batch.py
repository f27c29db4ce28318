"""One batch: plan the chunks, map them, add the tallies in the order of their keys, judge every
candidate."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from montecarlo.engine.convergence import EarlyEstimate, points, shares_of
from montecarlo.engine.counted import count_all
from montecarlo.engine.densities import find_densities
from montecarlo.engine.enlarging import deciding, plans
from montecarlo.engine.guard import Unresolved, keep_to_limit, named, weighted
from montecarlo.engine.job import Job
from montecarlo.engine.keep import KeepRows, of_part
from montecarlo.engine.progress import Progress, named_progress
from montecarlo.engine.racing import Racing, selection
from montecarlo.engine.rare import Final, Known, final_batch, final_samples
from montecarlo.engine.rounds import Drawn
from montecarlo.engine.sizes import Sizes, designs, with_sizes
from montecarlo.engine.sums import (
    along_the_winding,
    backup_itself,
    caught,
    nobody,
    of_classes,
    part_of_all,
)
from montecarlo.engine.tails import wider_sums
from montecarlo.engine.workers import Workers
from montecarlo.estimates.assemble import Gathered
from montecarlo.estimates.choose import (
    Judgement,
    gather_all,
    in_order,
    judge,
    side_by_side,
)
from montecarlo.estimates.rare import Sums
from montecarlo.estimates.refusals import may_be_chosen
from montecarlo.estimates.robust import worst_of
from montecarlo.estimates.weighted import compare
from montecarlo.sampling.stratum import Stratum
from montecarlo.study.assumption_sets import AS_STATED
from montecarlo.study.axes import Setting
from montecarlo.study.candidates import Lattice, settings_of
from montecarlo.study.description import Study
from montecarlo.study.strata import strata

STATED = ""  # the study itself among its assumption sets


@dataclass(frozen=True, eq=False)
class Batch:
    """One set of random numbers on some candidates: the tallies as estimates need them, and the
    judgement.

    Attributes
    ----------
    round_ : int
        0: the selection sample.
    lattices : tuple of Lattice
    strata : dict of Gathered
    judgement : Judgement
        Of the study as stated.
    samples : int
        Of each counted external event.
    counts : dict of float
        Sums over the solutions along the winding.
    backup : dict of Gathered
        The back-up itself, one setting; of the types that it can see.
    nobody : dict of Gathered
        What neither it nor a candidate sees; of the internal ones of these types.
    turn_classes : dict of Gathered
        Faults between turns by the class of their place; empty where none are sampled.
    known : mapping of Known
        Of rare false trips, by assumption set; "": as stated.
    exceedance : dict of Sums
        Of every curve at its grid, by event.
    points : tuple of EarlyEstimate
        How it settles, of independent samples: they have few candidates.
    paired : tuple of Setting
        K settings, paired: what one misses and another does not.
    caught : dict of Gathered
        That, K x K rows by internal type: missed by, caught by.
    unresolved : tuple of Unresolved
        A row a type, of assumption sets and wider inputs too.
    foremost : tuple of Setting
        For whose limits its weighted samples were enlarged.
    assumption_sets : mapping of Judgement
        Beside the study as stated.
    wider : mapping of Sums
        Of rare false trips with wider inputs; of independent samples.
    left_out : mapping of Batch
        Circuits that were left out after a round, by its number; of selection samples.
    asked : tuple of Lattice
        Those of `lattices` and those left out, in the order of the candidates' numbers.
    """

    round_: int
    lattices: tuple[Lattice, ...]
    strata: dict[Stratum, Gathered]
    judgement: Judgement
    samples: int
    counts: dict[str, float] = field(default_factory=dict)
    backup: dict[Stratum, Gathered] = field(default_factory=dict)
    nobody: dict[Stratum, Gathered] = field(default_factory=dict)
    turn_classes: dict[str, Gathered] = field(default_factory=dict)
    known: Mapping[str, Known] = field(default_factory=dict)
    exceedance: dict[Stratum, Sums] = field(default_factory=dict)
    points: tuple[EarlyEstimate, ...] = ()
    paired: tuple[Setting, ...] = ()
    caught: dict[Stratum, Gathered] = field(default_factory=dict)
    unresolved: tuple[Unresolved, ...] = ()
    foremost: tuple[Setting, ...] = ()
    assumption_sets: Mapping[str, Judgement] = field(default_factory=dict)
    wider: Mapping[Stratum, Sums] = field(default_factory=dict)
    left_out: Mapping[int, Batch] = field(default_factory=dict)
    asked: tuple[Lattice, ...] = ()

    @property
    def number(self) -> int:
        """As tables have it: 1 the selection sample, 2 an independent sample."""
        return 2 if self.round_ else 1

    @cached_property
    def verdict(self) -> Judgement:
        """By what the choice is made: the judgement, each candidate's by its worst assumption
        set."""
        return worst_of([*self.judgements.values()])

    @property
    def judgements(self) -> dict[str, Judgement]:
        """Of the study as stated and of its assumption sets, by name."""
        return {AS_STATED: self.judgement, **self.assumption_sets}

    @property
    def parts(self) -> tuple[Batch, ...]:
        """What was drawn whole, and the circuits left out after each round."""
        return (self, *self.left_out.values())

    def verdict_of_all(self) -> Judgement:
        """The same of every candidate, those left out as they were counted up to there.

        Returns
        -------
        Judgement
            In the order of `every`.
        """
        if not self.left_out:
            return self.verdict
        every = (setting for part in self.parts for setting in part.settings)
        places = {setting: at for at, setting in enumerate(every)}
        order = np.array([places[one] for one in self.every])
        return in_order(side_by_side([part.verdict for part in self.parts]), order)

    def part_of(self, setting: Setting) -> Batch:
        """What has a candidate: the batch, or circuits that it left out.

        Parameters
        ----------
        setting : Setting

        Returns
        -------
        Batch
        """
        return next(part for part in self.parts if setting in part.settings)

    def keeps_to_policy(self, setting: Setting) -> bool:
        """Whether this batch, too, lets the policy allow a candidate.

        Parameters
        ----------
        setting : Setting

        Returns
        -------
        bool
        """
        return may_be_chosen(self.verdict, self.settings.index(setting))

    @cached_property
    def settings(self) -> list[Setting]:
        return settings_of(self.lattices)

    @cached_property
    def every(self) -> list[Setting]:
        """Those left out too, in the order of their numbers."""
        return settings_of(self.asked)


def in_all_assumption_sets(  # noqa: PLR0913
    study: Study,
    lattices: Sequence[Lattice],
    round_: int,
    workers: Workers,
    tell: Progress,
    known: Mapping[str, Known] | None = None,
    sizes: Sizes | None = None,
    paired: Sequence[Setting] = (),
    foremost: Sequence[Setting] = (),
    keep: KeepRows | None = None,
    racing: Racing | None = None,
) -> Batch:
    """The batch of the study as stated, and how each assumption set judges the same candidates on
    the same random numbers.

    Parameters
    ----------
    study : Study
    lattices : sequence of Lattice
    round_ : int
    workers : Workers
    tell : Progress
    known : mapping of Known, optional
        By assumption set, as an earlier batch has it.
    sizes : mapping of int, optional
        Where they are not the study's own.
    paired, foremost, keep, racing
        As for `run_batch`; pairs are of the study as stated, and what it leaves out goes in every
        assumption set.

    Returns
    -------
    Batch

    Raises
    ------
    RunStopped
    """
    earlier, other_sizes = known or {}, sizes or {}
    stated = with_sizes(study.alone, other_sizes)
    batch = run_batch(
        stated, lattices, round_, workers, tell, earlier.get(STATED), paired, foremost, keep, racing
    )
    if racing is not None:
        gone = {number: part.lattices for number, part in batch.left_out.items()}
        racing = replace(racing, followed=gone)
    if round_:
        densities = batch.known[STATED].densities
        wider, unresolved = wider_sums(
            stated, lattices, batch.strata, densities, round_, workers, tell
        )
        batch = replace(batch, wider=wider, unresolved=(*batch.unresolved, *unresolved))

    others = {
        name: run_batch(
            with_sizes(other, other_sizes),
            lattices,
            round_,
            workers,
            named_progress(tell, name),
            earlier.get(name),
            foremost=foremost,
            keep=of_part(keep, name),
            racing=racing,
        )
        for name, other in study.assumption_sets
    }
    return replace(
        batch,
        left_out={
            number: replace(
                part,
                assumption_sets={
                    name: other.left_out[number].judgement for name, other in others.items()
                },
            )
            for number, part in batch.left_out.items()
        },
        assumption_sets={name: other.judgement for name, other in others.items()},
        unresolved=(
            *batch.unresolved,
            *(row for name, other in others.items() for row in named(other.unresolved, name)),
        ),
        known={**batch.known, **{name: other.known[STATED] for name, other in others.items()}},
    )


def run_batch(  # noqa: PLR0913
    study: Study,
    lattices: Sequence[Lattice],
    round_: int,
    workers: Workers,
    progress: Progress,
    known: Known | None = None,
    paired: Sequence[Setting] = (),
    foremost: Sequence[Setting] = (),
    keep: KeepRows | None = None,
    racing: Racing | None = None,
) -> Batch:
    """All strata on one set of random numbers.

    Parameters
    ----------
    study : Study
        As stated, without its assumption sets.
    lattices : sequence of Lattice
        The candidates.
    round_ : int
        0: the selection sample.
    workers : Workers
    progress : Progress
    known : Known, optional
        Of rare false trips, from an earlier batch; sought if not given and the study wants them.
    paired : sequence of Setting
        Candidates of which is counted what each misses and another catches.
    foremost : sequence of Setting
        Those for whose limits there are more weighted samples, by what is known of them.
    keep : KeepRows, optional
        Takes the rows of every chunk.
    racing : Racing, optional
        What the selection sample may leave out; nothing unless given.

    Returns
    -------
    Batch

    Raises
    ------
    RunStopped
        Where too many samples give no result.
    """
    job = _job(study, lattices, round_, known, paired, foremost)
    left_out: Mapping[int, Drawn] = {}
    if round_:
        tallies, unresolved = count_all(job, round_, workers, progress, keep)
    else:
        drawn = selection(job, workers, progress, racing, keep)
        job = replace(job, lattices=drawn.whole.lattices)
        tallies, unresolved, left_out = drawn.whole.tallies, [*drawn.unresolved], drawn.left_out
    settings = settings_of(job.lattices)
    gathered = gather_all(study, job.lattices, tallies)
    if known is None:
        known = Known(find_densities(job, workers, progress) if final_samples(study) else {})
    final = final_batch(job, known.densities, round_, workers, progress, keep)
    for name, found in final.items():
        row = weighted(round_, name, found.candidates, found.causes, job.lattices)
        unresolved += keep_to_limit(study, row)
    for name, found in final.items():
        part = gathered[name]
        judged = compare(
            found.candidates,
            part.total,
            part.trials,
            part.unresolved,
            job.lattices,
            known.of(name, settings),
        )
        gathered[name] = replace(part, weighted=judged)
    return Batch(
        round_,
        job.lattices,
        gathered,
        judge(study, job.lattices, gathered),
        job.design.samples_drawn,
        counts=along_the_winding(tallies),
        backup=part_of_all(tallies, backup_itself),
        nobody=part_of_all(tallies, nobody),
        turn_classes=of_classes(tallies),
        known={STATED: _learnt(study, known, gathered, final, settings)},
        exceedance={name: found.curves for name, found in final.items()},
        points=points(job, tallies, gathered, final) if round_ else (),
        paired=tuple(paired),
        caught=part_of_all(tallies, caught),
        unresolved=tuple(unresolved),
        foremost=tuple(foremost),
        left_out={number: _left(study, part) for number, part in left_out.items()},
        asked=tuple(lattices),
    )


def _left(study: Study, drawn: Drawn) -> Batch:
    """Circuits that were left out after a round: as they were counted up to there."""
    gathered = gather_all(study, drawn.lattices, drawn.tallies)
    return Batch(
        0,
        drawn.lattices,
        gathered,
        judge(study, drawn.lattices, gathered),
        drawn.samples,
        backup=part_of_all(drawn.tallies, backup_itself),
        nobody=part_of_all(drawn.tallies, nobody),
        turn_classes=of_classes(drawn.tallies),
    )


def _job(
    study: Study,
    lattices: Sequence[Lattice],
    round_: int,
    known: Known | None,
    paired: Sequence[Setting],
    foremost: Sequence[Setting],
) -> Job:
    at = tuple(map(settings_of(lattices).index, paired))
    job = Job(study, tuple(lattices), *designs(study), paired=at)
    rare = final_samples(study)
    if round_:
        drawn = [job.design_of(name) for name in strata(study)]
        job = replace(job, shares=shares_of(drawn, rare))
    if known is not None:
        wanted = plans(known, foremost, rare)
        job = replace(job, weighted=tuple((name, plan.samples) for name, plan in wanted.items()))
    return job


def _learnt(
    study: Study,
    known: Known,
    gathered: Mapping[Stratum, Gathered],
    final: Mapping[Stratum, Final],
    settings: Sequence[Setting],
) -> Known:
    """What this batch leaves to later ones: of what was known before nothing changes."""
    seen = dict(known.seen)
    for name in final:
        judged = gathered[name].weighted
        assert judged is not None
        seen.setdefault(name, dict(zip(settings, judged.diagnostics.seen, strict=True)))
    return Known(known.densities, seen, known.deciding or deciding(study, gathered, settings))
