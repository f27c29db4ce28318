"""One phase to earth outside the zone, on what the terminals are directly connected to.

Symmetrical components (e.g. Grainger and Stevenson, Power System Analysis, ch. 11-12), as complex
sums for X = X''d, X'd, Xd in turn, X_e in each sequence between the terminals and the fault:

    I = U/(jX1 + jX2 + 3jX_e + Z0 + 3R_F)       X1 = X || X_net, X2 likewise,
    1/Z0 = 1/(3Z_N + jX0) + 1/(3R_other) + jw(C_s + C_z + C_e)

so with one machine and no capacitance the fault carries 3U/(X + X2 + X0 + 3Z_N). The machine's part
of each sequence passes both ends; its zero sequence, a third of the neutral's current in each
phase, too. Load goes on (superposition). The zone's own capacitance is no through current: V_N =
-3Z_N I_0 lifts it, and 3jw(C_s + C_z)V_N flows in at the line end, beside the healthy charging
current (the model of `plant/internal.py`).

Reach: other neutrals as one resistance without reactance; |Z_t| stands for X_t in the decay times
(derived: right for a reactance, and for a resistance large against the machine); one DC component
with the time constant of the whole loop, under a millisecond behind a resistor. What the
capacitances discharge at inception, above some kHz, is left out: their current jumps. Intermittent
arcs are not modelled."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Annotated, Any, Literal

import numpy as np
from numpy.typing import NDArray

from montecarlo.plant.events.base import ClearingTime, Event, KindWord, RunOn, Scene, cleared
from montecarlo.plant.events.waves import Fading, of_sequences
from montecarlo.plant.internal import charging_currents
from montecarlo.plant.machine import phase_fault_reactance_pu
from montecarlo.quantities import Array, Complex, Distribution, Quantity, number


@dataclass(frozen=True, kw_only=True)
class EarthedBus:
    """What stands around the fault, arrays (n,); np.inf for a network or for other neutrals that
    are not there."""

    negative_ohm: Array
    zero_ohm: Array  # X0 of the machine
    network_ohm: Array  # positive = negative sequence
    neutral_ohm: NDArray[Any]  # real or complex
    other_neutrals_ohm: Array
    capacitance_f: Array  # of a phase, inside and outside the zone
    path_ohm: Array  # X_e
    fault_ohm: Array
    omega: float

    @property
    def own_return_s(self) -> Complex:
        """The machine's neutral and zero sequence as an admittance. [S]"""
        return np.asarray(1 / (3 * self.neutral_ohm + 1j * self.zero_ohm))

    @property
    def return_s(self) -> Complex:
        """All of the zero sequence, 1/Z0. [S]"""
        others = 1 / (3 * self.other_neutrals_ohm)
        return self.own_return_s + others + 1j * self.omega * self.capacitance_f

    @property
    def behind_ohm(self) -> Complex:
        """All of the loop but the positive sequence in front of the terminals. [ohm]"""
        earth = 1 / self.return_s
        negative = 1 / (1 / self.negative_ohm + 1 / self.network_ohm)
        return 1j * (negative + 3 * self.path_ohm) + earth + 3 * self.fault_ohm

    def sequences(self, direct_ohm: Array, voltage_v: Array) -> tuple[Complex, Complex, Complex]:
        """Zero, positive and negative sequence through the machine. [A]

        Parameters
        ----------
        direct_ohm : (n,) array (ohm)
            X of the positive sequence.
        voltage_v : (n,) array (V)
            Of the faulted phase, from which the currents' angles count.

        Returns
        -------
        three (n,) complex arrays (A)
        """
        own = 1 / direct_ohm
        other = 1 / self.network_ohm
        against = 1 / self.negative_ohm
        current = voltage_v / (1j / (own + other) + self.behind_ohm)
        return (
            current * self.own_return_s / self.return_s,
            current * own / (own + other),
            current * against / (against + other),
        )

    @property
    def outside_ohm(self) -> Array:
        """|Z_t| seen from the machine's positive sequence. [ohm]"""
        return abs(1 / (1 / self.behind_ohm - 1j * (1 / self.network_ohm)))

    def direct_s(self, direct_ohm: Array, armature_ohm: Array) -> Array:
        """Time constant of the DC component: the loop's reactance over its resistance. [s]

        Without capacitance.

        Parameters
        ----------
        direct_ohm, armature_ohm : (n,) array (ohm)

        Returns
        -------
        (n,) array (s)
        """
        earth = 1 / (self.own_return_s + 1 / (3 * self.other_neutrals_ohm))
        reactance = (
            1 / (1 / direct_ohm + 1 / self.network_ohm)
            + 1 / (1 / self.negative_ohm + 1 / self.network_ohm)
            + 3 * self.path_ohm
            + earth.imag
        )
        return reactance / (self.omega * (earth.real + 3 * self.fault_ohm + 2 * armature_ohm))


class PhaseEarth(Event):
    """One phase to earth outside the zone, directly connected: the ends differ by the zone's
    capacitive current."""

    kind: Annotated[Literal["phase_earth"], KindWord]
    external_reactance_pu: Annotated[
        Distribution,
        Quantity(
            "pu",
            "between the terminals and the fault, in each sequence, on the machine's rating",
            0.0,
            high=100.0,
            varies="event",
        ),
    ] = number(0.0)
    fault_resistance_ohm: Annotated[
        Distribution, Quantity("ohm", "resistance of the fault", 0.0, varies="event")
    ] = number(0.0)
    clearing_time_s: ClearingTime
    run_on_s: RunOn = 0.04

    def lasts_s(self, scene: Scene) -> float:
        return cleared(scene, self.run_on_s)

    def before(self, scene: Scene) -> Complex:
        s = scene.samples
        own = phase_fault_reactance_pu(
            s["machine.subtransient_reactance_pu"], s["machine.negative_sequence_reactance_pu"]
        )
        charging = charging_currents(
            scene.voltage_pu * scene.machine.phase_voltage_v,
            s["machine.stator_capacitance_f"],
            s["machine.terminal_capacitance_f"],
            scene.machine.omega,
            1 / (1 + scene.network_pu / own),
        )
        return scene.load() + charging * scene.turn[:, None]

    def currents(self, scene: Scene, t: Array) -> Array:
        """(n, 6, nt). After clearing, what the fault adds ends in all phases with the first zero of
        the phase at fault; load and healthy charging go on."""
        omega = scene.machine.omega
        peak = np.sqrt(2) * self.before(scene)
        neutral, line = _added(scene, _bus(scene))
        neutral, line = replace(neutral, beside=peak[:, :3]), replace(line, beside=peak[:, 3:])
        at_neutral, ends = neutral.at(t, omega, scene.own["clearing_time_s"], scene.phase)
        at_line, _ = line.at(t, omega, ends=ends)
        return np.concatenate([at_neutral, at_line], axis=1)

    def direct_s(self, scene: Scene) -> Array:
        return _direct_s(scene, _bus(scene))

    @property
    def to_earth(self) -> bool:
        return True

    def first_cycle_a(self, scene: Scene) -> float:
        neutral, line = _added(scene, _bus(scene))
        most = max(abs(end.stages[0]).max() for end in (neutral, line))
        return float(most / np.sqrt(2))

    def neutral_current(self, scene: Scene, t: Array) -> Array:
        """(n, nt). The sum of what the fault adds in the three phases at the neutral end, and it
        ends with that; load and charging currents add nothing to it."""
        neutral, _ = _added(scene, _bus(scene))
        wave, _ = neutral.at(t, scene.machine.omega, scene.own["clearing_time_s"], scene.phase)
        return np.asarray(wave.sum(axis=1))


def _bus(scene: Scene) -> EarthedBus:
    s = scene.samples
    capacitance = (
        s["machine.stator_capacitance_f"]
        + s["machine.terminal_capacitance_f"]
        + s["network.external_capacitance_f"]
    )
    return EarthedBus(
        negative_ohm=scene.ohm("negative_sequence_reactance_pu"),
        zero_ohm=scene.ohm("zero_sequence_reactance_pu"),
        network_ohm=scene.network_pu * scene.machine.base_impedance_ohm,
        neutral_ohm=scene.neutral_ohm,
        other_neutrals_ohm=s.get("earthing.other_neutrals_ohm", np.full(len(capacitance), np.inf)),
        capacitance_f=capacitance,
        path_ohm=scene.ohm("external_reactance_pu"),
        fault_ohm=scene.own["fault_resistance_ohm"],
        omega=scene.machine.omega,
    )


def _direct_s(scene: Scene, bus: EarthedBus) -> Array:
    armature = bus.negative_ohm / (bus.omega * scene.samples["machine.armature_time_constant_s"])
    return bus.direct_s(scene.ohm("subtransient_reactance_pu"), armature)


def _added(scene: Scene, bus: EarthedBus) -> tuple[Fading, Fading]:
    """What the fault adds at the neutral end and at the line end, (n, 3) each; the current into the
    zone's capacitance, alike in each phase, jumps."""
    s = scene.samples
    base = scene.machine.base_impedance_ohm
    turn = np.sqrt(2) * scene.turn
    voltage = scene.voltage_pu * scene.machine.phase_voltage_v
    zone_f = s["machine.stator_capacitance_f"] + s["machine.terminal_capacitance_f"]
    zone_s = 1j * scene.machine.omega * zone_f
    neutral: list[Complex] = []
    line: list[Complex] = []
    for x in scene.decrement.reactances_pu:
        parts = bus.sequences(x * base, voltage)
        none = 0.0 * parts[0]
        lifted = of_sequences(-3 * bus.neutral_ohm * parts[0], none, none, scene.phase)
        neutral.append(of_sequences(*parts, scene.phase) * turn[:, None])
        line.append(neutral[-1] - zone_s[:, None] * lifted * turn[:, None])
    fast_s, slow_s = scene.decrement.decay_times_s(bus.outside_ohm / base)
    through = Fading(stages=neutral, fast_s=fast_s, slow_s=slow_s, direct_s=_direct_s(scene, bus))
    return through, replace(through, stages=line, direct=-neutral[0].real)
