"""The voltage across the relay circuit on an internal fault: at its fullest by phasors, and its
peak in time.

While a CT is not saturated it drives its whole current through the relay circuit; once saturated it
shorts it. So the voltage comes in pulses from a current zero to the flux limit, tall where the
resistance is high. The height is decided within some degrees after the zero, by the core's swing
from one flux limit to the other.

Reach: the saturated branch is b m^S without an air-core inductance. At S = 15 a core takes a
hundred knee currents at 1.4 knee fluxes and a thousand at 1.7, far below the 4 at which Newton's
iterates are cut. A real core goes over to a constant inductance there; beyond it the simulated one
is the harder short: its pulse ends more sharply, and a little lower where the real inductance is
large. No capacitance of leads and windings, no eddy currents, no decrement of the fault current."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from montecarlo.quantities import Array, Complex, Flags
from montecarlo.secondary import transient
from montecarlo.secondary.circuit import CtBank, take
from montecarlo.secondary.measurement import Measurement

# Within 1 % of 8192 for V_f/V_k of 0.3 ... 200; where the current jumps and V_f is above 50 V_k, up
# to 9 % low.
STEPS_PER_CYCLE = 512
CYCLES = 3  # after inception; 22 more changed nothing
ANGLES = 8  # points on wave in half a turn; 64 gave 0.4 % more at most


def places_across(table: Array, inside: Flags) -> Array:
    """Where the voltage is looked for: what each CT sees of the relay circuit, then each leg alone.

    Parameters
    ----------
    table : ndarray, (legs, ct)
    inside : ndarray, (legs,)
        False for what is no part of the relay circuit (return cores of the leads).

    Returns
    -------
    ndarray, (legs, ct + legs)
    """
    both = np.hstack([np.sign(table), np.eye(len(table))])
    return np.where(inside[:, None], both, 0.0)


def full_voltage(
    table: Array, leg_ohm: Array, bank: CtBank, fault_a: Complex, inside: Flags
) -> Array:
    """V_f at each CT as if none took an exciting current, RMS. [V]

    Across the relay circuit, and i_f (R_ct + R_lead) with i_f the largest leg current that the CT
    drives. Taking the whole leg current through one CT errs upwards where both ends feed the fault
    (common practice).

    Parameters
    ----------
    table : ndarray, (legs, ct)
    leg_ohm : ndarray, (n, legs)
        (ohm).
    bank : CtBank
        (n, ct).
    fault_a : complex ndarray, (n, ct)
        RMS, primary (A).
    inside : ndarray, (legs,)
        As in `places_across`.

    Returns
    -------
    ndarray, (n, ct)
    """
    legs = (fault_a / bank.turns) @ table.T
    across = np.where(inside, np.sign(table.T), 0.0)  # (ct, legs)
    largest = np.max(np.abs(legs)[:, None] * np.abs(across), axis=-1)
    return np.asarray(np.abs((legs * leg_ohm) @ across.T) + largest * bank.series_ohm)


def offset_wave(phasors: Complex, decay_s: Array, omega: float, t: Array) -> Array:
    """Nothing up to 0, then a sinusoid and the offset that makes it start at 0. [A]

    Parameters
    ----------
    phasors : complex ndarray, (n, ct)
        RMS (A).
    decay_s : ndarray, (n,)
        Of the offset (s); where it is 0 the current jumps at inception.
    omega : float
        (rad/s).
    t : ndarray, (times,)
        (s).

    Returns
    -------
    ndarray, (n, ct, times)
    """
    after = np.maximum(t, 0.0)
    decay = np.asarray(decay_s, float)[:, None]
    left = np.where(decay > 0, np.exp(-after / np.where(decay > 0, decay, 1.0)), 0.0)[:, None]
    peak = np.sqrt(2) * np.asarray(phasors)[..., None]
    wave = peak.real * (np.cos(omega * after) - left) - peak.imag * np.sin(omega * after)
    return np.where(t > 0, wave, 0.0)


def simulate(  # noqa: PLR0913
    table: Array,
    leg_ohm: Array,
    bank: CtBank,
    fault_a: Complex,
    decay_s: Array,
    inside: Flags,
    frequency_hz: float,
    *,
    per_cycle: int = STEPS_PER_CYCLE,
    cycles: float = CYCLES,
) -> Array:
    """Highest instantaneous voltage at each of `places_across` on a fault from no load. [V]

    Parameters
    ----------
    table, leg_ohm, bank, fault_a, inside
        As in `full_voltage`; the phasors' angles are the points on wave, the bank's remanence
        stands.
    decay_s : ndarray, (n,)
        Of the offset (s).
    frequency_hz : float
        (Hz).
    per_cycle : int
        Steps a cycle.
    cycles : float
        After inception.

    Returns
    -------
    ndarray, (n, places)
        NaN where not resolved.
    """
    window = transient.Window(frequency_hz, cycles / frequency_hz, per_cycle)
    wave = offset_wave(fault_a, decay_s, 2 * np.pi * frequency_hz, window.times())
    source = transient.Source(wave, np.arange(fault_a.shape[1]))
    solved = transient.solve(
        table,
        leg_ohm,
        bank,
        source,
        window,
        np.zeros(fault_a.shape, complex),
        Measurement(legs=(0,)),
        keep_trace=True,
    )
    legs_v = (leg_ohm[..., None] * solved.trace).swapaxes(1, 2)
    volts = np.abs(legs_v @ places_across(table, inside)).max(axis=1)
    volts[np.isnan(solved.pickup[:, 0, 0, 0])] = np.nan
    return np.asarray(volts)


def peak_voltage(
    table: Array,
    leg_ohm: Array,
    bank: CtBank,
    fault_a: Complex,
    decay_s: Array,
    inside: Flags,
    frequency_hz: float,
) -> Array:
    """The highest of `simulate` over points on wave, and over cores without remanence and with the
    magnitude of `bank.remanence` in the sense in which all cores of a leg saturate together. [V]

    On three phase legs no pattern of remanence among 400 gave more than 0.1 % above this: in most
    one core saturates early and shorts the leg.

    Parameters
    ----------
    table, leg_ohm, bank, fault_a, decay_s, inside, frequency_hz
        As in `simulate`.

    Returns
    -------
    ndarray, (n,)
    """
    n, cts = fault_a.shape
    sense = np.sign(table[np.argmax(table != 0, axis=0), np.arange(cts)])
    # without remanence the second half of a turn mirrors the first
    turns = np.concatenate([np.arange(ANGLES), np.arange(2 * ANGLES)]) / (2 * ANGLES)
    held = np.repeat([0.0, 1.0], [ANGLES, 2 * ANGLES])
    each = np.repeat(np.arange(n), held.size)
    case = np.tile(np.arange(held.size), n)
    cores = take(bank, each)
    cores = replace(cores, remanence=held[case][:, None] * sense * np.abs(cores.remanence))
    phasors = fault_a[each] * np.exp(2j * np.pi * turns[case])[:, None]
    volts = simulate(table, leg_ohm[each], cores, phasors, decay_s[each], inside, frequency_hz)
    return np.asarray(volts.max(axis=1).reshape(n, -1).max(axis=1))
