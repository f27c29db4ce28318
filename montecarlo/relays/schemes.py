"""Schemes are data: which CT drives which leg, what resistance the leg has, which element watches it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal

import numpy as np
from pydantic import field_validator

from montecarlo.quantities import Array, Distribution, Quantity, Section, number

Phase = Literal["L1", "L2", "L3"]
PHASES: tuple[Phase, ...] = ("L1", "L2", "L3")
SchemeKind = Literal["per_phase", "two_phase_one_earth"]


class SchemeChoice(Section):
    """The table [scheme]: one kind, or a list of kinds that are compared on the same sampled events."""

    kind: SchemeKind | list[SchemeKind]
    watched_phases: tuple[Phase, Phase] = ("L1", "L3")
    phase_stabilising_ohm: Annotated[Distribution, Quantity(
        "ohm", "fixed resistor in series with every phase element", 0.0)] = number(0.0)
    balancing_resistance_ohm: Annotated[Distribution, Quantity(
        "ohm", "the leg without a phase element; equals burden + resistor of a phase leg unless given", 0.0)
    ] | None = None

    @field_validator("watched_phases")
    @classmethod
    def _two_different(cls, value: tuple[Phase, Phase]) -> tuple[Phase, Phase]:
        if value[0] == value[1]:
            raise ValueError(f"{value[0]} is named twice; name two different phases")
        return value

    @property
    def kinds(self) -> tuple[SchemeKind, ...]:
        return tuple(self.kind) if isinstance(self.kind, list) else (self.kind,)


@dataclass(frozen=True, eq=False)
class Scheme:
    """Which CT drives which leg, and which legs have an element. CTs: neutral end L1..L3, line end L1..L3."""

    kind: SchemeKind
    legs: tuple[str, ...]
    table: Array                                           # (legs, 6) signs
    phase_legs: tuple[int, ...]                            # legs with a phase element
    earth_leg: int | None                                  # the leg with the earth element, if there is one

    @property
    def watch(self) -> tuple[int, ...]:
        """Legs with an element: the phase elements, then the earth element."""
        return self.phase_legs if self.earth_leg is None else (*self.phase_legs, self.earth_leg)

    @property
    def element_columns(self) -> tuple[int, ...]:
        """Column of each watched leg in per-element inputs (L1, L2, L3, earth)."""
        return tuple(3 if leg == self.earth_leg else leg for leg in self.watch)


_PHASE_ROWS = np.hstack([np.eye(3), -np.eye(3)])
_EARTH_ROW = np.array([[1.0, 1.0, 1.0, -1.0, -1.0, -1.0]])


def build_scheme(kind: SchemeKind, watched: tuple[Phase, Phase] = ("L1", "L3")) -> Scheme:
    """The scheme named in the study file."""
    if kind == "per_phase":
        return Scheme(kind, PHASES, _PHASE_ROWS, (0, 1, 2), None)
    phase_legs = tuple(sorted(PHASES.index(phase) for phase in watched))
    return Scheme(kind, (*PHASES, "earth"), np.vstack([_PHASE_ROWS, _EARTH_ROW]), phase_legs, 3)


def leg_resistances(scheme: Scheme, phase_ohm: Array, balancing_ohm: Array, earth_ohm: Array,
                    stabilising_ohm: float) -> Array:
    """Resistance of every leg (n, legs) [ohm] from those of its parts (n,): a phase leg, the leg without a phase
    element, the earth element. The candidate's stabilising resistance stands in the earth leg of a scheme that has
    an earth element, in each phase leg otherwise."""
    if scheme.earth_leg is None:
        return np.repeat((phase_ohm + stabilising_ohm)[:, None], 3, axis=1)
    legs = [phase_ohm if leg in scheme.phase_legs else balancing_ohm for leg in range(3)]
    return np.stack([*legs, earth_ohm + stabilising_ohm], axis=1)
