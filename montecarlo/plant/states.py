"""States that last: the load that the zone carries. States are not events, they have no yearly rate."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from montecarlo.plant.machine import ComplexArray, phase_phasors


def load_phasor(current: ArrayLike, power_factor: ArrayLike) -> ComplexArray:
    """Load current of L1 against the terminal voltage of L1 at angle 0, lagging; in the unit of `current`."""
    factor = np.asarray(power_factor, float)
    return np.asarray(np.asarray(current) * (factor - 1j * np.sqrt(1 - factor**2)))


def load_currents(current_pu: ArrayLike, power_factor: ArrayLike, rated_current_a: ArrayLike) -> ComplexArray:
    """Primary current at the six CTs under balanced load. [A], (..., 6), both ends equal.

    `current_pu` over rated current, `power_factor` lagging; broadcasts. The angle counts from the terminal voltage
    of L1; beside an internal fault that voltage is taken to stand at the angle of the EMF (the load angle behind
    X''d is left out: it turns the error current that load adds, not its size)."""
    ends = phase_phasors(load_phasor(np.asarray(current_pu) * np.asarray(rated_current_a), power_factor))
    return np.concatenate((ends, ends), axis=-1)
