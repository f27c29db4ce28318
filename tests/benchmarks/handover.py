"""A study handed out, taken back, kept on the disk and added, without its work: every task returns
at once a result as large as a real one's. All but the work is a run's own path."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any

import psutil

from montecarlo.engine import rounds
from montecarlo.engine.counted import Counted, Sums, by_block, counted_chunks
from montecarlo.engine.job import Job
from montecarlo.engine.sizes import check_size, designs
from montecarlo.engine.workers import Workers
from montecarlo.engine.workers.finished import Finished
from montecarlo.engine.workers.packing import pack, unpack
from montecarlo.sampling.stratum import Stratum
from montecarlo.study.candidates import candidate_lattices
from montecarlo.study.description import Study
from montecarlo.study.strata import strata
from tests.benchmarks.many_workers import Many, Spent

LOOK_EVERY_S = 0.05


@dataclass(frozen=True)
class Nothing:
    number: int

    @property
    def label(self) -> str:
        return f"nothing {self.number}"


def nothing(task: Nothing) -> float:
    return 0.0


@dataclass(frozen=True, eq=False)
class Empty:
    """A task without its work."""

    task: Counted
    answers: Path  # folder of them

    @property
    def label(self) -> str:
        return self.task.label


@dataclass(frozen=True)
class Handed:
    """What a hand-over took.

    Attributes
    ----------
    tasks, kept_bytes : int
        Tasks, and the size of the folder of finished ones.
    spent : Spent
    listing_s, adding_s : float
        Processor time of the run's process to list the tasks, and to add what came back.
    grown_bytes : int
        By how much memory of the run's process rose meanwhile.
    """

    tasks: int
    kept_bytes: int
    spent: Spent
    listing_s: float
    adding_s: float
    grown_bytes: int


def answer(empty: Empty) -> Any:
    return _of(empty.answers, empty.task.stratum)


@cache
def _of(folder: Path, name: Stratum) -> Any:
    return unpack((folder / f"{name}.npz").read_bytes())[1]


def keep_answers(job: Job, folder: Path) -> dict[Stratum, int]:
    """What a task of each type sends back, of one block of installations; and its bytes."""
    found = {}
    for name in strata(job.study):
        task = Counted(job, (job.design_of(name).chunks(name)[0],), False)
        data = pack((task.label, counted_chunks(task)))
        (folder / f"{name}.npz").write_bytes(data)
        found[name] = len(data)
    return found


def job_of(study: Study) -> Job:
    """As a run has it of the same study; refused where that would be."""
    lattices = candidate_lattices(study)
    check_size(study, lattices)
    return Job(study.alone, lattices, *designs(study))


def handed_out(many: Many, job: Job, answers: Path, folder: Path, most: int | None) -> Handed:
    """The selection sample of a study, round by round; of each round every so many-th task, if
    that makes at most so many."""
    began = time.process_time()
    every = [rounds._tasks(job, number) for number in range(1, len(rounds.SHARES) + 1)]
    step = 1 if most is None else -(-sum(map(len, every)) // most)
    every = [tasks[::step] for tasks in every]
    listing_s = time.process_time() - began
    finished = Finished(folder)
    crew = Workers(site=many.place, finished=finished)
    sums: Sums = {}
    adding_s = 0.0
    before = many.spent()
    with _memory() as grown:
        for tasks in every:
            empties = [Empty(replace(task, job=job), answers) for task in tasks]
            for empty, (tallies, _) in zip(empties, crew.mapped(answer, empties), strict=True):
                began = time.thread_time()
                _add(sums, empty.task, tallies)
                adding_s += time.thread_time() - began
    spent = many.spent() - before
    kept = sum(path.stat().st_size for path in folder.glob("*.npz"))
    return Handed(len(finished), kept, spent, listing_s, adding_s, max(grown))


def _add(sums: Sums, task: Counted, tallies: Sequence[Any]) -> None:
    """As `counted.added`; every answer is of one block of installations."""
    one = replace(task, chunks=task.chunks[:1])
    for block, tally in by_block(one, tallies).items():
        key = task.stratum, block
        sums[key] = sums[key] + tally if key in sums else tally


@contextmanager
def _memory() -> Iterator[list[int]]:
    """By how much this process has grown, look by look."""
    process, ended = psutil.Process(), threading.Event()
    before = process.memory_info().rss
    found = [0]

    def look() -> None:
        while not ended.wait(LOOK_EVERY_S):
            found.append(process.memory_info().rss - before)

    thread = threading.Thread(target=look, daemon=True)
    thread.start()
    try:
        yield found
    finally:
        ended.set()
        thread.join()
