"""Samples kept row by row: what every candidate makes of each, and what the chosen one would make
of it with an input at its centre or half as uncertain. Each row is an installation of its own.

Internal faults are drawn plainly, earth faults exact in their place; external events from the
densities that the study's batch found for rare false trips, or plainly where false trips were only
counted."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import chain

import numpy as np

from montecarlo.engine.block import Block, thresholds
from montecarlo.engine.guard import ROWS, Unresolved, looked_at
from montecarlo.engine.job import Job
from montecarlo.engine.path import Measured, solve
from montecarlo.engine.progress import Progress
from montecarlo.engine.rare import Densities
from montecarlo.engine.space import Space, inputs_of, space_of
from montecarlo.engine.winding import POSITION, Along
from montecarlo.engine.workers import Workers
from montecarlo.estimates.caught import missed_samples
from montecarlo.estimates.choose import weights_of
from montecarlo.estimates.drivers import Sampled
from montecarlo.estimates.rare import BATCH, Symmetric, plain
from montecarlo.quantities import Array, number, widened
from montecarlo.sampling.design import Chunk
from montecarlo.sampling.inputs import list_inputs
from montecarlo.sampling.stratum import EARTH, Side, Stratum
from montecarlo.sampling.streams import stream
from montecarlo.study.axes import Setting
from montecarlo.study.candidates import Lattice
from montecarlo.study.description import Study
from montecarlo.study.wider import with_inputs
from studies.drivers.columns import Columns, columns_of, scores_of
from studies.drivers.effects import job_of, missed_parts

CHUNK = 2048  # rows, a multiple of BATCH
FEWEST = 1024
ROWS_STAGE, CHANGES_STAGE = "samples for drivers", "inputs changed one by one"
CENTRE, HALVED = "at its centre", "half as uncertain"


@dataclass(frozen=True)
class Change:
    """One input of the study changed: a number, its median; or its spread about the median halved,
    by difference or, for families whose spread is one, by ratio (`quantities.widened`), which a
    list of values does not have."""

    key: str
    what: str

    def of(self, study: Study) -> Study:
        """The study so changed."""
        (own,) = (item.distribution for item in list_inputs(study) if item.key == self.key)
        changed = number(own.centre()) if self.what == CENTRE else widened(own, 0.5)
        return with_inputs(study, {self.key: changed})


def changes_of(study: Study, keys: Sequence[str]) -> list[Change]:
    """What is tried of each input.

    Parameters
    ----------
    study : Study
    keys : sequence of str
        Of inputs.

    Returns
    -------
    list of Change
    """
    smooth = {item.key for item in list_inputs(study) if item.distribution.is_continuous}
    every = [Change(key, what) for key in keys for what in (CENTRE, HALVED)]
    return [change for change in every if change.what == CENTRE or change.key in smooth]


@dataclass(frozen=True, eq=False)
class Rows:
    """One chunk: `job` is what is solved, `origin` the study in whose space the rows were drawn."""

    job: Job
    origin: Study
    chunk: Chunk
    density: Symmetric
    count: int

    @property
    def label(self) -> str:
        return f"{self.chunk.label} of drivers"

    @property
    def space(self) -> Space | Columns:
        return space_for(self.origin, self.chunk.stratum)

    def u(self) -> Array:
        """(count, dims)"""
        rng = stream(
            self.origin.study.seed, self.chunk.stratum, 0, self.chunk.index, "drivers.rows"
        )
        return self.density.sample(rng, self.count)


def space_for(study: Study, stratum: Stratum) -> Space | Columns:
    """Of an external event as the densities have it, folded; of internal faults by plain
    columns."""
    if stratum.side is Side.EXTERNAL:
        return space_of(study, stratum)
    return columns_of(study, stratum)


def sampled(
    study: Study,
    lattices: Sequence[Lattice],
    densities: Densities,
    workers: Workers,
    progress: Progress,
) -> tuple[list[Sampled], list[Sampled]]:
    """Internal faults and external events, every candidate of the lattices on all rows.

    Parameters
    ----------
    study : Study
    lattices : sequence of Lattice
    densities : mapping of Stratum to density
        Events without one are drawn plainly.
    workers : Workers
    progress : callable

    Returns
    -------
    tuple of list of Sampled
        Internal faults, external events.
    """
    job, weight = replace(job_of(study), lattices=tuple(lattices)), weights_of(study)
    names = (*weight.internal, *weight.external)
    shares = dict(zip(names, (*weight.shares, *weight.event_shares), strict=True))
    drawn = [name for name in names if name.side is not Side.STATE]
    tasks = [task for name in drawn for task in _rows(job, study, name, densities)]
    found: dict[Stratum, list[tuple[Rows, Array]]] = {name: [] for name in drawn}
    progress(0, len(tasks), ROWS_STAGE)
    for done, (task, y) in enumerate(zip(tasks, workers.mapped(_judged, tasks), strict=True), 1):
        found[task.chunk.stratum].append((task, y))
        progress(done, len(tasks), ROWS_STAGE)
    every = [_gathered(study, shares[name], rows) for name, rows in found.items()]
    internal = [each for each in every if each.name.side is Side.INTERNAL]
    return internal, [each for each in every if each.name.side is Side.EXTERNAL]


def _rows(job: Job, study: Study, name: Stratum, densities: Densities) -> list[Rows]:
    wanted = study.study.samples // (1 if name.side is Side.EXTERNAL else 4)
    size, space = max(FEWEST, wanted) // BATCH * BATCH, space_for(study, name)
    images = space.images if isinstance(space, Space) else ()
    density = densities.get(name) or plain(space.dims, images)
    return [
        Rows(job, study, Chunk(name, 0, index, 0, 0), density, min(CHUNK, size - index * CHUNK))
        for index in range(-(-size // CHUNK))
    ]


def _gathered(study: Study, share: float, rows: Sequence[tuple[Rows, Array]]) -> Sampled:
    first, _ = rows[0]
    name, density = first.chunk.stratum, first.density
    u = np.concatenate([part.u() for part, _ in rows])
    y = np.concatenate([values for _, values in rows])
    tied = {key for tie in study.ties for key in tie[:2]}
    return Sampled(
        name,
        share,
        np.exp(density.log_weight(u)),
        np.nan_to_num(y),
        *scores_of(inputs_of(study, name), study.ties, first.space.points(u)),
        density.largest_weight,
        POSITION if name == EARTH and POSITION not in tied else "",
        int(np.isnan(y).any(axis=1).sum()),
    )


def changed(
    study: Study,
    setting: Setting,
    densities: Densities,
    samples: Sequence[Sampled],
    changes: Sequence[Change],
    workers: Workers,
    progress: Progress,
) -> tuple[dict[Change, dict[Stratum, Array]], tuple[Unresolved, ...]]:
    """y (n,) of one setting on the rows of `sampled`, by change and stratum, of those strata that
    have the input; and those rows that gave no result."""
    tasks = {
        (change, sample.name): _rows(
            job_of(change.of(study), setting), study, sample.name, densities
        )
        for change in changes
        for sample in samples
        if change.key in sample.scores
    }
    flat = [*chain.from_iterable(tasks.values())]
    solved = workers.mapped(_judged, flat)
    out: dict[Change, dict[Stratum, Array]] = {change: {} for change in changes}
    done, unresolved = 0, list[Unresolved]()
    if flat:
        progress(0, len(flat), CHANGES_STAGE)
    for (change, name), rows in tasks.items():
        what = f"{change.key} {change.what}"
        y = np.concatenate([next(solved)[:, 0] for _ in rows])
        unresolved += looked_at(study, name, ROWS, int(np.isnan(y).sum()), len(y), of=what)
        out[change][name] = np.nan_to_num(y)
        done += len(rows)
        progress(done, len(flat), CHANGES_STAGE)
    return out, tuple(unresolved)


# --- a chunk ------------------------------------------------------------------


def _judged(task: Rows) -> Array:
    """Whether, or with which probability, each candidate misses or trips: (n, C), NaN where
    unresolved. Candidates lattice by lattice, each in the order of `Lattice.settings`."""
    block = Block(task.job, task.chunk, task.space.points(task.u()))
    found = solve(block)
    if isinstance(found, Along):
        missed = missed_parts(block, found)
        part = block.study.internal_faults.position.cdf(missed)
        return np.where(np.isfinite(missed), part, np.nan).astype(np.float32)
    parts = [_of_lattice(found, lattice) for lattice in task.job.lattices]
    return np.concatenate(parts, axis=1).astype(np.float32)


def _of_lattice(found: Measured, lattice: Lattice) -> Array:
    """The same of one lattice's candidates, of all but earth faults."""
    block, levels = found.block, (*thresholds(lattice), len(lattice.delay_s))
    event = found.pickups(lattice)
    if block.stratum.side is Side.INTERNAL:
        return missed_samples(event, found.before(lattice), *levels)
    phase, earth = event.silent(*levels)
    operated = ~(phase[:, :, None] & earth[:, None]).reshape(len(block), -1)
    return np.where(event.resolved[:, None], operated, np.nan)
