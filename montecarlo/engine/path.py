"""The path of one chunk, up to what its elements measure. Read this first.

    samples -> primary currents -> secondary circuit -> what elements compare with their settings

`Block` draws the samples; `primary` makes currents of them; `secondary` solves the circuits. What
is made of a solution stands elsewhere: tallies in `count`, rows in `keep`, weighted sums in `rare`.
A chunk is a pure function of the study and of the chunk's key.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from montecarlo.engine import inception, primary, waves, winding
from montecarlo.engine.block import Block, Judged
from montecarlo.engine.primary import Complex
from montecarlo.estimates.tally import Pickups
from montecarlo.sampling.stratum import EARTH, Side
from montecarlo.secondary.transient import Window
from montecarlo.study.candidates import Lattice
from montecarlo.study.circuits import Circuit
from montecarlo.study.strata import OPEN_CT_CIRCUITS, in_time


@dataclass(frozen=True, eq=False)
class Measured:
    """What the elements of every circuit measure in each of a block's samples."""

    block: Block
    by_circuit: Mapping[Circuit, Judged]

    def pickups(self, lattice: Lattice) -> Pickups:
        """Critical pick-ups of a lattice's settings.

        Parameters
        ----------
        lattice : Lattice

        Returns
        -------
        Pickups
        """
        return self.block.pickups(lattice, self.by_circuit[lattice.circuit])

    def before(self, lattice: Lattice) -> Pickups:
        """Critical pick-ups of the same before an internal fault: under load, or in the external
        fault from which it evolves.

        Parameters
        ----------
        lattice : Lattice

        Returns
        -------
        Pickups
        """
        judged = self.by_circuit[lattice.circuit].before
        if judged is None:
            return self.block.load_pickups(lattice)
        return self.block.pickups(lattice, judged)


def solve(block: Block) -> Measured | winding.Along:
    """All samples of a block, on every circuit.

    Parameters
    ----------
    block : Block

    Returns
    -------
    Measured or Along
        Earth faults are solved along the whole winding, everything else where it was sampled.
    """
    return winding.solved(block) if block.stratum == EARTH else measured(block)


def measured(block: Block) -> Measured:
    """The same of every stratum but earth faults: external events and evolving faults in time, as
    they pass; faults between phases, if no offset is wanted, and states by phasors, as they last.

    Parameters
    ----------
    block : Block

    Returns
    -------
    Measured
    """
    stratum = block.stratum
    if in_time(block.study, stratum):
        return Measured(block, _passing(block))
    currents = primary.lasting(block)
    idle = OPEN_CT_CIRCUITS.index(stratum) if stratum in OPEN_CT_CIRCUITS else None
    return Measured(
        block, {circuit: block.steady(circuit, currents, idle) for circuit in block.circuits}
    )


def _passing(block: Block) -> dict[Circuit, Judged]:
    """In time: the same sampled waveforms through each circuit."""
    if block.stratum.side is Side.EXTERNAL:
        return _through(block, *waves.external_event(block))
    parts = [_through(part, *inception.internal_fault(part)) for part in inception.in_parts(block)]
    return {circuit: _joined([part[circuit] for part in parts]) for circuit in parts[0]}


def _joined(parts: Sequence[Judged]) -> Judged:
    """Of all samples."""
    earlier = [part.earlier for part in parts if part.earlier is not None]
    return replace(
        parts[0],
        quantity=np.concatenate([part.quantity for part in parts]),
        earlier=np.concatenate(earlier) if earlier else None,
    )


def _through(
    block: Block, window: Window, currents: waves.Waves, before: Complex
) -> dict[Circuit, Judged]:
    """To the end of the window: flux rises with a DC component long after a measured value seems to
    stand."""
    judged = {}
    for circuit in block.circuits:
        forms, delays = block.forms(circuit), block.delays(circuit)
        wanted = block.wanted(circuit, window, forms, delays)
        flux = block.solved(circuit, before).flux
        response = block.in_time(circuit, window, currents, flux, wanted)
        earlier = None if window.repeats else response.earlier
        judged[circuit] = Judged(forms, delays, response.pickup, earlier)
    return judged
