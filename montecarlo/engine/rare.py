"""Rare false trips: for each external event a density of samples that make elements operate, and
every candidate judged on weighted samples of it.

    N(0, I) -> samples -> density beyond the finest settings -> samples -> ... -> density -> final
    samples -> sums

Stages only look for the density; the sums come from a final batch of fixed size that nothing was
fitted to. Chunks are pure functions of their keys, and the sums are added in the order of the keys.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import chain, islice

import numpy as np

from montecarlo.engine.block import Block, thresholds
from montecarlo.engine.curves import curves
from montecarlo.engine.guard import causes, without_result
from montecarlo.engine.job import Job
from montecarlo.engine.keep import KeepRows, Rows, weighted_rows
from montecarlo.engine.path import measured
from montecarlo.engine.progress import INDEPENDENT, RARE, SELECTION, Progress, search_stage
from montecarlo.engine.space import space_of
from montecarlo.engine.workers import Workers
from montecarlo.estimates.rare import BATCH, Seen, Sums, Symmetric, plain, spans, tilted
from montecarlo.estimates.tally import Pickups
from montecarlo.quantities import Array
from montecarlo.quantities.keepable import keepable
from montecarlo.sampling.design import Chunk
from montecarlo.sampling.stratum import Side, Stratum
from montecarlo.sampling.streams import stream
from montecarlo.study.axes import Setting
from montecarlo.study.budget import LEAST_WEIGHTED, weighted_samples
from montecarlo.study.candidates import Lattice
from montecarlo.study.description import Study

STAGES = (0.25, 0.5, 1.0, 2.0)  # samples of each, in final batches
CHUNK = 2048  # samples, a multiple of BATCH
MOST, LEAST = 0.1, 1e-7  # probabilities between which settings shape the density
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


@dataclass(frozen=True, eq=False)
class Draw:
    """What a worker needs to draw and solve one chunk of an event's samples."""

    job: Job
    chunk: Chunk
    density: Symmetric
    count: int
    key: str  # of the stage, for the random numbers
    keep: bool = False  # its rows too

    @property
    def label(self) -> str:
        return f"{self.chunk.label} of {self.key}"

    def block(self, u: Array) -> Block:
        """Its samples, solved from their scores.

        Parameters
        ----------
        u : (count, dims) array

        Returns
        -------
        Block
        """
        space = space_of(self.job.study, self.chunk.stratum)
        return Block(self.job, self.chunk, space.points(u))

    def u(self) -> Array:
        """Standard normal scores of its samples.

        Returns
        -------
        (count, dims) array
        """
        rng = stream(
            self.job.study.study.seed,
            self.chunk.stratum,
            self.chunk.round_,
            self.chunk.index,
            self.key,
        )
        return self.density.sample(rng, self.count)


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


def find_densities(job: Job, workers: Workers, progress: Progress) -> Densities:
    """Of every external event, in stages: the nearer the settings, the more samples.

    Parameters
    ----------
    job : Job
    workers : Workers
    progress : Progress

    Returns
    -------
    mapping of Symmetric
        By stratum.
    """
    names = [Stratum.of(Side.EXTERNAL, event.name) for event in job.study.external_events]
    spaces = [space_of(job.study, name) for name in names]
    found = {
        name: plain(space.dims, space.images) for name, space in zip(names, spaces, strict=True)
    }
    for stage, part in enumerate(STAGES):
        size = max(LEAST_WEIGHTED, round(part * final_samples(job.study)) // BATCH * BATCH)
        draws = [_draws(job, name, found[name], size, 0, f"rare.stage_{stage}") for name in names]
        solved = iter(_all_quantities([*chain(*draws)], workers, progress, stage + 1))
        fits = [Fitting(own, np.concatenate([*islice(solved, len(own))])) for own in draws]
        found = dict(zip(names, workers.mapped(_fitted, fits), strict=True))
    return found


def _all_quantities(
    draws: Sequence[Draw], workers: Workers, progress: Progress, number: int
) -> list[Array]:
    """The critical pick-ups of every draw of a stage."""
    stage, total = search_stage(number, len(STAGES)), sum(draw.count for draw in draws)
    done, found = 0, list[Array]()
    progress(0, total, stage)
    for draw, quantities in zip(draws, workers.mapped(_quantities, draws), strict=True):
        found.append(quantities)
        done += draw.count
        progress(done, total, stage)
    return found


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
    for draw, (part, rows) in zip(draws, workers.mapped(summed, draws), strict=True):
        name = draw.chunk.stratum
        if keep is not None and rows is not None:
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
    return final_draws(job, name, density, 0)[0]


def final_draws(job: Job, name: Stratum, density: Symmetric, round_: int) -> list[Draw]:
    """The chunks of one event's final batch; a smaller batch is the first part of a larger one.

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
    return _draws(job, name, density, size_of(job, name), round_, FINAL)


def _draws(
    job: Job, name: Stratum, density: Symmetric, size: int, round_: int, key: str
) -> list[Draw]:
    return [
        Draw(job, Chunk(name, round_, index, 0, 0), density, min(CHUNK, size - index * CHUNK), key)
        for index in range(-(-size // CHUNK))
    ]


# --- a chunk ------------------------------------------------------------------


def _solved(block: Block) -> Iterator[tuple[Lattice, Pickups]]:
    """Critical pick-ups on every lattice."""
    found = measured(block)
    for lattice in block.job.lattices:
        yield lattice, found.pickups(lattice)


def _quantities(draw: Draw) -> Array:
    """(n, curves): critical pick-ups in the order of `curves`."""
    solved = _solved(draw.block(draw.u()))
    columns = [curve.of(pickups) for lattice, pickups in solved for curve in curves([lattice])]
    return np.stack(columns, axis=1)


@dataclass(frozen=True, eq=False)
class Fitting:
    """One event's next density: the chunks of the one before, and what they gave."""

    draws: list[Draw]
    quantity: Array  # (n, curves)

    @property
    def label(self) -> str:
        return f"{self.draws[0].label}, fit"


def _fitted(fit: Fitting) -> Symmetric:
    first = fit.draws[0]
    u = np.concatenate([draw.u() for draw in fit.draws])
    log_w = first.density.log_weight(u)
    beyond = [
        flags
        for column, curve in zip(fit.quantity.T, curves(first.job.lattices), strict=True)
        for flags in spans(column, log_w, curve.thresholds, MOST, LEAST)
    ]
    rng = stream(first.job.study.study.seed, first.chunk.stratum, 0, 0, f"{first.key}.fit")
    return tilted(u, log_w, beyond, first.density, rng)


def summed(draw: Draw) -> tuple[Final, Rows | None]:
    """Sums of one chunk, candidates lattice by lattice in the order of `Lattice.settings`, curves
    in their order; and its rows, if they are kept.

    Parameters
    ----------
    draw : Draw

    Returns
    -------
    Final
    Rows or None
    """
    u = draw.u()
    log_w, ceiling = draw.density.log_weight(u), draw.density.largest_weight
    heads = {WHOLE: draw.count, **_heads(draw)}
    block = draw.block(u)
    solved = list(_solved(block))
    rows = (
        weighted_rows(block, draw.chunk.index * CHUNK, solved, np.exp(log_w)) if draw.keep else None
    )
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
    return Final(found.pop(WHOLE), Sums.beside(single), found, causes(block, lost)), rows


def _heads(draw: Draw) -> dict[float, int]:
    """How many of the chunk's samples belong to each of the job's shares of the final batch, where
    any do; whole batches of samples."""
    batches, before = size_of(draw.job, draw.chunk.stratum) // BATCH, draw.chunk.index * CHUNK
    firsts = {share: math.ceil(share * batches) * BATCH - before for share in draw.job.shares}
    return {share: min(first, draw.count) for share, first in firsts.items() if first > 0}
