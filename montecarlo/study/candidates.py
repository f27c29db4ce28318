"""Candidates: every combination of settings, grouped by the circuit that they share."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from montecarlo.relays.schemes import Scheme, SchemeKind, build_scheme
from montecarlo.study.description import Study


@dataclass(frozen=True)
class Setting:
    """One candidate. Pick-ups in secondary amperes; earth_pickup_a is None in a scheme without an earth element."""

    scheme: SchemeKind
    phase_pickup_a: float
    earth_pickup_a: float | None
    stabilising_resistance_ohm: float
    delay_s: float


@dataclass(frozen=True)
class Lattice:
    """Settings on one circuit (scheme and stabilising resistance): phase pick-ups x earth pick-ups x delays."""

    scheme: SchemeKind
    stabilising_resistance_ohm: float
    phase_pickup_a: tuple[float, ...]
    earth_pickup_a: tuple[float, ...]                      # empty: no earth element
    delay_s: tuple[float, ...]

    @property
    def circuit(self) -> tuple[SchemeKind, float]:
        return self.scheme, self.stabilising_resistance_ohm

    @property
    def shape(self) -> tuple[int, int, int]:
        return len(self.phase_pickup_a), max(len(self.earth_pickup_a), 1), len(self.delay_s)

    @property
    def earth_thresholds(self) -> tuple[float, ...]:
        """Earth pick-ups; infinite where there is no earth element."""
        return self.earth_pickup_a or (math.inf,)

    def settings(self) -> Iterator[Setting]:
        """In the order of an array of `shape`."""
        for phase in self.phase_pickup_a:
            for earth in self.earth_pickup_a or (None,):
                for delay in self.delay_s:
                    yield Setting(self.scheme, phase, earth, self.stabilising_resistance_ohm, delay)


def present_setting(study: Study) -> Setting | None:
    """The setting in service, if the study names one."""
    present = study.candidates.present
    if present is None:
        return None
    kind = next(k for k in study.scheme.kinds if present.scheme in (None, k))
    assert present.phase_pickup_a is not None              # the door has checked it
    earth = present.earth_pickup_a if has_earth_element(kind) else None
    return Setting(kind, present.phase_pickup_a, earth, present.stabilising_resistance_ohm, present.delay_s)


def has_earth_element(kind: SchemeKind) -> bool:
    return build_scheme(kind).earth_leg is not None


def scheme_of(study: Study, kind: SchemeKind) -> Scheme:
    return build_scheme(kind, study.scheme.watched_phases)


def lattices_of(*settings: Setting) -> tuple[Lattice, ...]:
    """One-candidate lattices, for a fresh batch or a setting off the study's grid."""
    return tuple(Lattice(s.scheme, s.stabilising_resistance_ohm, (s.phase_pickup_a,),
                      () if s.earth_pickup_a is None else (s.earth_pickup_a,), (s.delay_s,)) for s in settings)


def candidate_lattices(study: Study) -> tuple[Lattice, ...]:
    """All candidates; the present setting comes last, in a lattice of its own, unless it is one of them."""
    wanted = study.candidates
    lattices = tuple(
        Lattice(kind, ohm, wanted.phase_pickup_a, wanted.earth_pickup_a if has_earth_element(kind) else (),
                wanted.delay_s)
        for kind in study.scheme.kinds for ohm in wanted.stabilising_resistance_ohm)
    present = present_setting(study)
    if present is None or any(present == setting for lattice in lattices for setting in lattice.settings()):
        return lattices
    return (*lattices, *lattices_of(present))
