"""Every stratum of a batch, counted: the tasks that workers are given, and the sums of what they
send back."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import nullcontext
from dataclasses import dataclass, replace
from itertools import groupby
from operator import attrgetter

import numpy as np

from montecarlo.engine.block import Block
from montecarlo.engine.count import run_chunk
from montecarlo.engine.guard import Unresolved, counted, keep_to_limit
from montecarlo.engine.job import Job
from montecarlo.engine.keep import KeepRows, Rows, run_and_keep
from montecarlo.engine.progress import INDEPENDENT, SELECTION, Progress
from montecarlo.engine.waves import waves_of
from montecarlo.engine.winding import STEADY_INTERVALS
from montecarlo.engine.workers import Workers
from montecarlo.estimates.conditional import critical_position, winding_nodes
from montecarlo.estimates.tally import Tally
from montecarlo.plant.events.waves import sinusoids
from montecarlo.sampling.design import BLOCKS, Chunk, Design
from montecarlo.sampling.stratum import EARTH, Side, Stratum
from montecarlo.secondary.transient import Window
from montecarlo.study.candidates import Lattice
from montecarlo.study.circuits import Circuit, measurement
from montecarlo.study.description import Study
from montecarlo.study.strata import strata

ByBlock = dict[Stratum, list[Tally]]  # of each block of installations, in their order
Sums = dict[tuple[Stratum, int], Tally]  # by stratum and block


def count_all(
    job: Job, round_: int, workers: Workers, progress: Progress, keep: KeepRows | None = None
) -> tuple[ByBlock, list[Unresolved]]:
    """All strata of a study on one set of random numbers.

    Parameters
    ----------
    job : Job
    round_ : int
        0: the selection sample.
    workers : Workers
    progress : Progress
    keep : KeepRows, optional
        Takes the rows of every chunk.

    Returns
    -------
    dict
        Tallies by stratum and block of installations, added in the order of the chunks' keys.
    list of Unresolved
        Of each stratum.

    Raises
    ------
    RunStopped
        Where too many samples of a stratum give no result, as soon as it is finished.
    """
    tasks = [
        Counted(job, chunks, keep is not None)
        for name in strata(job.study)
        for chunks in job.design_of(name).tasks(name, round_)
    ]
    total, done = sum(task.solutions for task in tasks), 0
    stage = INDEPENDENT if round_ else SELECTION
    progress(0, total, stage)
    sums: Sums = {}
    found: ByBlock = {}
    unresolved: list[Unresolved] = []
    waiting = Counter(task.stratum for task in tasks)
    for task, kept in added(tasks, workers, sums):
        name = task.stratum
        for rows in kept:
            assert keep is not None
            keep(name, rows)
        waiting[name] -= 1
        if not waiting[name]:
            found[name] = [sums[name, block] for block in range(BLOCKS)]
            row = counted(round_, name, found[name], job.lattices)
            unresolved += keep_to_limit(job.study, row)
        done += task.solutions
        progress(done, total, stage)
    return {name: found[name] for name in strata(job.study)}, unresolved


def added(
    tasks: Sequence[Counted], workers: Workers, sums: Sums
) -> Iterator[tuple[Counted, list[Rows]]]:
    """Solve tasks and add their tallies, in their order.

    Parameters
    ----------
    tasks : sequence of Counted
    workers : Workers
    sums : dict
        By stratum and block of installations; takes the tallies.

    Yields
    ------
    Counted, list of Rows
        Each task when it is added, and its rows where they are kept.
    """
    for task, (tallies, kept) in zip(tasks, workers.mapped(counted_chunks, tasks), strict=True):
        for block, tally in by_block(task, tallies).items():
            key = task.stratum, block
            sums[key] = sums[key] + tally if key in sums else tally
        yield task, kept


@dataclass(frozen=True, eq=False)
class Counted:
    """Chunks that are handed out together and counted in this order."""

    job: Job
    chunks: Sequence[Chunk]  # of some event blocks, each of the same blocks of installations
    keep: bool  # their rows too

    @property
    def stratum(self) -> Stratum:
        return self.chunks[0].stratum

    @property
    def label(self) -> str:
        more = f" to {self.chunks[-1].index}" if len(self.chunks) > 1 else ""
        return f"{self.chunks[0].label}{more}"

    @property
    def blocks(self) -> int:
        """Blocks of installations among its chunks."""
        return self.chunks[-1].installation_block - self.chunks[0].installation_block + 1

    def side_by_side(self) -> Iterator[tuple[Chunk, ...]]:
        """Those of an event block are solved side by side, but for external events: a chunk of them
        is solved for as long as its longest one lasts.

        Yields
        ------
        tuple of Chunk
        """
        alone = self.stratum.side is Side.EXTERNAL
        for _, several in groupby(self.chunks, attrgetter("index" if alone else "event_block")):
            yield tuple(several)

    @property
    def solutions(self) -> int:
        """What progress counts: samples, and every place on the winding for an earth fault."""
        places = STEADY_INTERVALS + 1 if self.stratum == EARTH else 1
        design = self.job.design_of(self.stratum)
        return places * design.samples_from_to(self.chunks[0], self.chunks[-1])


def counted_chunks(task: Counted) -> tuple[list[Tally], list[Rows]]:
    """Their tallies, and their rows where they are kept.

    Parameters
    ----------
    task : Counted

    Returns
    -------
    list of Tally, list of Rows
        As `by_block` takes them: one of each group that was solved side by side, or the sum of
        those of one block of installations.
    """
    found, kept = list[Tally](), []
    for chunks in task.side_by_side():
        if task.keep:
            tally, rows = run_and_keep(task.job, chunks)
            kept.append(rows)
        else:
            tally = run_chunk(task.job, chunks)
        if task.blocks == 1 and found:
            tally = found.pop() + tally
        found.append(tally)
    return found, kept


def by_block(task: Counted, tallies: Sequence[Tally]) -> dict[int, Tally]:
    """The sums of a task's tallies by block of installations.

    They are split here, since a message takes as long as it has arrays.

    Parameters
    ----------
    task : Counted
    tallies : sequence of Tally
        Of `counted_chunks`.

    Returns
    -------
    dict of Tally
    """
    if task.blocks == 1:
        return {task.chunks[0].installation_block: tallies[0]}
    sums: dict[int, Tally] = {}
    for chunks, whole in zip(task.side_by_side(), tallies, strict=True):
        for chunk, tally in zip(chunks, whole.split(len(chunks)), strict=True):
            block = chunk.installation_block
            sums[block] = sums[block] + tally if block in sums else tally
    return sums


def compile_solvers(
    study: Study, lattices: Sequence[Lattice], workers: Workers | None = None
) -> None:
    """Run the smallest chunk of every stratum once, so that workers find the compiled solvers in
    the cache.

    Parameters
    ----------
    study : Study
    lattices : sequence of Lattice
    workers : Workers, optional
        One of their processes compiles the solver in time meanwhile, which takes longest.
    """
    small = Design(BLOCKS, BLOCKS)
    job = Job(study, tuple(lattices[:1]), small, replace(small, net=True))
    with nullcontext() if workers is None else workers.beside(_compile_in_time, job):
        _compile_by_phasors(job)
    for name in strata(study):
        run_chunk(job, small.chunks(name)[0])


def _smallest(job: Job) -> tuple[Block, Circuit]:
    """A chunk of earth faults, and its circuit."""
    block = Block(job, job.earth_design.chunks(EARTH)[0])
    return block, block.circuits[0]


def _compile_by_phasors(job: Job) -> None:
    block, circuit = _smallest(job)
    nodes = winding_nodes(STEADY_INTERVALS)
    critical_position(nodes, nodes[None], [0.5])
    block.solved(circuit, block.load_primary)
    sinusoids(block.load_primary, np.zeros(1))


def _compile_in_time(job: Job) -> None:
    """By cores at rest, which ask no phasors."""
    block, circuit = _smallest(job)
    window = Window(job.study.machine.frequency_hz, 0.0)
    carried = 10 if block.wants_groups else 6
    waves = waves_of(block, np.zeros((len(block), carried, window.times().size)))
    at_rest = np.zeros((len(block), len(block.scheme(circuit).places)), complex)
    wanted = measurement(job.study, block.scheme(circuit))
    block.in_time(circuit, window, waves, at_rest, wanted)
