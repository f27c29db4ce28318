"""A fault between phases outside the zone, directly connected: balanced or not, the same current at
both ends.

The AC component follows the machine's decrement (`plant/decrement.py`); saliency and the voltage
regulator are left out, and what the network feeds into the fault does not pass the zone."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Annotated, Literal

import numpy as np
from numpy.typing import ArrayLike

from montecarlo.plant.decrement import Decrement, ExternalFaultKind, fault_current_rms
from montecarlo.plant.events.base import ClearingTime, Event, KindWord, RunOn, Scene, cleared
from montecarlo.plant.events.waves import interrupt, rotating
from montecarlo.plant.machine import PHASE_ROTATION
from montecarlo.plant.states import load_phasor
from montecarlo.quantities import Array, Complex, Distribution, Quantity, number

ROWS = 64  # at once: what they need stays in the processor's cache


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
    return through_fault(
        kind,
        t,
        scene.decrement,
        external_reactance_pu=scene.own["external_reactance_pu"],
        external_resistance_pu=scene.own["external_resistance_pu"],
        voltage_factor=voltage_pu,
        load_current_pu=load_pu,
        power_factor=power_factor,
        point_on_wave_rad=scene.point_on_wave_rad,
        pair=scene.phase,
        clearing_time_s=scene.own["clearing_time_s"],
        omega=scene.machine.omega,
        rated_current_a=scene.machine.rated_current_a,
    )


def through_fault(  # noqa: PLR0913
    kind: ExternalFaultKind,
    t: Array,
    machine: Decrement,
    *,
    external_reactance_pu: ArrayLike,
    external_resistance_pu: ArrayLike,
    voltage_factor: ArrayLike,
    load_current_pu: ArrayLike,
    power_factor: ArrayLike,
    point_on_wave_rad: ArrayLike,
    pair: ArrayLike,
    clearing_time_s: ArrayLike,
    omega: float,
    rated_current_a: float,
) -> Array:
    """Primary current from the neutral to the terminals in L1, L2, L3. [A]

    Behind each reactance stands the EMF of the load state, E = U + jX I_load with that X (E''
    behind X''d at first, the field's at last; Grainger and Stevenson, Power System Analysis, ch.
    10, from memory). The DC component starts so that every current is continuous at 0. Phase-phase:
    the faulted phases carry +i and -i, which replaces their difference of load; the healthy phase
    keeps its load, and half of that returns in each of the others, so the three sum to zero. After
    `clearing_time_s` each phase ends at its first zero on the grid, by itself: what an interrupted
    phase would change in the others is left out.

    Parameters
    ----------
    kind : "three_phase" or "phase_phase"
    t : (nt,) array (s)
        Increasing; fault at 0, load before.
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
    clearing_time_s : (n,) array_like (s)
    omega : float (rad/s)
    rated_current_a : float (A)

    Returns
    -------
    (n, 3, nt) array (A)
    """
    turn = np.sqrt(2) * rated_current_a * np.exp(1j * np.asarray(point_on_wave_rad))  # RMS pu -> A
    outside = machine.outside_pu(kind, external_reactance_pu)
    load = load_phasor(load_current_pu, power_factor)
    direct_s = machine.direct_current_time_s(external_reactance_pu, external_resistance_pu, omega)
    wave = _wave(
        _currents(machine, outside, voltage_factor, load),
        turn,
        (*machine.decay_times_s(outside), direct_s),
        np.broadcast_shapes((1,), np.shape(pair), np.shape(clearing_time_s)),
    )
    n = wave.load.size
    start = int(np.searchsorted(t, 0.0))
    out = np.empty((n, 3, t.size))
    pairs = np.broadcast_to(pair, (n,))
    clearing = np.broadcast_to(clearing_time_s, (n,))
    for first in range(0, n, ROWS):
        rows = slice(first, first + ROWS)
        own = wave.rows(rows)
        part = out[rows]
        rotating(own.load, omega * t[:start], part[..., :start])
        if kind == "three_phase":
            _three_phase(own, t[start:], omega, part[..., start:])
        else:
            _phase_phase(own, pairs[rows], t[start:], omega, part[..., start:])
        interrupt(part, t, clearing[rows])
    return out


@dataclass(frozen=True)
class _Wave:
    """Constants of a through fault, all (n,); phasors of L1 in peak amperes, turned to the point on
    wave."""

    load: Complex
    fast: Complex  # AC component that decays with T''
    slow: Complex  # with T'
    lasting: Complex
    fast_s: Array  # T'', T', time constant of the DC component
    slow_s: Array
    direct_s: Array

    @property
    def first(self) -> Complex:
        """AC component at the start."""
        return self.fast + self.slow + self.lasting

    def rows(self, which: slice) -> _Wave:
        return _Wave(*(getattr(self, field.name)[which] for field in fields(self)))


def _currents(
    machine: Decrement, outside_pu: Array, voltage: ArrayLike, load: Complex
) -> tuple[Complex, ...]:
    """Load, then the fault current behind X''d, X'd, Xd as if each lasted: phasors of L1. [pu]"""
    behind = (
        (np.asarray(voltage) + 1j * x * load) / (1j * (x + outside_pu))
        for x in machine.reactances_pu
    )
    return load, *behind


def _wave(
    currents: tuple[Complex, ...],
    turn: Complex,
    times: tuple[Array, ...],
    shape: tuple[int, ...],
) -> _Wave:
    load, first, second, last = currents
    phasors = (load * turn, (first - second) * turn, (second - last) * turn, last * turn)
    parts = (*phasors, *times)
    n = np.broadcast_shapes(shape, *(np.shape(part) for part in parts))
    return _Wave(*(np.broadcast_to(part, n) for part in parts))


def _decaying(wave: _Wave, t: Array, omega: float) -> tuple[Array, Array, Array]:
    """Real and imaginary part of L1's AC component turning with omega t, and the DC decay: (n, m)
    each."""
    fast = np.exp(-t / wave.fast_s[:, None])
    slow = np.exp(-t / wave.slow_s[:, None])

    def faded(f: Array, s: Array, last: Array) -> Array:
        return f[:, None] * fast + s[:, None] * slow + last[:, None]

    real = faded(wave.fast.real, wave.slow.real, wave.lasting.real)
    imag = faded(wave.fast.imag, wave.slow.imag, wave.lasting.imag)
    cosine = np.cos(omega * t)
    sine = np.sin(omega * t)
    return (
        real * cosine - imag * sine,
        real * sine + imag * cosine,
        np.exp(-t / wave.direct_s[:, None]),
    )


def _three_phase(wave: _Wave, t: Array, omega: float, out: Array) -> None:
    """t >= 0, into out (n, 3, m)."""
    real, imag, direct = _decaying(wave, t, omega)
    # of the DC component, sums to 0
    start = ((wave.load - wave.first)[:, None] * PHASE_ROTATION).real
    np.add(real, start[:, :1] * direct, out=out[:, 0])
    np.add(
        PHASE_ROTATION[1].real * real - PHASE_ROTATION[1].imag * imag,
        start[:, 1:2] * direct,
        out=out[:, 1],
    )
    np.negative(out[:, 0] + out[:, 1], out=out[:, 2])


def _phase_phase(
    wave: _Wave,
    pair: np.ndarray[tuple[int, ...], np.dtype[np.int_]],
    t: Array,
    omega: float,
    out: Array,
) -> None:
    """t >= 0, into out (n, 3, m); `pair` (n,) the healthy phase."""
    real, imag, direct = _decaying(wave, t, omega)
    index = np.arange(pair.size)
    ahead = (pair + 1) % 3
    behind = (pair + 2) % 3
    across = PHASE_ROTATION[ahead] - PHASE_ROTATION[behind]  # their EMF over that of L1
    start = (across * (wave.load / 2 - wave.first)).real
    current = across.real[:, None] * real - across.imag[:, None] * imag + start[:, None] * direct
    healthy = wave.load * PHASE_ROTATION[pair]
    load = healthy.real[:, None] * np.cos(omega * t) - healthy.imag[:, None] * np.sin(omega * t)
    out[index, pair] = load
    out[index, ahead] = current - load / 2
    out[index, behind] = -current - load / 2
