"""A fault between phases outside the zone, directly connected: balanced or not, the same current at
both ends.

The AC component follows the machine's decrement (`plant/decrement.py`); saliency and the voltage
regulator are left out, and what the network feeds into the fault does not pass the zone."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any, Literal

import numpy as np
from numpy.typing import ArrayLike

from montecarlo.plant.decrement import Decrement, ExternalFaultKind, fault_current_rms
from montecarlo.plant.events.base import ClearingTime, Event, KindWord, RunOn, Scene, cleared
from montecarlo.plant.events.waves import Fading
from montecarlo.plant.machine import PHASE_ROTATION, phase_phasors
from montecarlo.plant.states import load_phasor
from montecarlo.quantities import Array, Complex, Distribution, Index, Quantity, number


class ThroughFault(Event):
    """Three phases or two joined outside the zone; L1, L2, L3 carry the machine's fault current
    through it."""

    kind: Annotated[Literal["three_phase", "phase_phase"], KindWord]
    external_reactance_pu: Annotated[
        Distribution,
        Quantity(
            "pu",
            "between the terminals and the fault, on the machine's rating",
            0.0,
            high=100.0,
            varies="event",
        ),
    ]
    external_resistance_pu: Annotated[
        Distribution,
        Quantity("pu", "between the terminals and the fault", 0.0, high=100.0, varies="event"),
    ] = number(0.0)
    clearing_time_s: ClearingTime
    run_on_s: RunOn = 0.04

    @property
    def balanced(self) -> bool:
        return self.kind == "three_phase"

    def lasts_s(self, scene: Scene) -> float:
        return cleared(scene, self.run_on_s)

    def currents(self, scene: Scene, t: Array) -> Array:
        load = scene.samples["load.current_pu"], scene.samples["load.power_factor"]
        return fault_in(scene, t, self.kind, scene.voltage_pu, *load)

    def lasting(self, scene: Scene) -> Fading:
        """The current before it is cleared.

        Parameters
        ----------
        scene : Scene

        Returns
        -------
        Fading
            (n, 3) (A).
        """
        load = scene.samples["load.current_pu"], scene.samples["load.power_factor"]
        return current_in(scene, self.kind, scene.voltage_pu, *load)

    def direct_s(self, scene: Scene) -> Array:
        return scene.direct_s

    def by_hand(self, centre: Mapping[str, float]) -> tuple[float, str]:
        names = Decrement.__dataclass_fields__
        decrement = Decrement(**{name: centre[f"machine.{name}"] for name in names})
        outside = self.external_reactance_pu.support()[0]
        emf = centre["machine.voltage_factor"]
        current = float(fault_current_rms(self.kind, 0.0, emf, decrement, outside))
        own = centre["machine.subtransient_reactance_pu"]
        if self.kind == "three_phase":
            return current, f"{emf:g} / ({own:g} + {outside:g})"
        negative = centre["machine.negative_sequence_reactance_pu"]
        return current, f"sqrt(3) x {emf:g} / ({own:g} + {negative:g} + 2 x {outside:g})"


def fault_in(
    scene: Scene,
    t: Array,
    kind: ExternalFaultKind,
    voltage_pu: Array,
    load_pu: ArrayLike,
    power_factor: ArrayLike,
) -> Array:
    """`through_fault` behind the event's own impedance, for its samples. [A]

    Parameters
    ----------
    scene : Scene
    t : (nt,) array (s)
    kind : "three_phase" or "phase_phase"
    voltage_pu : (n,) array (pu)
        What drives it.
    load_pu, power_factor : (n,) array_like (pu, -)

    Returns
    -------
    (n, 3, nt) array (A)
    """
    wave = current_in(scene, kind, voltage_pu, load_pu, power_factor)
    return wave.at(t, scene.machine.omega, np.array(scene.own["clearing_time_s"], float))[0]


def current_in(
    scene: Scene,
    kind: ExternalFaultKind,
    voltage_pu: Array,
    load_pu: ArrayLike,
    power_factor: ArrayLike,
) -> Fading:
    """`through_current` behind the event's own impedance, for its samples.

    Parameters
    ----------
    scene, kind, voltage_pu, load_pu, power_factor
        As of `fault_in`.

    Returns
    -------
    Fading
        (n, 3) (A).
    """
    return through_current(
        kind,
        scene.decrement,
        external_reactance_pu=scene.own["external_reactance_pu"],
        external_resistance_pu=scene.own["external_resistance_pu"],
        voltage_factor=voltage_pu,
        load_current_pu=load_pu,
        power_factor=power_factor,
        point_on_wave_rad=scene.point_on_wave_rad,
        pair=scene.phase,
        omega=scene.machine.omega,
        rated_current_a=scene.machine.rated_current_a,
    )


def through_fault(
    kind: ExternalFaultKind,
    t: Array,
    machine: Decrement,
    *,
    clearing_time_s: ArrayLike,
    omega: float,
    **given: Any,
) -> Array:
    """Primary current from the neutral to the terminals in L1, L2, L3. [A]

    After `clearing_time_s` it is interrupted, phase by phase (`wave_kernel.interrupt`).

    Parameters
    ----------
    kind : "three_phase" or "phase_phase"
    t : (nt,) array (s)
        Increasing; fault at 0, load before.
    machine : Decrement
    clearing_time_s : (n,) array_like (s)
    omega : float (rad/s)
    **given
        As of `through_current`.

    Returns
    -------
    (n, 3, nt) array (A)
    """
    wave = through_current(kind, machine, omega=omega, **given)
    cleared_s = np.array(np.broadcast_to(clearing_time_s, wave.direct_s.shape), float)
    return wave.at(t, omega, cleared_s)[0]


def through_current(  # noqa: PLR0913
    kind: ExternalFaultKind,
    machine: Decrement,
    *,
    external_reactance_pu: ArrayLike,
    external_resistance_pu: ArrayLike,
    voltage_factor: ArrayLike,
    load_current_pu: ArrayLike,
    power_factor: ArrayLike,
    point_on_wave_rad: ArrayLike,
    pair: ArrayLike,
    omega: float,
    rated_current_a: float,
) -> Fading:
    """The same current until it is cleared.

    Behind each reactance stands the EMF of the load state, E = U + jX I_load with that X (E''
    behind X''d at first, the field's at last; Grainger and Stevenson, Power System Analysis, ch.
    10, from memory). The DC component starts so that every current is continuous at 0. Phase-phase:
    the faulted phases carry +i and -i, which replaces their difference of load; the healthy phase
    keeps its load, and half of that returns in each of the others, so the three sum to zero.

    Parameters
    ----------
    kind : "three_phase" or "phase_phase"
    machine : Decrement
    external_reactance_pu, external_resistance_pu : (n,) array_like (pu)
    voltage_factor : (n,) array_like (pu)
        U before the fault.
    load_current_pu : (n,) array_like (pu)
    power_factor : (n,) array_like (-)
    point_on_wave_rad : (n,) array_like (rad)
        L1's terminal voltage is sqrt(2)U cos(omega t + alpha) before the fault, so an unloaded
        machine's AC component in L1 is sqrt(2)I sin(omega t + alpha).
    pair : (n,) array_like of int
        0, 1 or 2: the phase not in a phase-phase fault.
    omega : float (rad/s)
    rated_current_a : float (A)

    Returns
    -------
    Fading
        (n, 3) (A).
    """
    turn = np.sqrt(2) * rated_current_a * np.exp(1j * np.asarray(point_on_wave_rad))  # RMS pu -> A
    outside = machine.outside_pu(kind, external_reactance_pu)
    load = load_phasor(load_current_pu, power_factor)
    load, *stages, healthy, fast_s, slow_s, direct_s = np.broadcast_arrays(
        *(current * turn for current in _currents(machine, outside, voltage_factor, load)),
        np.atleast_1d(pair),
        *machine.decay_times_s(outside),
        machine.direct_current_time_s(external_reactance_pu, external_resistance_pu, omega),
    )
    across, kept = _phases(kind, healthy)
    return Fading(
        before=phase_phasors(load),
        stages=[stage[:, None] * across + load[:, None] * kept for stage in stages],
        fast_s=fast_s,
        slow_s=slow_s,
        direct_s=direct_s,
    )


def _currents(
    machine: Decrement, outside_pu: Array, voltage: ArrayLike, load: Complex
) -> tuple[Complex, ...]:
    """Load, then the fault current behind X''d, X'd, Xd as if each lasted: phasors of L1. [pu]"""
    behind = (
        (np.asarray(voltage) + 1j * x * load) / (1j * (x + outside_pu))
        for x in machine.reactances_pu
    )
    return load, *behind


def _phases(kind: ExternalFaultKind, healthy: Index) -> tuple[Complex, Complex]:
    """Parts of the currents of L1, L2, L3 in L1's fault current and in its load: (n, 3) each."""
    if kind == "three_phase":
        return PHASE_ROTATION[None], np.zeros((1, 3), complex)
    place = np.mod(np.arange(3) - healthy[:, None], 3)  # from the healthy phase
    turn = PHASE_ROTATION[healthy, None]
    joined = PHASE_ROTATION[1] - PHASE_ROTATION[2]  # their EMF over that of the healthy phase
    return turn * joined * np.array([0, 1, -1])[place], turn * np.array([1, -0.5, -0.5])[place]
