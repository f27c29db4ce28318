"""What can be worked out at a desk before anything is sampled: the study with every input at its
centre."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from montecarlo.formulas import handcalc
from montecarlo.plant.events.base import Event
from montecarlo.quantities import Array
from montecarlo.relays.places import (
    ENDS,
    GROUP_OF,
    NEUTRAL_CONDUCTOR,
    OF_BRANCHES,
    carried,
)
from montecarlo.relays.schemes import Axis, Scheme
from montecarlo.secondary import steady
from montecarlo.secondary.circuit import at_places, take
from montecarlo.secondary.excitation import loop_rms
from montecarlo.study.candidates import Lattice
from montecarlo.study.circuits import Circuit, bias_form, chain_of, measurement, scheme_of
from montecarlo.study.nominal import Nominal

# of the winding, where the largest earth fault is looked for
ALONG = np.linspace(0.05, 1.0, 20)
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
        """Whether there is enough."""
        return self.has >= self.needed

    def __str__(self) -> str:
        needed, has = (f"{value:.4g} {self.unit}" for value in (self.needed, self.has))
        return f"{self.what}: {needed} needed, {has} set"


class Desk(Nominal):
    """The nominal point as the hand calculation takes it."""

    @property
    def turns(self) -> float:
        """Primary amperes to one in a leg."""
        return self.study.ct.stating.leg_ratio

    def bases(
        self, secondary_a: float, turns: float | None = None
    ) -> tuple[float, float, float, float]:
        """A setting in four bases.

        Parameters
        ----------
        secondary_a : float
            (A).
        turns : float, optional
            Primary amperes to one in a leg, where they are not those of the ends (-).

        Returns
        -------
        tuple of float
            A secondary, A primary, per cent of the relay's rated current, pu of the machine's
            current.
        """
        primary = secondary_a * (self.turns if turns is None else turns)
        return (
            secondary_a,
            primary,
            100 * secondary_a / self.study.relay.rated_current_a,
            primary / self.study.machine.rated_current_a,
        )

    def unprotected(self, pickup_a: float) -> float:
        """Part of the winding that a bolted earth fault leaves below a pick-up, by I N R / E.

        Parameters
        ----------
        pickup_a : float
            (A).

        Returns
        -------
        float
            1 or more: all of it.
        """
        primary_a = pickup_a * self.turns
        return float(handcalc.unprotected_fraction(primary_a, self.neutral_ohm, self.emf_v))

    def turns_of(self, kind: str, axis: Axis) -> float:
        """The same of a scheme's phase or earth elements.

        Parameters
        ----------
        kind : str
        axis : str
            "phase" or "earth".

        Returns
        -------
        float
        """
        if not self.between_groups(kind, axis):
            return self.turns
        return self.study.ct.at(self.driving(kind, axis)[0]).leg_ratio

    def between_groups(self, kind: str, axis: Axis) -> bool:
        """Whether a scheme has phase or earth elements, and these compare groups of branches.

        Parameters
        ----------
        kind : str
        axis : str
            "phase" or "earth".

        Returns
        -------
        bool
        """
        if not self.scheme(kind).of(axis):
            return False
        return any(group in OF_BRANCHES for group in self.driving(kind, axis))

    def between_ends(self, axis: Axis) -> bool:
        """Whether phase or earth elements of any scheme compare something else than groups of
        branches.

        Parameters
        ----------
        axis : str
            "phase" or "earth".

        Returns
        -------
        bool
        """
        return any(
            self.scheme(kind).of(axis) and not self.between_groups(kind, axis)
            for kind in self.study.scheme.kinds
        )

    @property
    def fault_a(self) -> float:
        """i_f, the largest through fault in a leg, RMS. [A]"""
        return self.through_fault().primary_a / self.turns

    @property
    def knee_v(self) -> float:
        """Lowest knee voltage of the two ends' CTs. [V]"""
        return self.knee_of(ENDS)

    def ct_ohm_of(self, groups: Sequence[str]) -> tuple[float, float]:
        """Winding and one-way lead of the table of [ct] with more of both together. [ohm]

        Parameters
        ----------
        groups : sequence of str

        Returns
        -------
        (float, float)
            (ohm).
        """
        cts = [self.study.ct.at(group).seen_from_legs for group in groups]
        each = [(ct.winding_resistance_ohm.centre(), ct.lead_resistance_ohm.centre()) for ct in cts]
        return max(each, key=sum)

    def series_ohm(self, groups: Sequence[str]) -> float:
        """Winding and what of the leads is the CT's own, the most of some tables of [ct]. [ohm]

        The loop of six-wire leads and in the neutral conductor, one way otherwise.

        Parameters
        ----------
        groups : sequence of str

        Returns
        -------
        float
        """
        six_wire, ohms = self.study.scheme.leads == "six_wire", []
        for group in groups:
            winding, lead = self.ct_ohm_of([group])
            ohms.append(winding + (1 + (six_wire or group == NEUTRAL_CONDUCTOR)) * lead)
        return max(ohms)

    def burden_ohm(self, axis: Axis, pickup_a: float) -> float:
        """Burden of an element at its setting. [ohm]

        Parameters
        ----------
        axis : str
            "phase" or "earth".
        pickup_a : float
            (A).

        Returns
        -------
        float
        """
        if getattr(self.study.relay, f"{axis}_burden_va") is None:
            return self.at(f"relay.{axis}_burden_ohm")
        return self.at(f"relay.{axis}_burden_va") / pickup_a**2

    def resistor_a(self, circuit: Circuit, axis: Axis, pickup_a: float) -> float:
        """I_v, what a non-linear resistor takes beside an element at its pick-up, RMS; 0 without
        one. [A]

        Parameters
        ----------
        circuit : Circuit
            At this pick-up.
        axis : str
            "phase" or "earth".
        pickup_a : float
            (A).

        Returns
        -------
        float
        """
        first = self.scheme(circuit.scheme).of(axis)[0]
        return float(pickup_a / self.shares(circuit)[first] - pickup_a)

    def exciting_a(self, volts: float, groups: Sequence[str] = ENDS) -> float:
        """RMS exciting current of one CT, mean of some tables of [ct]; NaN well above the knee. [A]

        Parameters
        ----------
        volts : float
            RMS (V).
        groups : sequence of str

        Returns
        -------
        float
        """
        found = []
        for group in groups:
            ct = self.study.ct.at(group).seen_from_legs
            share, shape = volts / ct.knee_voltage_v.centre(), ct.curve(ct.ankle_ratio.centre())
            current = np.nan
            if share <= FLUX_MOST:
                current = float(loop_rms(shape, share, ct.saturation_exponent))
            found.append(ct.knee_current_a.centre() * current)
        return float(np.mean(found))

    def scheme(self, kind: str) -> Scheme:
        """A scheme of the study.

        Parameters
        ----------
        kind : str

        Returns
        -------
        Scheme
        """
        return scheme_of(self.study, kind)

    def driving(self, kind: str, axis: Axis) -> tuple[str, ...]:
        """The tables of [ct] whose CTs drive the leg of a scheme's phase or earth elements.

        Parameters
        ----------
        kind : str
        axis : str
            "phase" or "earth".

        Returns
        -------
        tuple of str
        """
        scheme = self.scheme(kind)
        columns = np.flatnonzero(scheme.table[scheme.elements[scheme.of(axis)[0]].leg])
        return tuple(dict.fromkeys(GROUP_OF[scheme.places[column]] for column in columns))

    def biased(self, kind: str, axis: Axis) -> bool:
        """Whether a scheme's phase or earth elements have a bias.

        Parameters
        ----------
        kind : str
        axis : str
            "phase" or "earth".

        Returns
        -------
        bool
        """
        scheme = self.scheme(kind)
        return any(scheme.elements[k].bias for k in scheme.of(axis))

    def compared_a(self, lattice: Lattice, axis: Axis, primary_a: NDArray[np.complex128]) -> Array:
        """What the phase or the earth elements compare with their pick-up under lasting currents,
        by phasors with the CTs' excitation: the current of the leg, less the bias where there is
        one. [A]

        Parameters
        ----------
        lattice : Lattice
        axis : str
            "phase" or "earth".
        primary_a : complex ndarray, (n, 6 or 9)
            At the ends, then what the groups of branches differ by, RMS (A).

        Returns
        -------
        ndarray, (n, elements)
        """
        study, scheme, same = self.study, self.scheme(lattice.scheme), np.zeros(len(primary_a), int)
        solved = steady.solve(
            scheme.table,
            self.ohms(lattice.circuit)[None][same],
            take(at_places(self.bank, scheme.places), same),
            carried(primary_a, scheme.places),
            study.machine.omega,
        )
        form = bias_form(study, lattice.bias_of(axis), axis)
        wanted = measurement(study, scheme, (form,), chain=chain_of(study, self.samples))
        numbers = list(scheme.of(axis))
        return solved.quantities(wanted)[:, numbers, 0] * self.shares(lattice.circuit)[numbers]

    def by_hand(self, event: Event) -> tuple[float, str] | None:
        """AC component of an event's first cycle at the worst that can be drawn, RMS [pu], and the
        sum that gives it.

        Parameters
        ----------
        event : Event

        Returns
        -------
        (float, str) or None
            None where no hand formula holds.
        """
        return event.by_hand({key: self.at(key) for key in self.samples})

    def through_fault(self) -> ThroughFault:
        """The largest of the listed events that have a hand formula, each at the worst that can be
        drawn; without one a fault at the terminals.

        Returns
        -------
        ThroughFault
        """
        rated = self.study.machine.rated_current_a
        events = [(event.name, self.by_hand(event)) for event in self.study.external_events]
        found = [(name, *by_hand) for name, by_hand in events if by_hand is not None]
        if not found:
            emf = self.at("machine.voltage_factor")
            own = self.at("machine.subtransient_reactance_pu")
            name = "none of the listed, a fault at the terminals"
            found = [(name, emf / own, f"{emf:g} / {own:g}")]
        name, current, formula = max(found, key=lambda item: item[1])
        return ThroughFault(name, rated * current, f"{formula} x {rated:.4g} A")


def outermost(values: tuple[Item, ...]) -> tuple[Item, ...]:
    """The first and the last, the finest and the coarsest of a grid.

    Parameters
    ----------
    values : tuple

    Returns
    -------
    tuple
        At most two.
    """
    return tuple(dict.fromkeys((values[0], values[-1]))) if values else ()
