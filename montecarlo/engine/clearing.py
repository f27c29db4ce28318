"""Who clears each internal fault with one setting in service, by all paths and the failures of
their parts; and the damage of an earth fault until then (`damage.py`).

Probabilities are exact along the winding and over failures (`clearing_paths.py`)."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, fields, replace

import numpy as np

from montecarlo.engine.block import Block
from montecarlo.engine.clearing_paths import Case, Paths, cases_of, stated_case
from montecarlo.engine.damage import Burnt, burnt_of, harm_of
from montecarlo.engine.guard import CLEARING, Unresolved, looked_at
from montecarlo.engine.job import Job
from montecarlo.engine.path import solve
from montecarlo.engine.progress import Progress
from montecarlo.engine.sizes import designs
from montecarlo.engine.stages import Stage
from montecarlo.engine.winding import Along
from montecarlo.engine.workers import Workers
from montecarlo.quantities import Array, Flags
from montecarlo.quantities.keepable import keepable
from montecarlo.sampling.design import BLOCKS, Chunk
from montecarlo.sampling.stratum import EARTH, Stratum
from montecarlo.study.axes import Setting
from montecarlo.study.candidates import lattices_of
from montecarlo.study.clearing_checks import who_clears_of
from montecarlo.study.description import Study
from montecarlo.study.strata import internal_shares

CLEARING_STAGE = "who clears faults"


@keepable
@dataclass(frozen=True, eq=False)
class Cleared:
    """Faults of one type; J paths, breaker failure protection if there is one, then nobody; by how
    failures were taken."""

    sums: Array  # (cases, columns) of probabilities over the faults with a result
    alone: Array  # (3, J) of each path by itself: it sees, it works, both
    harm: Array  # (cases, 2) sums of the damage of earth faults [s], and of its cost
    faults: Array  # (1,) with a result
    lost: Array  # (1,) without


@dataclass(frozen=True, eq=False)
class Clearing:
    """What a run of one setting shows."""

    study: Study
    setting: Setting
    round_: int  # of the random numbers
    cases: tuple[Case, ...]  # factors of failures
    paths: tuple[str, ...]  # and breaker failure protection, if there is one
    cleared: dict[Stratum, tuple[Cleared, ...]]  # by block of installations
    burnt: tuple[Burnt, ...] | None  # likewise; None without [damage]

    def unresolved(self) -> tuple[Unresolved, ...]:
        """How many faults of each type gave no result.

        Returns
        -------
        tuple of Unresolved
            A row a type.

        Raises
        ------
        RunStopped
            Too many did not.
        """
        rows: list[Unresolved] = []
        for stratum, blocks in self.cleared.items():
            lost = int(sum(one.lost[0] for one in blocks))
            drawn = lost + int(sum(one.faults[0] for one in blocks))
            rows += looked_at(self.study, stratum, CLEARING, lost, drawn, round_=self.round_)
        return tuple(rows)


# --- a run --------------------------------------------------------------------


def wanted(study: Study) -> bool:
    """Whether a study asks who clears faults.

    Parameters
    ----------
    study : Study

    Returns
    -------
    bool
    """
    return study.damage is not None or study.dependability is not None


def clearing_stages(study: Study) -> Iterator[Stage]:
    """What `sample_clearing` is for progress.

    Parameters
    ----------
    study : Study

    Yields
    ------
    Stage
    """
    if wanted(study):
        yield Stage(CLEARING_STAGE, sum(_size(study, name) for name in internal_shares(study)))


def _size(study: Study, stratum: Stratum) -> int:
    counted, earth = designs(study)
    return (earth if stratum == EARTH else counted).samples_drawn


@dataclass(frozen=True, eq=False)
class Asked:
    """One setting in service, whose faults are to be followed."""

    study: Study
    setting: Setting
    round_: int  # of the random numbers
    types: tuple[Stratum, ...]  # of faults
    cases: tuple[Case, ...]  # factors of failures
    name: str = ""  # of the study among several

    @property
    def size(self) -> int:
        """How many faults."""
        return sum(_size(self.study, name) for name in self.types)


def sample_clearing(
    study: Study,
    setting: Setting,
    round_: int,
    workers: Workers,
    progress: Progress,
    *,
    only: Sequence[Stratum] | None = None,
) -> Clearing:
    """Every internal fault of the study's design on the random numbers of a round.

    Parameters
    ----------
    study : Study
    setting : Setting
        In service.
    round_ : int
    workers : Workers
    progress : Progress
    only : sequence of Stratum, optional
        Types of faults; all of the study unless given.

    Returns
    -------
    Clearing

    Raises
    ------
    RunStopped
        Too many faults without a result.
    """
    types = tuple(internal_shares(study) if only is None else only)
    asked = Asked(study, setting, round_, types, cases_of(study))
    (found,) = sample_clearings([asked], workers, progress, CLEARING_STAGE)
    return found


def sample_clearings(
    asked: Sequence[Asked], workers: Workers, progress: Progress, stage: str
) -> Iterator[Clearing]:
    """Several of these side by side.

    Parameters
    ----------
    asked : sequence of Asked
    workers : Workers
    progress : Progress
    stage : str
        What progress calls it.

    Yields
    ------
    Clearing
        In their order.

    Raises
    ------
    RunStopped
        Too many faults without a result.
    """
    tasks = [_tasks(one) for one in asked]
    solved = workers.mapped(_run_task, [task for own in tasks for task in own])
    done, total = 0, sum(one.size for one in asked)
    progress(0, total, stage)
    for one, own in zip(asked, tasks, strict=True):
        cleared: dict[Stratum, list[list[Cleared]]] = {}
        burnt: list[list[Burnt]] = [[] for _ in range(BLOCKS)]
        for task in own:
            (counts, harm), chunk = next(solved), task.chunk
            blocks = cleared.setdefault(chunk.stratum, [[] for _ in range(BLOCKS)])
            blocks[chunk.installation_block].append(counts)
            burnt[chunk.installation_block] += [] if harm is None else [harm]
            done += task.job.design_of(chunk.stratum).samples_in(chunk)
            progress(done, total, stage)
        found = Clearing(
            one.study,
            one.setting,
            one.round_,
            one.cases,
            who_clears_of(one.study, one.setting.scheme),
            {name: tuple(map(_added, blocks)) for name, blocks in cleared.items()},
            tuple(_joined(parts) for parts in _taken(burnt)) if any(burnt) else None,
        )
        found.unresolved()  # ends the run where there are too many
        yield found


def _tasks(asked: Asked) -> list[Followed]:
    study = asked.study
    job = Job(study.alone, lattices_of(study, asked.setting), *designs(study))
    return [
        Followed(job, chunk, asked.cases, asked.name)
        for name in asked.types
        for chunk in job.design_of(name).chunks(name, asked.round_)
    ]


def _added(parts: Iterable[Cleared]) -> Cleared:
    every = [*parts]
    return Cleared(*(sum(getattr(one, field.name) for one in every) for field in fields(Cleared)))


def _taken(lists: list[list[Burnt]]) -> Iterator[list[Burnt]]:
    """Each in turn, and then no longer held: whole runs are large."""
    while lists:
        yield lists.pop(0)


def _joined(parts: Iterable[Burnt]) -> Burnt:
    every = [*parts]
    return Burnt(
        *(np.concatenate([getattr(one, field.name) for one in every]) for field in fields(Burnt))
    )


@dataclass(frozen=True, eq=False)
class Followed:
    """One chunk of internal faults that are followed to who clears them."""

    job: Job
    chunk: Chunk
    cases: tuple[Case, ...]
    name: str

    @property
    def label(self) -> str:
        return f"{self.chunk.label}, who clears them{self.name and ', '}{self.name}"


def _run_task(task: Followed) -> tuple[Cleared, Burnt | None]:
    return follow(Block(task.job, task.chunk), task.cases)


# --- a chunk ------------------------------------------------------------------


def follow(block: Block, cases: Sequence[Case]) -> tuple[Cleared, Burnt | None]:
    """One block of internal faults with the job's one setting.

    Parameters
    ----------
    block : Block
    cases : sequence of (float, float)
        Factors of failures.

    Returns
    -------
    Cleared
    Burnt or None
        Of earth faults, where the study has [damage].
    """
    found = solve(block)
    (lattice,) = block.job.lattices
    paths = Paths(block, lattice)
    if isinstance(found, Along):
        places = paths.places(found)
        sees = 1 - block.study.internal_faults.position.cdf(places)
        counts = _cleared(paths.along(places, cases), sees, paths.works)
        if block.study.damage is None:
            return counts, None
        burnt, times = burnt_of(paths, places)
        sums = [harm_of(burnt, paths, times, case) for case in cases]
        return replace(counts, harm=np.array(sums)), burnt
    seen = paths.seen(found)
    never = np.where(np.isnan(seen), np.nan, np.inf)
    times = np.where(seen == 1, paths.times_s, never)
    each = np.stack([paths.first(times, *case) for case in cases])
    return _cleared(each, seen, paths.works), None


def expected(block: Block, along: Along) -> tuple[Array | None, Array]:
    """Of each earth fault with the job's one setting, over its place and the failures of parts as
    stated.

    Parameters
    ----------
    block : Block
    along : Along
        Its solution.

    Returns
    -------
    (n,) array (s of the reference current) or None
        Mean damage; None without [damage].
    (n,) array (-)
        Probability that nobody clears the fault.
    """
    (lattice,) = block.job.lattices
    paths = Paths(block, lattice)
    places = paths.places(along)
    (each,) = paths.along(places, [stated_case(block.study)])
    if block.study.damage is None:
        return None, each[:, -1]
    harm, _ = burnt_of(paths, places)
    count = len(harm.weight) // len(block)
    mean = (harm.weight * harm.equivalent_s).reshape(len(block), -1).sum(axis=1) / count
    return mean, each[:, -1]


def _cleared(each: Array, sees: Array, works: Array) -> Cleared:
    """From probabilities (cases, n, columns), and of each path alone (n, J)."""
    known: Flags = np.asarray(np.isfinite(each).all(axis=(0, 2)))
    count, alone = float(known.sum()), np.stack([sees, works, sees * works])
    return Cleared(
        np.where(known[:, None], each, 0.0).sum(axis=1),
        np.where(known[:, None], alone, 0.0).sum(axis=1),
        np.zeros((len(each), 2)),
        np.array([count]),
        np.array([known.size - count]),
    )
