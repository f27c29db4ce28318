"""What can be worked out at a desk before anything is sampled: the study with every input at its
centre."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from montecarlo.estimates.knee_rule import centres
from montecarlo.plant import earthing, internal, machine
from montecarlo.quantities import Array
from montecarlo.relays.places import CHANNELS, GROUP_OF, NEUTRAL_CONDUCTOR, carried
from montecarlo.relays.schemes import Axis, Scheme
from montecarlo.secondary import steady
from montecarlo.secondary.circuit import at_places, take
from montecarlo.secondary.ct import ENDS
from montecarlo.secondary.excitation import loop_rms
from montecarlo.study.candidates import Lattice
from montecarlo.study.circuits import Circuit, bank_of, bias_form, leg_ohm, measurement, scheme_of
from montecarlo.study.description import Study

__all__ = ["PLACES", "Desk", "HandRule", "ThroughFault"]

# of the winding, where the largest earth fault is looked for
PLACES = np.linspace(0.05, 1.0, 20)
FLUX_MOST = 1.3  # of the knee: beyond, the exciting current means nothing
Item = TypeVar("Item")


@dataclass(frozen=True)
class ThroughFault:
    """The first cycle of a through fault, RMS, and the sum that gives it."""

    event: str
    primary_a: float
    formula: str


@dataclass(frozen=True)
class HandRule:
    """What a rule of the hand calculation asks for, at least, and what there is."""

    what: str
    needed: float
    has: float
    unit: str
    axis: Axis | None = None  # of which elements; None: of the CTs

    @property
    def met(self) -> bool:
        return self.has >= self.needed

    def __str__(self) -> str:
        needed, has = (f"{value:.4g} {self.unit}" for value in (self.needed, self.has))
        return f"{self.what}: {needed} needed, {has} there"


@dataclass(frozen=True, eq=False)
class Desk:
    """A study with every input at its centre (median)."""

    study: Study

    @cached_property
    def centre(self) -> dict[str, Array]:
        """One sample of every input: (1,) or one value a CT or element, (1, 6) or (1, 4)."""
        return centres(self.study)

    def at(self, key: str) -> float:
        return float(self.centre[key].ravel()[0])

    @property
    def turns(self) -> float:
        """Primary amperes to one in a leg."""
        return self.study.ct.at("line_end").leg_ratio

    def bases(self, secondary_a: float) -> tuple[float, float, float, float]:
        """A setting in A secondary, A primary, per cent of the relay's rated current, pu of the
        machine's current."""
        primary = secondary_a * self.turns
        return (
            secondary_a,
            primary,
            100 * secondary_a / self.study.relay.rated_current_a,
            primary / self.study.machine.rated_current_a,
        )

    @property
    def emf_v(self) -> float:
        return self.study.machine.phase_voltage_v * self.at("machine.voltage_factor")

    @property
    def own_neutral_ohm(self) -> NDArray[Any]:
        """The machine's own neutral, complex with a transformer's reactance. (1,) [ohm]"""
        return earthing.neutral_ohm(
            self.study.earthing, self.centre, self.study.machine.phase_voltage_v
        )

    @property
    def neutral_ohm(self) -> float:
        """All earthed neutrals in parallel, magnitude. [ohm]"""
        other = self.study.earthing.other_neutrals_ohm
        return float(
            abs(1 / (1 / self.own_neutral_ohm[0] + (0.0 if other is None else 1 / other.centre())))
        )

    @property
    def knee_v(self) -> float:
        return self.knee_of(ENDS)

    def knee_of(self, groups: Sequence[str]) -> float:
        """Lowest knee voltage of some tables of [ct]. [V]"""
        return self.study.ct.weakest(groups).knee_voltage_v.centre()

    @property
    def ct_ohm(self) -> tuple[float, float]:
        return self.ct_ohm_of(ENDS)

    def ct_ohm_of(self, groups: Sequence[str]) -> tuple[float, float]:
        """Winding and one-way lead of the table of [ct] with more of both together. [ohm]"""
        cts = [self.study.ct.at(group).seen_from_legs for group in groups]
        return max(
            ((ct.winding_resistance_ohm.centre(), ct.lead_resistance_ohm.centre()) for ct in cts),
            key=sum,
        )

    def series_ohm(self, groups: Sequence[str]) -> float:
        """Winding and what of the leads is the CT's own: the loop of six-wire pilots and in the
        neutral conductor, one way otherwise; the most of some tables of [ct]. [ohm]"""

        def of(group: str) -> float:
            loop = self.study.scheme.pilots == "six_wire" or group == NEUTRAL_CONDUCTOR
            winding, lead = self.ct_ohm_of([group])
            return winding + (2 if loop else 1) * lead

        return max(map(of, groups))

    def burden_ohm(self, axis: Axis, pickup_a: float) -> float:
        """Burden of an element at its setting. [ohm]"""
        given = getattr(self.study.relay, f"{axis}_burden_va")
        return (
            self.at(f"relay.{axis}_burden_ohm")
            if given is None
            else float(given.centre()) / pickup_a**2
        )

    def exciting_a(self, volts: float, groups: Sequence[str] = ENDS) -> float:
        """RMS exciting current of one CT, mean of some tables of [ct]; NaN well above the knee.
        [A]"""
        return float(np.mean([self._exciting_a(group, volts) for group in groups]))

    def _exciting_a(self, end: str, volts: float) -> float:
        ct = self.study.ct.at(end).seen_from_legs
        share = volts / ct.knee_voltage_v.centre()
        if share > FLUX_MOST:
            return np.nan
        shape = ct.curve(ct.ankle_ratio.centre())
        return float(ct.knee_current_a.centre() * loop_rms(shape, share, ct.saturation_exponent))

    def scheme(self, kind: str) -> Scheme:
        return scheme_of(self.study, kind)

    def driving(self, kind: str, axis: Axis) -> tuple[str, ...]:
        """The tables of [ct] whose CTs drive the leg of a scheme's phase or earth elements."""
        scheme = self.scheme(kind)
        columns = np.flatnonzero(scheme.table[scheme.elements[scheme.of(axis)[0]].leg])
        return tuple(dict.fromkeys(GROUP_OF[scheme.places[column]] for column in columns))

    def biased(self, kind: str, axis: Axis) -> bool:
        scheme = self.scheme(kind)
        return any(scheme.elements[k].bias for k in scheme.of(axis))

    def ohms(self, circuit: Circuit) -> Array:
        """Resistance of every leg, (legs,). [ohm]"""
        return np.asarray(leg_ohm(self.study, circuit, self.centre)[0])

    def compared_a(self, lattice: Lattice, axis: Axis, primary_a: NDArray[np.complex128]) -> Array:
        """What the phase or the earth elements compare with their pick-up under lasting currents
        (n, 6), by phasors with the CTs' excitation: the current of the leg, less the bias where
        there is one. (n, elements) [A]"""
        study, scheme, same = self.study, self.scheme(lattice.scheme), np.zeros(len(primary_a), int)
        bank = at_places(bank_of(study, self.centre), scheme.places)
        solved = steady.solve(
            scheme.table,
            self.ohms(lattice.circuit)[None][same],
            take(bank, same),
            carried(primary_a, scheme.places),
            study.machine.omega,
        )
        wanted = measurement(study, scheme, (bias_form(study, lattice.bias),))
        return solved.quantities(wanted)[:, list(scheme.of(axis)), 0]

    def earth_faults(self) -> internal.EarthFault:
        """Bolted earth faults of each phase at `PLACES`, nothing else flowing: (3, places)."""
        study, at = self.study, self.at
        reactances = (
            at(f"machine.{name}_reactance_pu")
            for name in ("subtransient", "negative_sequence", "zero_sequence")
        )
        ohm = (
            float(machine.earth_fault_reactance_pu(*reactances)) * study.machine.base_impedance_ohm
        )
        winding = machine.winding_impedance(
            PLACES, at("machine.winding_resistance_ohm"), ohm, study.machine.winding_exponent
        )
        other, network = study.earthing.other_neutrals_ohm, study.network.reactance_pu
        return internal.earth_fault(
            PLACES,
            np.arange(3)[:, None],
            self.emf_v,
            winding,
            0.0,
            internal.EarthReturn(
                neutral_ohm=self.own_neutral_ohm,
                other_neutrals_ohm=np.inf if other is None else other.centre(),
                stator_capacitance_f=at("machine.stator_capacitance_f"),
                terminal_capacitance_f=at("machine.terminal_capacitance_f"),
                external_capacitance_f=at("network.external_capacitance_f"),
                omega=study.machine.omega,
                infeed_share=machine.infeed_share(
                    at("machine.subtransient_reactance_pu"),
                    at("machine.negative_sequence_reactance_pu"),
                    np.inf if network is None else network.centre(),
                ),
            ),
        )

    def operating_a(self, lattice: Lattice, axis: Axis, setting_a: float, most_a: float) -> float:
        """Primary current that just operates the first element, by phasors: an earth fault fed from
        the neutral for the earth element, a fault between two phases for a phase element. NaN above
        `most_a`. [A]"""
        scheme = self.scheme(lattice.scheme)
        leg = scheme.elements[scheme.of(axis)[0]].leg
        one = int(CHANNELS[scheme.places[int(np.flatnonzero(scheme.table[leg])[0])]]) % 3
        current = np.linspace(0.5 * self.turns * setting_a, most_a, 400)
        primary = np.zeros((current.size, 6), complex)
        primary[:, one] = current
        if axis == "phase":
            primary[:, (one + 1) % 3] = -current
        compared = self.compared_a(lattice, axis, primary)[:, 0]
        return float(np.interp(setting_a, np.maximum.accumulate(compared), current, right=np.nan))

    def through_fault(self) -> ThroughFault:
        """The largest of the listed events that have a hand formula, each at the worst that can be
        drawn; without one a fault at the terminals."""
        rated, centre = (
            self.study.machine.rated_current_a,
            {key: float(row.ravel()[0]) for key, row in self.centre.items()},
        )
        found = [
            (event.name, by_hand)
            for event in self.study.external_events
            if (by_hand := event.by_hand(centre)) is not None
        ]
        if not found:
            emf, own = (
                self.at("machine.voltage_factor"),
                self.at("machine.subtransient_reactance_pu"),
            )
            found = [
                ("none of the listed, a fault at the terminals", (emf / own, f"{emf:g} / {own:g}"))
            ]
        name, (current, formula) = max(found, key=lambda item: item[1][0])
        return ThroughFault(name, rated * current, f"{formula} x {rated:.4g} A")

    def capacitance_f(self) -> float:
        """C_s + C_z + C_e of one phase. [F]"""
        return (
            self.at("machine.stator_capacitance_f")
            + self.at("machine.terminal_capacitance_f")
            + self.at("network.external_capacitance_f")
        )


def outermost(values: tuple[Item, ...]) -> tuple[Item, ...]:
    """The first and the last, the finest and the coarsest of a grid."""
    return tuple(dict.fromkeys((values[0], values[-1]))) if values else ()
