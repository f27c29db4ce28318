"""Faults inside the zone, as phasors: what each of the six CTs carries."""

from __future__ import annotations

from typing import Annotated

from pydantic import field_validator

from montecarlo.quantities import Distribution, Plain, Quantity, Section, number

UNIFORM_POSITION = Distribution("uniform", {"low": 0.0, "high": 1.0}, source="assumed: uniform along the winding")


class Shares(Section):
    """Share of each fault type among internal faults; they sum to 1."""

    earth: Annotated[float, Plain("-", "one phase to earth", 0.0, 1.0)] = 0.0
    phase_phase: Annotated[float, Plain("-", "two phases", 0.0, 1.0)] = 0.0
    phase_phase_earth: Annotated[float, Plain("-", "two phases and earth", 0.0, 1.0)] = 0.0
    three_phase: Annotated[float, Plain("-", "three phases", 0.0, 1.0)] = 0.0
    inter_turn: Annotated[float, Plain("-", "between turns of one phase: outside the scheme's reach", 0.0, 1.0)] = 0.0


class InternalFaults(Section):
    """How often, where, through what resistance, and how long an element may take."""

    per_year: Annotated[Distribution, Quantity("1/year", "internal faults a machine-year", 0.0, high=100.0)]
    shares: Shares
    allowed_time_s: Annotated[float, Plain("s", "time from inception within which an element must operate",
                                           0.02, 60.0)] = 0.5
    position: Annotated[Distribution, Quantity(
        "-", "place along the winding from the neutral", 0.0, high=1.0, varies="event")] = UNIFORM_POSITION
    earth_fault_resistance_ohm: Annotated[Distribution, Quantity(
        "ohm", "resistance of a fault to earth", 0.0, varies="event")] = number(0.0)
    phase_fault_resistance_ohm: Annotated[Distribution, Quantity(
        "ohm", "resistance of a fault between phases", 0.0, varies="event")] = number(0.0)

    @field_validator("shares")
    @classmethod
    def _sum_to_one(cls, shares: Shares) -> Shares:
        total = sum(shares.model_dump().values())
        if not abs(total - 1) <= 1e-6:
            raise ValueError(f"the shares sum to {total:g}; they must sum to 1")
        return shares
