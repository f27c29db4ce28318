"""Events outside the zone, as waveforms of the primary current through both ends."""

from __future__ import annotations

from typing import Annotated, Literal

from montecarlo.quantities import Distribution, Plain, Quantity, Section, number


class ExternalEvent(Section):
    """A fault outside the zone. Its `name` keys its random numbers: another event leaves them as they are."""

    name: str
    kind: Literal["three_phase", "phase_phase"]
    per_year: Annotated[Distribution, Quantity("1/year", "such events a year", 0.0, high=1e4)]
    external_reactance_pu: Annotated[Distribution, Quantity(
        "pu", "between the terminals and the fault, on the machine's rating", 0.0, high=100.0, varies="event")]
    external_resistance_pu: Annotated[Distribution, Quantity(
        "pu", "between the terminals and the fault", 0.0, high=100.0, varies="event")] = number(0.0)
    clearing_time_s: Annotated[Distribution, Quantity(
        "s", "from inception to the opening of the contacts", 0.0, high=5.0, above=True, varies="event")]
    run_on_s: Annotated[float, Plain("s", "simulated after clearing, for the elements to reset", 0.0, 5.0)] = 0.04
