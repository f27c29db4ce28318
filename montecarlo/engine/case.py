"""The path of one chunk, from a number to a tally:

    samples -> primary currents -> secondary circuit -> critical pick-ups -> tally

A chunk is a pure function of the study and of the chunk's key.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from montecarlo.engine import backup, primary, winding
from montecarlo.engine.block import Block, Job, Judged, Rows, thresholds
from montecarlo.engine.guard import causes, without_result
from montecarlo.estimates.caught import missed_samples, sum_caught
from montecarlo.estimates.counting import count_missed, count_operated, one_setting
from montecarlo.estimates.tally import BackupTally, LatticeTally, Tally
from montecarlo.quantities import Array
from montecarlo.sampling.design import Chunk
from montecarlo.sampling.stratum import EARTH, OVERLOAD, Side
from montecarlo.secondary import transient
from montecarlo.study.candidates import Lattice
from montecarlo.study.circuits import Circuit, measurement
from montecarlo.study.strata import OPEN_PILOTS, event_of

ALL = slice(None)


def run_chunk(job: Job, chunk: Chunk) -> Tally:
    """Sample, solve and count one chunk."""
    block = Block(job, chunk)
    if chunk.stratum == EARTH:
        return winding.counted(block, winding.solved(block))
    return counted(block, solved(block))


def solved(block: Block) -> dict[Circuit, Judged]:
    """What the elements of every circuit measure in each sample of a counted stratum."""
    stratum = block.chunk.stratum
    if stratum.side is Side.EXTERNAL:
        return external(block)
    if stratum.side is Side.INTERNAL:
        lasting = primary.phase_faults(block, stratum.kind)
    else:
        lasting = primary.overload(block) if stratum == OVERLOAD else block.load_primary
    idle = OPEN_PILOTS.index(stratum) if stratum in OPEN_PILOTS else None
    return {circuit: block.steady(circuit, lasting, idle) for circuit in block.circuits}


def counted(block: Block, judged: Mapping[Circuit, Judged]) -> Tally:
    """The tally of a counted stratum, from what `solved` gave."""
    job, lattices, internal = (
        block.job,
        block.job.lattices,
        block.chunk.stratum.side is Side.INTERNAL,
    )
    tally = Tally(tuple(_count(block, lattice, judged[lattice.circuit]) for lattice in lattices))
    tally.early = {
        share: Tally(
            tuple(
                _count(block, lattice, judged[lattice.circuit], rows=rows) for lattice in lattices
            )
        )
        for share, rows in block.early_rows.items()
    }
    if any(part.unresolved.any() for part in tally.lattices):
        before = [block.load_pickups(lattice) for lattice in lattices] if internal else []
        tally.causes = causes(
            block,
            without_result(
                [
                    *(block.pickups(lattice, judged[lattice.circuit]) for lattice in lattices),
                    *before,
                ]
            ),
        )
    if (caught := backup.operated(block)) is not None:
        left = np.asarray(caught != 1, float)
        nobody = (_count(block, lattice, judged[lattice.circuit], left) for lattice in lattices)
        tally.backup = BackupTally(
            one_setting(caught, block.plants), tuple(nobody) if internal else ()
        )
    if job.paired and internal:
        each = [
            missed_samples(
                block.pickups(lattice, judged[lattice.circuit]),
                block.load_pickups(lattice),
                *thresholds(lattice),
                len(lattice.delay_s),
            )
            for lattice in job.lattices
        ]
        tally.caught = sum_caught(np.concatenate(each, axis=1)[:, job.paired], block.plants)
    return tally


def external(block: Block) -> dict[Circuit, Judged]:
    """What the elements of every circuit measure in an external event: the same sampled waveforms
    through each."""
    event = event_of(block.study, block.chunk.stratum)
    window, currents, before = primary.external_event(block, event)
    judged = {}
    for circuit in block.circuits:
        scheme, forms, delays = block.scheme(circuit), block.forms(circuit), block.delays(circuit)
        response = transient.solve(
            scheme.table,
            block.leg_ohm(circuit),
            block.bank(circuit),
            currents.at(scheme.places),
            window,
            block.solved(circuit, before).flux,
            measurement(block.study, scheme, forms, delays),
        )
        judged[circuit] = Judged(forms, delays, response.pickup)
    return judged


def _count(
    block: Block,
    lattice: Lattice,
    judged: Judged,
    of: Array | None = None,
    rows: Rows | slice = ALL,
) -> LatticeTally:
    """`of` (n,), 0 or 1: the samples of an internal fault whose misses are counted, all unless
    given; `rows`: the samples that are looked at, all unless given."""
    event = block.pickups(lattice, judged).at(rows)
    (phase_a, earth_a), wanted = thresholds(lattice), len(lattice.delay_s)
    if block.chunk.stratum.side is not Side.INTERNAL:
        return count_operated(event, phase_a, earth_a, wanted, block.plants)
    weight = (
        2 * block.samples["internal_faults.position"][rows]
        if block.even_positions and of is None
        else None
    )
    return count_missed(
        event,
        block.load_pickups(lattice).at(rows),
        phase_a,
        earth_a,
        wanted,
        block.plants,
        weight,
        of,
    )
