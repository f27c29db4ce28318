"""How long an earth fault lasts, and the heat that it leaves in the fault and in the neutral's
resistor.

The current stands until the breaker has opened and the field is off; then the machine goes on
feeding the fault while its EMF dies away, so that with R in the current's path

    W = R (I^2 (t_element + t_breaker) + I_after^2 T_f / 2)

I the current while the breaker is closed, I_after that of the machine alone as it opens, T_f the
decay of the EMF; the integral of I_after^2 exp(-2t/T_f) is I_after^2 T_f / 2 (derived). Common
practice takes one current for both; the two differ by what the network returns to the fault (other
earthed neutrals, capacitance outside). Reach: fundamental, no first-cycle transient, an arc as a
constant resistance."""

from __future__ import annotations

from typing import Annotated

from montecarlo.quantities import Distribution, Quantity, Section


class FaultEnergy(Section):
    """How long an earth fault lasts beyond the element's own time."""

    breaker_time_s: Annotated[
        Distribution,
        Quantity(
            "s",
            "from the trip until the breaker is open and the field is off",
            0.0,
            high=10.0,
            varies="event",
        ),
    ]
    field_decay_time_constant_s: Annotated[
        Distribution,
        Quantity(
            "s",
            "decay of the EMF after that: of the order of T'do, or as the field suppression makes"
            " it",
            0.0,
            high=60.0,
        ),
    ]
    undetected_time_s: Annotated[
        Distribution,
        Quantity(
            "s",
            "from inception until a fault is tripped on which no element operates, back-up"
            " included",
            0.0,
            high=1e6,
            varies="event",
        ),
    ]
