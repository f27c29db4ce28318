"""What the back-up elements in the neutral do: on a lasting fault to earth, and on an external event as it passes."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from montecarlo.quantities import Array
from montecarlo.relays.backup import Backup

__all__ = ["held", "one_cycle_rms", "operates_in_time"]

Flags = NDArray[np.bool_]


def one_cycle_rms(current: Array, per_cycle: int) -> Array:
    """True RMS over the cycle that ends at each time; current (n, nt) at equal steps, (n, nt - per_cycle + 1)."""
    sums = np.cumsum(np.pad(current**2, ((0, 0), (1, 0))), axis=1)
    return np.sqrt(np.maximum(sums[:, per_cycle:] - sums[:, :-per_cycle], 0.0) / per_cycle)


def held(above: Flags, hold: int) -> Flags:
    """Whether (n, nt) is true at some `hold` + 1 times running, (n,): a delay of `hold` steps."""
    if hold + 1 > above.shape[1]:
        return np.zeros(len(above), bool)
    count = np.cumsum(np.pad(above, ((0, 0), (1, 0))), axis=1)
    return np.asarray((count[:, hold + 1:] - count[:, :-hold - 1] == hold + 1).any(axis=1))


def operates_in_time(backup: Backup, operating_a: dict[str, Array], current: Array, per_cycle: int,
                     frequency_hz: float) -> Flags:
    """Whether any element operates on the neutral's current (n, nt), sampled `per_cycle` times a cycle. (n,)

    One-cycle RMS above the operating value throughout the delay. A voltage element sees |Z_N| times the current:
    exact for a resistor, and for the fundamental."""
    rms = one_cycle_rms(current, per_cycle)
    operates = np.zeros(len(current), bool)
    for name, element in backup.elements.items():
        operates |= held(rms > operating_a[name][:, None], round(element.delay_s * frequency_hz * per_cycle))
    return operates
