"""Schemes are data: which CT drives which leg, what resistance the leg has, which element watches it."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import field_validator

from montecarlo.quantities import Distribution, Quantity, Section

Phase = Literal["L1", "L2", "L3"]
PHASES: tuple[Phase, ...] = ("L1", "L2", "L3")
SchemeKind = Literal["per_phase", "two_phase_one_earth"]


class SchemeChoice(Section):
    """The table [scheme]: one kind, or a list of kinds that are compared on the same sampled events."""

    kind: SchemeKind | list[SchemeKind]
    watched_phases: tuple[Phase, Phase] = ("L1", "L3")
    balancing_resistance_ohm: Annotated[Distribution, Quantity(
        "ohm", "in the leg without a phase element; equals the phase burden unless given", 0.0)] | None = None

    @field_validator("watched_phases")
    @classmethod
    def _two_different(cls, value: tuple[Phase, Phase]) -> tuple[Phase, Phase]:
        if value[0] == value[1]:
            raise ValueError(f"{value[0]} is named twice; name two different phases")
        return value

    @property
    def kinds(self) -> tuple[SchemeKind, ...]:
        return tuple(self.kind) if isinstance(self.kind, list) else (self.kind,)
