"""The relay: burdens, measured quantity, pick-up error, setting range and step."""

from __future__ import annotations

from typing import Annotated, Literal

from montecarlo.quantities import Distribution, Plain, Quantity, Section, number


class Relay(Section):
    """One relay family for all elements of a scheme."""

    rated_current_a: Annotated[float, Plain("A", "rated current, the base of settings in per cent", 0.0, 20.0,
                                            above=True)] = 1.0
    measure: Literal["rms", "fundamental"] = "rms"
    step_a: Annotated[float, Plain("A", "smallest setting step, secondary", 0.0, 10.0, above=True)] | None = None
    range_a: tuple[float, float] | None = None
    phase_burden_ohm: Annotated[Distribution, Quantity(
        "ohm", "burden of one phase element", 0.0, usual=(0.0, 1e4))] = number(0.0)
    earth_burden_ohm: Annotated[Distribution, Quantity(
        "ohm", "burden of the earth element", 0.0, usual=(0.0, 1e4))] = number(0.0)
    pickup_error_percent: Annotated[Distribution, Quantity(
        "%", "deviation of an element's pick-up from its setting", -50.0, 50.0, width="element")] = number(0.0)
