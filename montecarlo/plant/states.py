"""States that last: the load that the zone carries. States are not events, they have no yearly
rate."""

from __future__ import annotations

from typing import Annotated

import numpy as np
from numpy.typing import ArrayLike

from montecarlo.plant.machine import phase_phasors
from montecarlo.quantities import Complex, Distribution, Plain, Quantity, Section, number, word


class States(Section):
    """What lasts beside the load of [load]. On load and overload no candidate may operate; an open
    CT circuit is reported by itself."""

    breaker_open_share: Annotated[
        float,
        Plain(
            "-",
            "share of internal faults with the machine excited and its breaker open: no load, no"
            " infeed, no capacitance outside the zone",
            0.0,
            1.0,
        ),
    ] = 0.0
    overload_current_pu: (
        Annotated[
            Distribution,
            Quantity(
                "pu",
                "current of a heavy load that lasts, over rated machine current",
                0.0,
                high=5.0,
                varies="event",
            ),
        ]
        | None
    ) = None
    overload_power_factor: Annotated[
        Distribution, Quantity("-", "its power factor, lagging", 0.0, high=1.0, varies="event")
    ] = number(0.9)
    open_ct_circuit_per_year: (
        Annotated[
            Distribution,
            Quantity(
                "1/year",
                "one open CT circuit under load, of any of the scheme's CTs",
                0.0,
                high=1e3,
            ),
        ]
        | None
    ) = None
    open_ct_circuit_counts: Annotated[
        bool, word("whether an open CT circuit counts as an external event of p_false")
    ] = False


def load_phasor(current: ArrayLike, power_factor: ArrayLike) -> Complex:
    """Load current of L1 against the terminal voltage of L1 at angle 0, in the unit of `current`.

    Parameters
    ----------
    current : array_like
    power_factor : array_like (-)
        Lagging.

    Returns
    -------
    complex array
    """
    factor = np.asarray(power_factor, float)
    return np.asarray(np.asarray(current) * (factor - 1j * np.sqrt(1 - factor**2)))


def load_currents(
    current_pu: ArrayLike, power_factor: ArrayLike, rated_current_a: ArrayLike
) -> Complex:
    """Primary current at the six CTs under balanced load, both ends equal. [A]

    The angle counts from the terminal voltage of L1; beside an internal fault that voltage is taken
    to stand at the angle of the EMF (the load angle behind X''d is left out: it turns the error
    current that load adds, not its size).

    Parameters
    ----------
    current_pu : array_like (pu)
        Over rated current.
    power_factor : array_like (-)
        Lagging.
    rated_current_a : array_like (A)

    Returns
    -------
    (..., 6) complex array (A)
    """
    ends = phase_phasors(
        load_phasor(np.asarray(current_pu) * np.asarray(rated_current_a), power_factor)
    )
    return np.concatenate((ends, ends), axis=-1)
