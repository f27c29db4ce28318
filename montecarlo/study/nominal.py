"""The nominal point of a study: every input at its centre (median)."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from montecarlo.plant import internal, machine
from montecarlo.plant.earthing import neutral_ohm
from montecarlo.plant.events.base import Event, Scene
from montecarlo.quantities import Array
from montecarlo.relays.schemes import AXES, Axis
from montecarlo.sampling.inputs import list_inputs
from montecarlo.secondary.circuit import CtBank
from montecarlo.study.circuits import (
    Circuit,
    bank_of,
    branch_ohm,
    element_share,
    leg_ohm,
    scheme_of,
)
from montecarlo.study.description import Study


@dataclass(frozen=True, eq=False)
class Nominal:
    """A study with one value for every input: its centre, or what `changes` has under its key."""

    study: Study
    changes: Mapping[str, float] = field(default_factory=dict)

    @cached_property
    def samples(self) -> dict[str, Array]:
        """One sample of every input by key: (1,), or (1, 6) a CT and (1, 4) an element."""
        found = {}
        for item in list_inputs(self.study):
            shape = (1,) if item.width == 1 else (1, item.width)
            value = self.changes.get(item.key, item.distribution.centre())
            found[item.key] = np.full(shape, value)
        return found

    def at(self, key: str) -> float:
        """One input, the first of those that a CT or element has each.

        Parameters
        ----------
        key : str
            As in `list_inputs`.

        Returns
        -------
        float
            In the input's unit.
        """
        return float(self.samples[key].ravel()[0])

    # --- earthing and the winding ---------------------------------------------

    @property
    def emf_v(self) -> float:
        """Phase EMF before a fault, RMS. [V]"""
        return self.study.machine.phase_voltage_v * self.at("machine.voltage_factor")

    @property
    def own_neutral_ohm(self) -> complex:
        """Impedance of the machine's own neutral. [ohm]"""
        rated_v = self.study.machine.phase_voltage_v
        return complex(neutral_ohm(self.study.earthing, self.samples, rated_v)[0])

    @property
    def neutral_ohm(self) -> float:
        """All earthed neutrals in parallel, magnitude. [ohm]"""
        return abs(1 / (1 / self.own_neutral_ohm + 1 / self._other_neutrals_ohm))

    @property
    def largest_neutral_ohm(self) -> float:
        """The same; of hybrid earthing with the resistor's branch open. [ohm]"""
        if self.study.earthing.high_resistance_ohm is None:
            return self.neutral_ohm
        high = self.at("earthing.high_resistance_ohm")
        return abs(1 / (1 / high + 1 / self._other_neutrals_ohm))

    @property
    def _other_neutrals_ohm(self) -> float:
        if self.study.earthing.other_neutrals_ohm is None:
            return np.inf
        return self.at("earthing.other_neutrals_ohm")

    @property
    def network_pu(self) -> float:
        """Reactance of the network behind the breaker, infinite without one. [pu]"""
        if self.study.network.reactance_pu is None:
            return np.inf
        return self.at("network.reactance_pu")

    @property
    def zone_capacitance_f(self) -> float:
        """C_s + C_z of one phase, inside the zone. [F]"""
        return self.at("machine.stator_capacitance_f") + self.at("machine.terminal_capacitance_f")

    @property
    def capacitance_f(self) -> float:
        """C_s + C_z + C_e of one phase. [F]"""
        return self.zone_capacitance_f + self.at("network.external_capacitance_f")

    @cached_property
    def earth_return(self) -> internal.EarthReturn:
        """How an earth-fault current comes back."""
        return internal.EarthReturn(
            neutral_ohm=self.own_neutral_ohm,
            other_neutrals_ohm=self._other_neutrals_ohm,
            stator_capacitance_f=self.at("machine.stator_capacitance_f"),
            terminal_capacitance_f=self.at("machine.terminal_capacitance_f"),
            external_capacitance_f=self.at("network.external_capacitance_f"),
            omega=self.study.machine.omega,
            infeed_share=machine.infeed_share(
                self.at("machine.subtransient_reactance_pu"),
                self.at("machine.negative_sequence_reactance_pu"),
                self.network_pu,
            ),
        )

    def winding_ohm(self, reactance_pu: ArrayLike, place: ArrayLike = 1.0) -> Any:
        """Impedance of the winding between the neutral and a place. [ohm]

        Parameters
        ----------
        reactance_pu : array_like
            Of the whole winding, as the kind of fault has it (pu).
        place : array_like
            From the neutral, 0 ... 1.

        Returns
        -------
        complex ndarray
            Of the broadcast shape (ohm).
        """
        data = self.study.machine
        resistance = self.at("machine.winding_resistance_ohm")
        reactance = np.asarray(reactance_pu) * data.base_impedance_ohm
        return machine.winding_impedance(place, resistance, reactance, data.winding_exponent)

    def earth_loop_ohm(self, place: ArrayLike = 1.0) -> Any:
        """`winding_ohm` of an earth fault. [ohm]

        Parameters
        ----------
        place : array_like
            From the neutral, 0 ... 1.

        Returns
        -------
        complex ndarray
            Of the shape of `place` (ohm).
        """
        reactances = (
            self.at(f"machine.{name}_reactance_pu")
            for name in ("subtransient", "negative_sequence", "zero_sequence")
        )
        return self.winding_ohm(machine.earth_fault_reactance_pu(*reactances), place)

    def earth_faults(self, place: ArrayLike) -> internal.EarthFault:
        """Bolted earth faults of each phase, nothing else flowing.

        Parameters
        ----------
        place : array_like, (n,)
            From the neutral, 0 ... 1.

        Returns
        -------
        EarthFault
            (3, n), RMS (A, V).
        """
        phases = np.arange(3)[:, None]
        loop = self.earth_loop_ohm(place)
        return internal.earth_fault(place, phases, self.emf_v, loop, 0.0, self.earth_return)

    # --- the secondary circuit ------------------------------------------------

    @cached_property
    def bank(self) -> CtBank:
        """All CTs of the study's places, one sample."""
        return bank_of(self.study, self.samples)

    def ohms(self, circuit: Circuit) -> Array:
        """Resistance of every leg. [ohm]

        Parameters
        ----------
        circuit : Circuit

        Returns
        -------
        ndarray, (legs,)
        """
        return np.asarray(leg_ohm(self.study, circuit, self.samples)[0])

    def branch_ohms(self, circuit: Circuit) -> Array:
        """The same without a non-linear resistor. [ohm]

        Parameters
        ----------
        circuit : Circuit

        Returns
        -------
        ndarray, (legs,)
        """
        scheme = scheme_of(self.study, circuit.scheme)
        return np.asarray(branch_ohm(self.study, circuit, self.samples, scheme)[0])

    def shares(self, circuit: Circuit) -> Array:
        """What of its leg's current each element gets at its pick-up; 1 without a non-linear
        resistor. [-]

        Parameters
        ----------
        circuit : Circuit

        Returns
        -------
        ndarray, (elements,)
        """
        scheme = scheme_of(self.study, circuit.scheme)
        each = element_share(self.study, circuit, self.samples, scheme)[0]
        return np.asarray(each[list(scheme.watch)])

    def element_ohms(self, circuit: Circuit) -> dict[Axis, float]:
        """Resistance of the legs of phase and of earth elements without a non-linear resistor, the
        largest of each. [ohm]

        Parameters
        ----------
        circuit : Circuit

        Returns
        -------
        dict
            By axis, of those that the scheme has (ohm).
        """
        scheme = scheme_of(self.study, circuit.scheme)
        ohm = self.branch_ohms(circuit)
        return {
            axis: max(ohm[scheme.elements[k].leg] for k in scheme.of(axis))
            for axis in AXES
            if scheme.of(axis)
        }

    def knee_of(self, groups: Sequence[str]) -> float:
        """Lowest knee voltage of some tables of [ct], seen from the legs. [V]

        Parameters
        ----------
        groups : sequence of str

        Returns
        -------
        float
            (V).
        """
        return self.study.ct.weakest(groups).knee_voltage_v.centre()

    # --- events ---------------------------------------------------------------

    def direct_s(self, event: Event) -> float | None:
        """Time constant of an event's DC component, None where it has none. [s]

        Parameters
        ----------
        event : Event
            One of the study's.

        Returns
        -------
        float or None
            (s).
        """
        found = event.direct_s(self.scene(event))
        return None if found is None else float(found[0])

    def scene(self, event: Event) -> Scene:
        """One of the study's events at its centre, L1 at fault at angle 0.

        Parameters
        ----------
        event : Event

        Returns
        -------
        Scene
            One sample.
        """
        prefix = f"external_events.{event.name}."
        own = {
            key.removeprefix(prefix): value
            for key, value in self.samples.items()
            if key.startswith(prefix)
        }
        return Scene(
            machine=self.study.machine,
            samples=self.samples,
            own=own,
            neutral_ohm=np.array([self.own_neutral_ohm]),
            point_on_wave_rad=np.zeros(1),
            phase=np.zeros(1, np.int64),
        )
