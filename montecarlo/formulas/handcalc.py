"""The classic desk formulas, shown beside a study. Numbers or arrays; secondary side unless the
name says primary.

Unprotected fraction and earthing: Mehta & Mehta, Principles of Power System, ch. 22; Rao,
Switchgear Protection & Power Systems, ch. 33. Stability of circulating-current schemes: common
practice, e.g. NPTEL, Power System Protection and Switchgear, lecture 28."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from montecarlo.plant.machine import FloatArray

__all__ = [
    "balancing_spill",
    "capacitive_limit_ohm",
    "displacement_fraction",
    "peak_voltage",
    "primary_operating_current",
    "required_knee",
    "resistance_for_fraction",
    "stabilising_resistance",
    "stabilising_voltage",
    "unprotected_fraction",
]


def _source_voltage(
    primary_pickup_a: ArrayLike,
    phase_voltage_v: ArrayLike,
    reactance_ohm: ArrayLike,
    resistance_ohm: ArrayLike,
) -> FloatArray:
    """What the phase voltage leaves for the neutral resistor at pick-up, over x; <= 0 where no x is
    enough. [V]"""
    pickup = np.asarray(primary_pickup_a, float)
    square = np.asarray(phase_voltage_v, float) ** 2 - (pickup * np.asarray(reactance_ohm)) ** 2
    return np.asarray(np.sqrt(np.maximum(square, 0.0)) - pickup * np.asarray(resistance_ohm))


def unprotected_fraction(
    primary_pickup_a: ArrayLike,
    neutral_ohm: ArrayLike,
    phase_voltage_v: ArrayLike,
    *,
    winding_reactance_ohm: ArrayLike = 0.0,
    winding_resistance_ohm: ArrayLike = 0.0,
) -> FloatArray:
    """Part of the winding, from the neutral, where a bolted earth fault stays below pick-up. [-]

    Solves xV = I|R + x(R_w + jX)|, all linear in x: x = IR/(sqrt(V^2 - I^2 X^2) - I R_w), which is
    IR/V without the winding. Not clipped: above 1 no place is protected, inf where no length of
    winding would do. Ideal CTs, no capacitance."""
    left = _source_voltage(
        primary_pickup_a, phase_voltage_v, winding_reactance_ohm, winding_resistance_ohm
    )
    drop = np.asarray(primary_pickup_a, float) * np.asarray(neutral_ohm)
    return np.asarray(np.where(left > 0, drop / np.where(left > 0, left, 1.0), np.inf))


def displacement_fraction(operating_v: ArrayLike, phase_voltage_v: ArrayLike) -> FloatArray:
    """Part of the winding, from the neutral, where a bolted earth fault lifts the neutral by less
    than this. [-]

    V_N = xE whatever the resistor, so x = V_set/E (textbook: a pick-up of 5 % protects 95 % of the
    winding); winding impedance and capacitance left out. A neutral current element: V_set = I_set
    R_N. Not clipped."""
    return np.asarray(np.asarray(operating_v, float) / np.asarray(phase_voltage_v, float))


def resistance_for_fraction(
    fraction: ArrayLike,
    primary_pickup_a: ArrayLike,
    phase_voltage_v: ArrayLike,
    *,
    winding_reactance_ohm: ArrayLike = 0.0,
    winding_resistance_ohm: ArrayLike = 0.0,
) -> FloatArray:
    """Neutral resistance that leaves `fraction` of the winding unprotected. [ohm]

    The inverse of `unprotected_fraction`; negative or 0 where no resistance would do."""
    left = _source_voltage(
        primary_pickup_a, phase_voltage_v, winding_reactance_ohm, winding_resistance_ohm
    )
    return np.asarray(np.asarray(fraction, float) * left / np.asarray(primary_pickup_a))


def capacitive_limit_ohm(omega: float, capacitance_f: ArrayLike) -> FloatArray:
    """Largest neutral resistance against transient overvoltage, 1/(3 omega C), C per phase. [ohm]

    Rule of the trade (NPTEL, lecture 29): the resistor's current is at least the capacitive one.
    inf without C."""
    capacitance = np.asarray(capacitance_f, float)
    some = capacitance > 0
    return np.asarray(np.where(some, 1 / (3 * omega * np.where(some, capacitance, 1.0)), np.inf))


def primary_operating_current(
    turns_ratio: ArrayLike, setting_a: ArrayLike, exciting_a: ArrayLike, ct_count: ArrayLike
) -> FloatArray:
    """Primary current that operates an element, N(I_set + n I_exc): the arithmetic upper bound. [A]

    Common practice, no source. `exciting_a` of one CT at the voltage of the setting; `ct_count` 6
    for the earth leg, 2 for a phase leg."""
    return np.asarray(
        np.asarray(turns_ratio)
        * (np.asarray(setting_a, float) + np.asarray(ct_count) * np.asarray(exciting_a))
    )


def stabilising_voltage(
    fault_secondary_a: ArrayLike, ct_ohm: ArrayLike, lead_ohm: ArrayLike
) -> FloatArray:
    """V_s across the relay when one CT is fully saturated on a through fault, i_f(R_ct + R_lead).
    [V]

    `lead_ohm`: the loop for a fault that returns through the pilots' return core, one-way for a
    balanced one."""
    return np.asarray(
        np.asarray(fault_secondary_a, float) * (np.asarray(ct_ohm) + np.asarray(lead_ohm))
    )


def stabilising_resistance(
    stabilising_v: ArrayLike, setting_a: ArrayLike, relay_ohm: ArrayLike
) -> FloatArray:
    """R_st = V_s/I_set - R_relay. [ohm] Negative: the relay alone is stable."""
    return np.asarray(
        np.asarray(stabilising_v, float) / np.asarray(setting_a) - np.asarray(relay_ohm)
    )


def required_knee(stabilising_v: ArrayLike) -> FloatArray:
    """Knee-point voltage for sure operation, V_k >= 2 V_s. [V]"""
    return np.asarray(2 * np.asarray(stabilising_v, float))


def peak_voltage(knee_v: ArrayLike, full_v: ArrayLike) -> FloatArray:
    """Peak across the relay circuit on an internal fault, 2 sqrt(2 V_k(V_f - V_k)). [V]

    `full_v` = i_f(R_ct + R_lead + R_st + R_relay), RMS, as if no CT saturated; sqrt(2)V_f up to V_f
    = 2 V_k. Derived: a core without exciting current whose flux stops at the knee's, a sinusoid
    without offset. From the current's zero sqrt(2)V_f sin(theta) carries the flux from one limit to
    the other, cos(theta) = 1 - 2 V_k/V_f, where it breaks off; beyond 90 degrees it has passed its
    crest. Above about 3 kV (common practice, no source) a non-linear resistor is needed."""
    knee, full = np.asarray(knee_v, float), np.asarray(full_v, float)
    clipped = 2 * np.sqrt(2 * knee * np.maximum(full - knee, 0.0))
    return np.asarray(np.where(full > 2 * knee, clipped, np.sqrt(2) * full))


def balancing_spill(
    balanced_spill_a: ArrayLike,
    leg_ohm: ArrayLike,
    balancing_ohm: ArrayLike,
    earth_ohm: ArrayLike,
    exciting_ohm: ArrayLike,
) -> FloatArray:
    """Current in the earth leg because the balancing resistance differs from the two phase legs.
    [A]

    Derived. `balanced_spill_a` (RMS) flows in each leg and sums to zero over the three (as does a
    fault between a watched phase and the balanced one). Ideal CTs would force it through whatever
    the legs' resistances are; real ones let part of it pass through their excitation. With Z = half
    of `exciting_ohm` (one CT's exciting impedance, real or complex; a phase has two in parallel), R
    a phase leg, R_b the balancing leg, R_e the earth leg:

        i_e = i Z(R_b - R)/[(Z + R)(Z + R_b) + R_e(3Z + R + 2R_b)],  about i(R_b - R)/(Z + 3R_e) for
        a large Z

    Magnitude; 0 for equal legs and for ideal CTs (exciting_ohm = inf)."""
    one = np.asarray(exciting_ohm)
    ideal = np.isinf(one)
    z = np.where(ideal, 1.0, one) / 2
    leg, balancing, earth = (
        np.asarray(leg_ohm, float),
        np.asarray(balancing_ohm, float),
        np.asarray(earth_ohm, float),
    )
    loop = (z + leg) * (z + balancing) + earth * (3 * z + leg + 2 * balancing)
    share = np.abs(z * (balancing - leg)) / np.abs(loop)
    return np.asarray(np.abs(balanced_spill_a) * np.where(ideal, 0.0, share))
