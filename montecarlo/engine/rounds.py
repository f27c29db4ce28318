"""The selection sample in rounds: after each, relay circuits that surely cannot win are left out.

A round solves the next events of every installation, of the circuits that are left, on the random
numbers of one long run. So with nothing left out the counts are those of one long run; the sums of
earth faults differ in their last digits, and the scatter within an installation is taken round by
round. States are solved whole in the first round: operation on load refuses for good."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

from montecarlo.engine.counted import ByBlock, Counted, Sums, added
from montecarlo.engine.guard import Unresolved, counted, keep_to_limit
from montecarlo.engine.job import Job
from montecarlo.engine.progress import SELECTION, Progress
from montecarlo.engine.workers import Workers
from montecarlo.estimates.tally import BackupTally, LatticeTally, Tally
from montecarlo.sampling.design import BLOCKS
from montecarlo.sampling.stratum import Side, Stratum
from montecarlo.study.candidates import Lattice
from montecarlo.study.strata import strata

SHARES = (1 / 16, 1 / 8, 1 / 4, 1 / 2, 1.0)  # of the samples, up to the end of each round


@dataclass(frozen=True, eq=False)
class Drawn:
    """Circuits with what was counted of them.

    Attributes
    ----------
    lattices : tuple of Lattice
    tallies : dict
        By stratum and block of installations.
    samples : int
        Of each external event.
    """

    lattices: tuple[Lattice, ...]
    tallies: ByBlock
    samples: int


# After a round, by its number from 1: the places of the circuits that are left out
Decide = Callable[[int, Drawn], Sequence[int]]


@dataclass(frozen=True, eq=False)
class InRounds:
    """The circuits that were drawn whole, those that were left out after each round, and the
    samples without a result."""

    whole: Drawn
    left_out: Mapping[int, Drawn]
    unresolved: tuple[Unresolved, ...]


def in_rounds(job: Job, workers: Workers, progress: Progress, decide: Decide) -> InRounds:
    """The selection sample, counted.

    Parameters
    ----------
    job : Job
    workers : Workers
    progress : Progress
    decide : callable
        Asked after every round.

    Returns
    -------
    InRounds

    Raises
    ------
    RunStopped
        Where too many samples of a stratum give no result, as soon as that is sure.
    """
    rounds = [_tasks(job, number) for number in range(1, len(SHARES) + 1)]
    total = sum(task.solutions for tasks in rounds for task in tasks)
    progress(0, total, SELECTION)
    found: ByBlock = {}
    left_out: dict[int, Drawn] = {}
    done = 0
    for number, tasks in enumerate(rounds, start=1):
        if not tasks:  # of few samples the first round takes all that a chunk is worth
            continue
        now = [replace(task, job=job) for task in tasks]
        sums: Sums = {
            (name, block): tally
            for name, blocks in found.items()
            for block, tally in enumerate(blocks)
        }
        for task, _ in added(now, workers, sums):
            done += task.solutions
            progress(done, total, SELECTION)
        found = {name: [sums[name, block] for block in range(BLOCKS)] for name in strata(job.study)}
        rows = [_unresolved(job, name, blocks) for name, blocks in found.items()]
        keep_to_limit(job.study, *rows)
        drawn = Drawn(job.lattices, found, _samples(job, number))
        out = {*decide(number, drawn)}
        if out:
            left_out[number] = _some(drawn, [k for k in range(len(job.lattices)) if k in out])
            stay = _some(drawn, [k for k in range(len(job.lattices)) if k not in out])
            job, found = replace(job, lattices=stay.lattices), stay.tallies
    return InRounds(Drawn(job.lattices, found, _samples(job, len(SHARES))), left_out, tuple(rows))


def _tasks(job: Job, number: int) -> list[Counted]:
    """The chunks of a round."""
    before, share = (0.0, *SHARES)[number - 1], SHARES[number - 1]
    found = []
    for name in strata(job.study):
        design = job.design_of(name)
        part = design.part(before, share)
        if name.side is Side.STATE:
            part = (0, design.events_per_installation if number == 1 else 0)
        found += [Counted(job, chunks, False) for chunks in design.tasks(name, 0, part)]
    return found


def _samples(job: Job, number: int) -> int:
    """Of each external event, up to the end of a round."""
    design = job.design
    return design.part(0.0, SHARES[number - 1])[1] * design.installations_rounded


def _unresolved(job: Job, name: Stratum, blocks: Sequence[Tally]) -> Unresolved:
    """Of a stratum so far, out of all that the run draws of it: a share above the limit is one for
    good."""
    row = counted(0, name, blocks, job.lattices)
    return replace(row, drawn=job.design_of(name).samples_drawn)


def _some(drawn: Drawn, places: Sequence[int]) -> Drawn:
    """Some of the circuits."""
    tallies = {
        name: [_of_lattices(tally, places) for tally in blocks]
        for name, blocks in drawn.tallies.items()
    }
    return Drawn(tuple(drawn.lattices[k] for k in places), tallies, drawn.samples)


def _of_lattices(tally: Tally, places: Sequence[int]) -> Tally:
    def some(lattices: Sequence[LatticeTally]) -> tuple[LatticeTally, ...]:
        return tuple(lattices[k] for k in places)

    backup = tally.backup
    if backup is not None and backup.nobody:
        backup = BackupTally(backup.operates, some(backup.nobody))
    classes = {name: some(lattices) for name, lattices in tally.classes.items()}
    return replace(tally, lattices=some(tally.lattices), backup=backup, classes=classes)
