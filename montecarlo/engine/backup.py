"""What the back-up elements in the neutral do: on a lasting fault to earth, and on an external
event as it passes."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from montecarlo.engine import primary
from montecarlo.engine.samples import ChunkSamples
from montecarlo.engine.waves import external_neutral
from montecarlo.estimates.conditional import critical_position, winding_nodes
from montecarlo.quantities import Array
from montecarlo.relays.backup import Backup
from montecarlo.sampling.stratum import PHASE_PHASE_EARTH, Side
from montecarlo.secondary.transient import STEPS_PER_CYCLE

Flags = NDArray[np.bool_]
INTERVALS = 32  # of the winding


def critical_place(block: ChunkSamples) -> Array | None:
    """Up to where along the winding each sampled earth fault leaves every back-up element silent,
    (n,); None without a back-up. 1: it never operates.

    Parameters
    ----------
    block : ChunkSamples

    Returns
    -------
    (n,) array or None
    """
    if (needed := _least_a(block)) is None:
        return None
    nodes = winding_nodes(INTERVALS)
    fault = primary.earth_fault(block, nodes)
    carried = np.abs(fault.neutral_voltage_v / primary.neutral(block)[:, None])
    place, _ = critical_position(nodes, carried / needed[:, None], [1.0])
    return place[:, 0]


def operated(block: ChunkSamples) -> Array | None:
    """Whether the back-up operates on each sample of a counted type, (n,): 1, 0, NaN where the
    neutral's current is no finite number; None where there is no back-up or the type is clear of
    earth: then nothing flows in the neutral.

    Parameters
    ----------
    block : ChunkSamples

    Returns
    -------
    (n,) array or None
    """
    stratum, backup = block.stratum, block.study.backup
    if backup is None:
        return None
    if stratum == PHASE_PHASE_EARTH:  # the one counted internal type that touches earth
        lasting = np.abs(
            primary.phase_phase_earth(block).neutral_voltage_v / primary.neutral(block)
        )
        return np.where(np.isfinite(lasting), lasting > _least_a(block), np.nan)
    if stratum.side is not Side.EXTERNAL:
        return None
    current = external_neutral(block)
    if current is None:
        return None
    operates = operates_in_time(
        backup,
        operating_currents(block, backup),
        current,
        STEPS_PER_CYCLE,
        block.study.machine.frequency_hz,
    )
    return np.where(np.isfinite(current).all(axis=1), operates, np.nan)


def operating_currents(block: ChunkSamples, backup: Backup) -> dict[str, Array]:
    """Neutral current at which each element operates on the block's samples, (n,). [A]

    Parameters
    ----------
    block : ChunkSamples
    backup : Backup

    Returns
    -------
    dict of (n,) array (A)
    """
    return backup.operating_a(
        block.samples, primary.neutral(block), block.study.machine.phase_voltage_v
    )


def _least_a(block: ChunkSamples) -> Array | None:
    """Neutral current at which the first element operates on a lasting fault, (n,): the door has
    seen to it that every delay is within the allowed time. [A]"""
    backup = block.study.backup
    if backup is None:
        return None
    return np.asarray(np.min([*operating_currents(block, backup).values()], axis=0))


# --- as an event passes -------------------------------------------------------


def one_cycle_rms(current: Array, per_cycle: int) -> Array:
    """True RMS over the cycle that ends at each time.

    Parameters
    ----------
    current : (n, nt) array
        At equal steps.
    per_cycle : int

    Returns
    -------
    (n, nt - per_cycle + 1) array
    """
    sums = np.cumsum(np.pad(current**2, ((0, 0), (1, 0))), axis=1)
    return np.sqrt(np.maximum(sums[:, per_cycle:] - sums[:, :-per_cycle], 0.0) / per_cycle)


def held(above: Flags, hold: int) -> Flags:
    """Whether something is true for a delay of `hold` steps: at some `hold` + 1 times running.

    Parameters
    ----------
    above : (n, nt) array of bool
    hold : int

    Returns
    -------
    (n,) array of bool
    """
    if hold + 1 > above.shape[1]:
        return np.zeros(len(above), bool)
    count = np.cumsum(np.pad(above, ((0, 0), (1, 0))), axis=1)
    return np.asarray((count[:, hold + 1 :] - count[:, : -hold - 1] == hold + 1).any(axis=1))


def operates_in_time(
    backup: Backup,
    operating_a: dict[str, Array],
    current: Array,
    per_cycle: int,
    frequency_hz: float,
) -> Flags:
    """Whether any element operates on the neutral's current.

    One-cycle RMS above the operating value throughout the delay. A voltage element sees |Z_N| times
    the current: exact for a resistor, and for the fundamental.

    Parameters
    ----------
    backup : Backup
    operating_a : dict of (n,) array (A)
        By element.
    current : (n, nt) array (A)
    per_cycle : int
        Its samples a cycle.
    frequency_hz : float

    Returns
    -------
    (n,) array of bool
    """
    rms = one_cycle_rms(current, per_cycle)
    operates = np.zeros(len(current), bool)
    for name, element in backup.elements.items():
        operates |= held(
            rms > operating_a[name][:, None], round(element.delay_s * frequency_hz * per_cycle)
        )
    return operates
