"""Events outside the zone, as waveforms of the primary current through both ends.

The machine's current decays in three steps, each behind its own reactance X = X''d, X'd, Xd (Glover, Sarma, Overbye,
Power System Analysis and Design, ch. 8; phase-phase in the same form from memory):

    I(t) = E[(1/X''d - 1/X'd)e^(-t/T'') + (1/X'd - 1/Xd)e^(-t/T') + 1/Xd]

with X + X_t for X and sqrt(3)E for E in a phase-phase fault. X_t is what the direct axis sees from outside: X_ext for
three phases, X_ext + (X2 + X_ext) for two. The external resistance damps the DC component only. Saliency (double
frequency) and the voltage regulator are left out.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal

import numpy as np
from numpy.typing import ArrayLike

from montecarlo.plant.machine import PHASE_ROTATION, ComplexArray, FloatArray
from montecarlo.plant.states import load_phasor
from montecarlo.quantities import Distribution, Plain, Quantity, Section, number

ExternalFaultKind = Literal["three_phase", "phase_phase"]


class ExternalEvent(Section):
    """A fault outside the zone. Its `name` keys its random numbers: another event leaves them as they are."""

    name: str
    kind: ExternalFaultKind
    per_year: Annotated[Distribution, Quantity("1/year", "such events a year", 0.0, high=1e4)]
    external_reactance_pu: Annotated[Distribution, Quantity(
        "pu", "between the terminals and the fault, on the machine's rating", 0.0, high=100.0, varies="event")]
    external_resistance_pu: Annotated[Distribution, Quantity(
        "pu", "between the terminals and the fault", 0.0, high=100.0, varies="event")] = number(0.0)
    clearing_time_s: Annotated[Distribution, Quantity(
        "s", "from inception to the opening of the contacts", 0.0, high=5.0, above=True, varies="event")]
    run_on_s: Annotated[float, Plain("s", "simulated after clearing, for the elements to reset", 0.0, 5.0)] = 0.04


# --- decrement --------------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class Decrement:
    """What decides how the machine's short-circuit current decays; arrays (n,) or numbers, named as in `Machine`."""

    subtransient_reactance_pu: ArrayLike
    transient_reactance_pu: ArrayLike
    synchronous_reactance_pu: ArrayLike
    negative_sequence_reactance_pu: ArrayLike
    subtransient_time_constant_s: ArrayLike     # short-circuit values
    transient_time_constant_s: ArrayLike
    armature_time_constant_s: ArrayLike

    @property
    def reactances_pu(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        """X''d, X'd, Xd."""
        return (np.asarray(self.subtransient_reactance_pu, float), np.asarray(self.transient_reactance_pu, float),
                np.asarray(self.synchronous_reactance_pu, float))

    def outside_pu(self, kind: ExternalFaultKind, external_reactance_pu: ArrayLike) -> FloatArray:
        """X_t, the reactance that the direct axis sees beyond the machine's own. [pu]"""
        outside = np.asarray(external_reactance_pu, float)
        if kind == "three_phase":
            return outside
        return np.asarray(2 * outside + np.asarray(self.negative_sequence_reactance_pu))

    def decay_times_s(self, outside_pu: ArrayLike) -> tuple[FloatArray, FloatArray]:
        """T'' and T' behind an outside reactance X_t. [s]

        T''do = T''d X'd/X''d, T'do = T'd Xd/X'd; T'' = T''do(X''d + X_t)/(X'd + X_t), T' = T'do(X'd + X_t)/(Xd + X_t)
        (from memory; X_t = 0 gives the short-circuit values, X_t -> infinity the open-circuit ones)."""
        first, second, last = self.reactances_pu
        outside = np.asarray(outside_pu, float)
        open_subtransient = np.asarray(self.subtransient_time_constant_s) * second / first
        open_transient = np.asarray(self.transient_time_constant_s) * last / second
        return (np.asarray(open_subtransient * (first + outside) / (second + outside)),
                np.asarray(open_transient * (second + outside) / (last + outside)))

    def direct_current_time_s(self, external_reactance_pu: ArrayLike, external_resistance_pu: ArrayLike,
                              omega: float) -> FloatArray:
        """Time constant of the DC component, (X2 + X_ext)/(omega(R_a + R_ext)), R_a = X2/(omega T_a). [s]"""
        negative = np.asarray(self.negative_sequence_reactance_pu, float)
        armature = negative / (omega * np.asarray(self.armature_time_constant_s))
        return np.asarray((negative + np.asarray(external_reactance_pu))
                          / (omega * (armature + np.asarray(external_resistance_pu))))


def fault_current_rms(kind: ExternalFaultKind, t: ArrayLike, emf_pu: ArrayLike, machine: Decrement,
                      external_reactance_pu: ArrayLike) -> FloatArray:
    """AC component of an unloaded machine's fault current at t after inception, RMS. [pu]

    `emf_pu` phase EMF, the same behind every reactance; the equation at the head of the module. Broadcasts."""
    outside = machine.outside_pu(kind, external_reactance_pu)
    fast, slow = machine.decay_times_s(outside)
    first, second, last = (1 / (x + outside) for x in machine.reactances_pu)
    when = np.asarray(t, float)
    decrement = (first - second) * np.exp(-when / fast) + (second - last) * np.exp(-when / slow) + last
    return np.asarray((1.0 if kind == "three_phase" else np.sqrt(3)) * np.asarray(emf_pu) * decrement)


# --- waveforms --------------------------------------------------------------------------------------------


def through_fault(kind: ExternalFaultKind, t: FloatArray, machine: Decrement, *, external_reactance_pu: ArrayLike,
                  external_resistance_pu: ArrayLike, voltage_factor: ArrayLike, load_current_pu: ArrayLike,
                  power_factor: ArrayLike, point_on_wave_rad: ArrayLike, pair: ArrayLike, clearing_time_s: ArrayLike,
                  omega: float, rated_current_a: float) -> FloatArray:
    """Primary current from the neutral to the terminals in L1, L2, L3 on the times t. [A], (n, 3, nt)

    `t` (nt,) [s] increasing, fault at 0, load before; all else (n,) or a number. `point_on_wave_rad`: L1's terminal
    voltage is sqrt(2)U cos(omega t + alpha) before the fault, U = `voltage_factor`, so an unloaded machine's AC
    component in L1 is sqrt(2)I sin(omega t + alpha). `pair` (0, 1, 2): the phase not in a phase-phase fault.

    Behind each reactance stands the EMF of the load state, E = U + jX I_load with that X (E'' behind X''d at first,
    the field's at last; Grainger and Stevenson, Power System Analysis, ch. 10, from memory). The DC component starts
    so that every current is continuous at 0. Phase-phase: the faulted phases carry +i and -i, which replaces their
    difference of load; the healthy phase keeps its load, and half of that returns in each of the others, so the
    three sum to zero. After `clearing_time_s` each phase ends at its first zero on the grid, by itself: what an
    interrupted phase would change in the others is left out."""
    turn = np.sqrt(2) * rated_current_a * np.exp(1j * np.asarray(point_on_wave_rad))     # RMS pu -> peak A
    outside = machine.outside_pu(kind, external_reactance_pu)
    times = (*machine.decay_times_s(outside),
             machine.direct_current_time_s(external_reactance_pu, external_resistance_pu, omega))
    wave = _wave(_currents(machine, outside, voltage_factor, load_phasor(load_current_pu, power_factor)), turn, times,
                 np.broadcast_shapes((1,), np.shape(pair), np.shape(clearing_time_s)))
    n = wave.load.size
    start = int(np.searchsorted(t, 0.0))
    out = np.empty((n, 3, t.size))
    _rotating(wave.load, omega * t[:start], out[..., :start])
    if kind == "three_phase":
        _three_phase(wave, t[start:], omega, out[..., start:])
    else:
        _phase_phase(wave, np.broadcast_to(pair, (n,)), t[start:], omega, out[..., start:])
    _interrupt(out, t, np.broadcast_to(clearing_time_s, (n,)))
    return out


@dataclass(frozen=True)
class _Wave:
    """Constants of a through fault, all (n,); phasors of L1 in peak amperes, turned to the point on wave."""

    load: ComplexArray
    fast: ComplexArray          # AC component that decays with T''
    slow: ComplexArray          # with T'
    lasting: ComplexArray
    fast_s: FloatArray          # T'', T', time constant of the DC component
    slow_s: FloatArray
    direct_s: FloatArray

    @property
    def first(self) -> ComplexArray:
        """AC component at the start."""
        return self.fast + self.slow + self.lasting


def _currents(machine: Decrement, outside_pu: FloatArray, voltage: ArrayLike,
              load: ComplexArray) -> tuple[ComplexArray, ...]:
    """Load, then the fault current behind X''d, X'd, Xd as if each lasted: phasors of L1. [pu]"""
    behind = ((np.asarray(voltage) + 1j * x * load) / (1j * (x + outside_pu)) for x in machine.reactances_pu)
    return load, *behind


def _wave(currents: tuple[ComplexArray, ...], turn: ComplexArray, times: tuple[FloatArray, ...],
          shape: tuple[int, ...]) -> _Wave:
    load, first, second, last = currents
    phasors = (load * turn, (first - second) * turn, (second - last) * turn, last * turn)
    n = np.broadcast_shapes(shape, *(np.shape(array) for array in (*phasors, *times)))
    return _Wave(*(np.broadcast_to(array, n) for array in (*phasors, *times)))


def _rotating(phasor: ComplexArray, angle: FloatArray, out: FloatArray) -> None:
    """A balanced sinusoid of L1's phasor (n,) at the angles omega t (m,), into out (n, 3, m)."""
    turned = phasor[:, None] * PHASE_ROTATION
    np.multiply(turned.real[..., None], np.cos(angle), out=out)
    out -= turned.imag[..., None] * np.sin(angle)


def _decaying(wave: _Wave, t: FloatArray, omega: float) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Real and imaginary part of L1's AC component turning with omega t, and the DC decay: (n, m) each."""
    fast = np.exp(-t / wave.fast_s[:, None])
    slow = np.exp(-t / wave.slow_s[:, None])
    real, imag = (f[:, None] * fast + s[:, None] * slow + last[:, None] for f, s, last in (
        (wave.fast.real, wave.slow.real, wave.lasting.real), (wave.fast.imag, wave.slow.imag, wave.lasting.imag)))
    cosine, sine = np.cos(omega * t), np.sin(omega * t)
    return real * cosine - imag * sine, real * sine + imag * cosine, np.exp(-t / wave.direct_s[:, None])


def _three_phase(wave: _Wave, t: FloatArray, omega: float, out: FloatArray) -> None:
    """t >= 0, into out (n, 3, m)."""
    real, imag, direct = _decaying(wave, t, omega)
    start = ((wave.load - wave.first)[:, None] * PHASE_ROTATION).real         # of the DC component, sums to 0
    np.add(real, start[:, :1] * direct, out=out[:, 0])
    np.add(PHASE_ROTATION[1].real * real - PHASE_ROTATION[1].imag * imag, start[:, 1:2] * direct, out=out[:, 1])
    np.negative(out[:, 0] + out[:, 1], out=out[:, 2])


def _phase_phase(wave: _Wave, pair: np.ndarray[tuple[int, ...], np.dtype[np.int_]], t: FloatArray, omega: float,
                 out: FloatArray) -> None:
    """t >= 0, into out (n, 3, m); `pair` (n,) the healthy phase."""
    real, imag, direct = _decaying(wave, t, omega)
    index, ahead, behind = np.arange(pair.size), (pair + 1) % 3, (pair + 2) % 3
    across = PHASE_ROTATION[ahead] - PHASE_ROTATION[behind]                   # their EMF over that of L1
    start = (across * (wave.load / 2 - wave.first)).real
    current = across.real[:, None] * real - across.imag[:, None] * imag + start[:, None] * direct
    healthy = wave.load * PHASE_ROTATION[pair]
    load = healthy.real[:, None] * np.cos(omega * t) - healthy.imag[:, None] * np.sin(omega * t)
    out[index, pair] = load
    out[index, ahead] = current - load / 2
    out[index, behind] = -current - load / 2


def _interrupt(currents: FloatArray, t: FloatArray, clearing_s: FloatArray) -> None:
    """End each phase at its first change of sign after its clearing time (n,), in place: 0 from there on."""
    if not t.size or not t[-1] > clearing_s.min():
        return
    start = max(int(np.searchsorted(t, clearing_s.min(), side="right")) - 1, 0)
    tail = currents[..., start:]
    change = (tail[..., 1:] * tail[..., :-1] <= 0) & (t[start + 1:] > clearing_s[:, None])[:, None]
    first = np.where(change.any(axis=-1), change.argmax(axis=-1), t.size)
    tail[..., 1:][np.arange(change.shape[-1]) >= first[..., None]] = 0.0
