"""Earth faults row by row: what one candidate gets at the sampled place, and up to where each
candidate misses."""

from __future__ import annotations

import numpy as np

from montecarlo.engine.block import Block, thresholds
from montecarlo.engine.winding import Along, critical_places, pickups_at_place
from montecarlo.estimates.caught import missed_stretches
from montecarlo.quantities import Array
from montecarlo.relays.schemes import Axis

__all__ = ["at_sampled_place", "missed_parts"]


def missed_parts(block: Block, found: Along) -> Array:
    """From the neutral up to where each candidate operates: x* (n, C), 1 for a candidate that
    operates on the load, NaN where unresolved. Candidates lattice by lattice, as
    `Lattice.settings`."""
    parts = [
        missed_stretches(phase_x, earth_x, block.load_pickups(lattice), *thresholds(lattice))
        for lattice, phase_x, earth_x in critical_places(block, found, {})
    ]
    return np.concatenate(parts, axis=1)


def at_sampled_place(block: Block, found: Along) -> dict[Axis, Array]:
    """Critical pick-ups (n,) of the first lattice, which holds one candidate, by kind of
    element."""
    return {at.axis: values for at, values in pickups_at_place(block, block.job.lattices[0], found)}
