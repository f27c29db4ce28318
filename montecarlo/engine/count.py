"""From a solved chunk to its tally: which candidates miss it, or operate on it."""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from itertools import zip_longest

import numpy as np

from montecarlo.engine import backup
from montecarlo.engine.block import Block, thresholds
from montecarlo.engine.groups import class_of
from montecarlo.engine.guard import causes, without_result
from montecarlo.engine.job import Job
from montecarlo.engine.path import Measured, solve
from montecarlo.engine.samples import Indices
from montecarlo.engine.winding import (
    DECIDES_MOST,
    STEADY_INTERVALS,
    TRANSIENT_INTERVALS,
    Along,
    critical_places,
)
from montecarlo.estimates.caught import missed_samples, missed_shares, sum_caught
from montecarlo.estimates.counting import (
    count_missed,
    count_operated,
    one_setting,
    places_kept,
    sum_conditional,
)
from montecarlo.estimates.tally import BackupTally, LatticeTally, Pickups, Tally
from montecarlo.plant.turns.catalogue import CLASSES, WITHIN_PHASE
from montecarlo.quantities import Array, Flags
from montecarlo.sampling.design import Chunk
from montecarlo.sampling.stratum import EVOLVING, INTER_TURN, Side
from montecarlo.study.candidates import Lattice

ALL = slice(None)


def run_chunk(job: Job, chunk: Chunk | tuple[Chunk, ...]) -> Tally:
    """Sample, solve and count one chunk, or several of one event block side by side.

    Parameters
    ----------
    job : Job
    chunk : Chunk, or tuple of them

    Returns
    -------
    Tally
    """
    block = Block(job, chunk)
    return count(block, solve(block))


def count(block: Block, solution: Measured | Along) -> Tally:
    """The tally of a block.

    Parameters
    ----------
    block : Block
    solution : Measured or Along
        As `path.solve` gave it.

    Returns
    -------
    Tally
    """
    if isinstance(solution, Along):
        return _along_the_winding(block, solution)
    return _one_by_one(block, solution)


# --- every sample is one case -------------------------------------------------


def _one_by_one(block: Block, measured: Measured) -> Tally:
    lattices = block.job.lattices
    events = [measured.pickups(lattice) for lattice in lattices]
    internal = block.stratum.side is Side.INTERNAL
    befores = [measured.before(lattice) for lattice in lattices] if internal else []

    def each(of: Array | None = None, rows: Indices | slice = ALL) -> tuple[LatticeTally, ...]:
        cases = zip_longest(lattices, events, befores)
        return tuple(_count(block, *case, of, rows) for case in cases)

    tally = Tally(each())
    tally.early = {share: Tally(each(rows=rows)) for share, rows in block.early_rows.items()}
    if any(part.unresolved.any() for part in tally.lattices):
        tally.causes = causes(block, without_result([*events, *befores]))
    if (caught := backup.operated(block)) is not None:
        nobody = each(of=np.asarray(caught != 1, float)) if internal else ()
        tally.backup = BackupTally(one_setting(caught, block.installations), nobody)
    if block.stratum == INTER_TURN:
        kinds = class_of(block)
        tally.classes = {
            name: tuple(
                _of_class(block, lattice, event, before, kinds == kind)
                for lattice, event, before in zip(lattices, events, befores, strict=True)
            )
            for kind, name in enumerate(CLASSES)
            if name in WITHIN_PHASE
        }
    if block.job.paired and internal:
        missed = [
            missed_samples(event, before, *thresholds(lattice), len(lattice.delay_s))
            for lattice, event, before in zip(lattices, events, befores, strict=True)
        ]
        tally.caught = _caught(block, missed, None)
    return tally


def _count(
    block: Block,
    lattice: Lattice,
    event: Pickups,
    before: Pickups | None,
    of: Array | None,
    rows: Indices | slice,
) -> LatticeTally:
    """`before`: an internal fault; `of` (n,), 0 or 1: the samples of one whose misses are
    counted, all unless given; `rows`: the samples that are looked at."""
    settings = (*thresholds(lattice), len(lattice.delay_s), block.installations)
    if before is None:
        return count_operated(event.at(rows), *settings)
    weight = None
    if block.even_positions and of is None:
        weight = 2 * block.samples["internal_faults.position"][rows]
    missed = count_missed(event.at(rows), before.at(rows), *settings, weight, of)
    return missed if block.stratum == EVOLVING else replace(missed, before=None)


def _of_class(
    block: Block, lattice: Lattice, event: Pickups, before: Pickups, mine: Flags
) -> LatticeTally:
    """Of some of the samples alone: an installation may have none of them."""

    def number(which: Flags) -> Array:
        return np.asarray(which.reshape(block.installations, -1).sum(axis=1), float)

    lost = mine & ~(event.resolved & before.resolved)
    missed = _count(block, lattice, event, before, mine.astype(float), ALL)
    return replace(missed, trials=number(mine), unresolved=number(lost))


def _caught(block: Block, missed: list[Array], along: Array | None) -> LatticeTally:
    """What one of the paired candidates misses and another catches; missed (n, C) by lattice."""
    paired = np.concatenate(missed, axis=1)[:, block.job.paired]
    return sum_caught(paired, block.installations, along)


# --- earth faults, conditional on all but the position ------------------------


def _along_the_winding(block: Block, found: Along) -> Tally:
    counts = {
        "phasor_solutions": float(len(block) * (STEADY_INTERVALS + 1) * len(block.circuits)),
        "transient_solutions": float(len(block) * (TRANSIENT_INTERVALS + 1) * len(found.in_time)),
    }
    cdf, caught = block.study.internal_faults.position.cdf, backup.critical_place(block)
    along = block.samples[DECIDES_MOST]
    tallies, nobody, missed = [], [], []
    lost = np.zeros(len(block), bool)
    early: dict[float, list[LatticeTally]] = {share: [] for share in block.early_rows}
    for lattice, phase_x, earth_x in critical_places(block, found, counts):
        load, settings = block.load_pickups(lattice), thresholds(lattice)
        summed = partial(
            sum_conditional, phase_x, earth_x, load, *settings, block.installations, cdf, along
        )
        kept = places_kept(phase_x, earth_x, load, *settings, along)
        phase, earth, ohm = kept
        sums = summed(block.even_positions)
        tallies.append(replace(sums, phase_x=phase, earth_x=earth, fault_ohm=ohm))
        if tallies[-1].unresolved.any():
            solved = [np.isfinite(x).all(axis=(1, 2)) for x in (phase_x, earth_x)]
            lost |= ~np.all([*solved, load.resolved], axis=0)
        if caught is not None:
            nobody.append(summed(False, np.where(np.isfinite(caught), caught, 1.0)))
        if block.job.paired:
            missed.append(missed_shares(phase_x, earth_x, load, *settings, cdf))
        for share, rows in block.early_rows.items():
            x = phase_x[rows], earth_x[rows]
            early[share].append(
                sum_conditional(*x, load.at(rows), *settings, block.installations, cdf, None, False)
            )
    tally = Tally(tuple(tallies), counts, causes=causes(block, lost))
    tally.early = {share: Tally(tuple(parts)) for share, parts in early.items()}
    if caught is not None:
        operates = one_setting(1 - cdf(caught), block.installations, along=along)
        tally.backup = BackupTally(operates, tuple(nobody))
    if missed:
        tally.caught = _caught(block, missed, along)
    return tally
