"""Rare false trips: every candidate judged on weighted samples of each external event.

    density (`montecarlo/engine/densities.py`) -> final samples -> sums

The sums come from a final batch of fixed size that nothing was fitted to. Chunks are pure functions
of their keys, and the sums are added in the order of the keys.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import reduce
from operator import add

import numpy as np

from montecarlo.engine.block import Block, thresholds
from montecarlo.engine.curves import curves
from montecarlo.engine.draws import CHUNK, TASKS_MAX, Draw, draws_of
from montecarlo.engine.guard import causes, without_result
from montecarlo.engine.job import Job
from montecarlo.engine.keep import KeepRows, Rows, weighted_rows
from montecarlo.engine.path import measured
from montecarlo.engine.progress import INDEPENDENT, RARE, SELECTION, Progress
from montecarlo.engine.workers import Workers
from montecarlo.estimates.rare import BATCH, Seen, Sums, Symmetric
from montecarlo.estimates.tally import Pickups
from montecarlo.quantities import Array
from montecarlo.quantities.keepable import keepable
from montecarlo.sampling.stratum import Stratum
from montecarlo.study.axes import Setting
from montecarlo.study.budget import weighted_samples
from montecarlo.study.candidates import Lattice
from montecarlo.study.description import Study

COLUMNS = 4096  # settings summed at once, to bound the memory
WHOLE = 1.0  # share of a batch
FINAL = "rare.final"  # what keys the random numbers of final batches

Densities = Mapping[Stratum, Symmetric]


@dataclass(frozen=True, eq=False)
class Known:
    """What a batch leaves to later ones: its densities, what it saw of each candidate's weighted
    samples, and which candidates' p_false an event decides.

    An independent sample that judged its own samples would keep those that happened to hit often
    enough, and lose the others: measured, tests/MEASUREMENTS.md."""

    densities: Densities = field(default_factory=dict)
    seen: Mapping[Stratum, Mapping[Setting, Seen]] = field(default_factory=dict)
    deciding: Mapping[Stratum, frozenset[Setting]] = field(default_factory=dict)

    def of(self, name: Stratum, settings: Sequence[Setting]) -> list[Seen | None]:
        """What is known of each setting; None where nothing is.

        Parameters
        ----------
        name : Stratum
        settings : sequence of Setting

        Returns
        -------
        list of Seen or None
        """
        return [self.seen.get(name, {}).get(setting) for setting in settings]


def final_samples(study: Study) -> int:
    """Size of each event's final batch, as the study has it; 0 where rare false trips are counted
    only.

    Parameters
    ----------
    study : Study

    Returns
    -------
    int
    """
    return -(-weighted_samples(study) // BATCH) * BATCH


def size_of(job: Job, name: Stratum) -> int:
    """Size of one event's final batch, by stratum.

    Parameters
    ----------
    job : Job
    name : Stratum

    Returns
    -------
    int
    """
    return dict(job.weighted).get(name, final_samples(job.study))


@keepable
@dataclass(frozen=True, eq=False)
class Final:
    """One event's final batch: every candidate of the job, and every curve at its `grid`."""

    candidates: Sums
    curves: Sums
    early: dict[float, Sums]  # of the candidates, by the job's shares of the batch
    causes: Array  # (2,) as `Tally.causes`

    def __add__(self, other: Final) -> Final:
        early = {
            share: self.early[share] + other.early[share] if share in other.early else sums
            for share, sums in self.early.items()
        }  # the first chunk has a part of each
        return Final(
            self.candidates + other.candidates,
            self.curves + other.curves,
            early,
            self.causes + other.causes,
        )


def final_batch(
    job: Job,
    densities: Densities,
    round_: int,
    workers: Workers,
    progress: Progress,
    keep: KeepRows | None = None,
) -> dict[Stratum, Final]:
    """An independent sample of fixed size of each event.

    Parameters
    ----------
    job : Job
    densities : mapping of Symmetric
    round_ : int
    workers : Workers
    progress : Progress
    keep : KeepRows, optional
        Takes the rows of every chunk.

    Returns
    -------
    dict of Final
        By stratum.
    """
    draws = [
        replace(draw, keep=keep is not None)
        for name, density in densities.items()
        for draw in final_draws(job, name, density, round_)
    ]
    found: dict[Stratum, Final] = {}
    done, total = 0, sum(draw.count for draw in draws)
    stage = f"{INDEPENDENT if round_ else SELECTION}, {RARE}"
    if draws:
        progress(0, total, stage)
    for draw, (part, kept) in zip(draws, workers.mapped(summed, draws), strict=True):
        name = draw.chunk.stratum
        for rows in kept:
            assert keep is not None
            keep(name, rows, weighted=True)
        found[name] = found[name] + part if name in found else part
        done += draw.count
        progress(done, total, stage)
    return found


def first_draw(job: Job, name: Stratum, density: Symmetric) -> Draw:
    """The first chunk of one event's final batch, on the study's own random numbers.

    Parameters
    ----------
    job : Job
    name : Stratum
    density : Symmetric

    Returns
    -------
    Draw
    """
    return next(final_draws(job, name, density, 0)[0].chunks())


def final_draws(job: Job, name: Stratum, density: Symmetric, round_: int) -> list[Draw]:
    """One event's final batch as it is handed out; a smaller batch is the first part of a larger
    one.

    Parameters
    ----------
    job : Job
    name : Stratum
    density : Symmetric
    round_ : int

    Returns
    -------
    list of Draw
    """
    size = size_of(job, name)
    together = max(1, -(-size // (CHUNK * TASKS_MAX)))
    return draws_of(job, name, density, size, round_, FINAL, together)


# --- a chunk ------------------------------------------------------------------


def solved_on(block: Block) -> Iterator[tuple[Lattice, Pickups]]:
    """Critical pick-ups on every lattice.

    Parameters
    ----------
    block : Block

    Yields
    ------
    Lattice, Pickups
    """
    found = measured(block)
    for lattice in block.job.lattices:
        yield lattice, found.pickups(lattice)


def summed(draw: Draw) -> tuple[Final, list[Rows]]:
    """Sums of its chunks, candidates lattice by lattice in the order of `Lattice.settings`, curves
    in their order; and their rows, where they are kept.

    Parameters
    ----------
    draw : Draw

    Returns
    -------
    Final
    list of Rows
    """
    kept = list[Rows]()
    return reduce(add, (_summed(chunk, kept) for chunk in draw.chunks())), kept


def _summed(draw: Draw, kept: list[Rows]) -> Final:
    u = draw.u()
    log_w, ceiling = draw.density.log_weight(u), draw.density.largest_weight
    heads = {WHOLE: draw.count, **_heads(draw)}
    block = draw.block(u)
    solved = list(solved_on(block))
    if draw.keep:
        kept.append(weighted_rows(block, draw.chunk.index * CHUNK, solved, np.exp(log_w)))
    joint: dict[float, list[Sums]] = {share: [] for share in heads}
    single = []
    for lattice, pickups in solved:
        lost = ~pickups.resolved
        phase, earth = pickups.silent(*thresholds(lattice), len(lattice.delay_s))
        step = max(1, COLUMNS // earth[0].size)
        for start in range(0, phase.shape[1], step):
            operated = ~(phase[:, start : start + step, None] & earth[:, None])
            for share, n in heads.items():
                joint[share].append(
                    Sums.of(operated[:n].reshape(n, -1), log_w[:n], ceiling, lost[:n])
                )
        for curve in curves([lattice]):
            beyond = curve.of(pickups)[:, None] > np.array(curve.grid)
            single.append(Sums.of(beyond, log_w, ceiling, lost))
    found = {share: Sums.beside(parts) for share, parts in joint.items()}
    lost = without_result(pickups for _, pickups in solved)
    return Final(found.pop(WHOLE), Sums.beside(single), found, causes(block, lost))


def _heads(draw: Draw) -> dict[float, int]:
    """How many of the chunk's samples belong to each of the job's shares of the final batch, where
    any do; whole batches of samples."""
    batches, before = size_of(draw.job, draw.chunk.stratum) // BATCH, draw.chunk.index * CHUNK
    firsts = {share: math.ceil(share * batches) * BATCH - before for share in draw.job.shares}
    return {share: min(first, draw.count) for share, first in firsts.items() if first > 0}
