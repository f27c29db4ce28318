"""The relay: burdens, measured quantity, pick-up error, setting range and step."""

from __future__ import annotations

from typing import Annotated, Literal

from montecarlo.quantities import Distribution, Meaning, Plain, Quantity, Section, number, word
from montecarlo.relays.chain import Chain


class Relay(Section):
    """One relay family for all elements of a scheme."""

    rated_current_a: Annotated[
        float, Plain("A", "rated current, the base of settings in per cent", 0.01, 20.0)
    ] = 1.0
    measure: Annotated[
        Literal["rms", "fundamental", "peak"],
        word("measured over one cycle: rms (true RMS), fundamental, or peak (over root two)"),
    ] = "rms"
    step_a: Annotated[float, Plain("A", "smallest setting step, secondary", 1e-6, 10.0)] | None = (
        None
    )
    range_a: Annotated[
        tuple[float, float] | None,
        Meaning("A", "smallest and largest pick-up that can be set, secondary"),
    ] = None
    phase_burden_ohm: Annotated[
        Distribution, Quantity("ohm", "burden of one phase element", 0.0, usual=(0.0, 1e4))
    ] = number(0.0)
    earth_burden_ohm: Annotated[
        Distribution, Quantity("ohm", "burden of the earth element", 0.0, usual=(0.0, 1e4))
    ] = number(0.0)
    phase_burden_va: (
        Annotated[
            Distribution,
            Quantity(
                "VA",
                "instead: burden of one phase element at its setting; the ohms then depend on the"
                " setting",
                0.0,
                usual=(0.0, 100.0),
            ),
        ]
        | None
    ) = None
    earth_burden_va: (
        Annotated[
            Distribution,
            Quantity(
                "VA", "instead: burden of the earth element at its setting", 0.0, usual=(0.0, 100.0)
            ),
        ]
        | None
    ) = None
    drop_off_ratio: Annotated[
        float,
        Plain("-", "drop-off current over pick-up", 0.1, 1.0),
    ] = 1.0
    over_travel_s: Annotated[
        float,
        Plain("s", "over-travel of a moving element after the current has ended", 0.0, 1.0),
    ] = 0.0
    pickup_error_percent: Annotated[
        Distribution,
        Quantity(
            "%", "deviation of an element's pick-up from its setting", -50.0, 50.0, width="element"
        ),
    ] = number(0.0)
    chain: Annotated[
        Chain | None,
        word("how currents become what is measured; none: as they are, over one whole cycle"),
    ] = None
