"""The classic desk formulas, shown beside a study. Numbers or arrays; secondary side unless the
name says primary.

Unprotected fraction and earthing: Mehta & Mehta, Principles of Power System, ch. 22; Rao,
Switchgear Protection & Power Systems, ch. 33. Stability of circulating-current schemes: common
practice, e.g. NPTEL, Power System Protection and Switchgear, lecture 28."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from montecarlo.quantities import Array


def _source_voltage(
    primary_pickup_a: ArrayLike,
    phase_voltage_v: ArrayLike,
    reactance_ohm: ArrayLike,
    resistance_ohm: ArrayLike,
) -> Array:
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
) -> Array:
    """Part of the winding, from the neutral, where a bolted earth fault stays below pick-up. [-]

    Solves xV = I|R + x(R_w + jX)|, all linear in x: x = IR/(sqrt(V^2 - I^2 X^2) - I R_w), which is
    IR/V without the winding. Ideal CTs, no capacitance.

    Parameters
    ----------
    primary_pickup_a : array_like (A)
    neutral_ohm : array_like (ohm)
    phase_voltage_v : array_like (V)
    winding_reactance_ohm, winding_resistance_ohm : array_like (ohm)
        Of the whole phase.

    Returns
    -------
    array (-)
        Not clipped: above 1 no place is protected, inf where no length of winding would do.

    Examples
    --------
    >>> unprotected_fraction([50.0, 100.0], neutral_ohm=12.7, phase_voltage_v=6350.0)
    array([0.1, 0.2])
    """
    left = _source_voltage(
        primary_pickup_a, phase_voltage_v, winding_reactance_ohm, winding_resistance_ohm
    )
    drop = np.asarray(primary_pickup_a, float) * np.asarray(neutral_ohm)
    return np.asarray(np.where(left > 0, drop / np.where(left > 0, left, 1.0), np.inf))


def displacement_fraction(operating_v: ArrayLike, phase_voltage_v: ArrayLike) -> Array:
    """Part of the winding, from the neutral, where a bolted earth fault displaces it too little.
    [-]

    V_N = xE whatever the resistor, so x = V_set/E (textbook: a pick-up of 5 % protects 95 % of the
    winding); winding impedance and capacitance left out. A neutral current element: V_set = I_set
    R_N.

    Parameters
    ----------
    operating_v : array_like (V)
    phase_voltage_v : array_like (V)

    Returns
    -------
    array (-)
        Not clipped.
    """
    return np.asarray(np.asarray(operating_v, float) / np.asarray(phase_voltage_v, float))


def resistance_for_fraction(
    fraction: ArrayLike,
    primary_pickup_a: ArrayLike,
    phase_voltage_v: ArrayLike,
    *,
    winding_reactance_ohm: ArrayLike = 0.0,
    winding_resistance_ohm: ArrayLike = 0.0,
) -> Array:
    """Neutral resistance that leaves a part of the winding unprotected. [ohm]

    The inverse of `unprotected_fraction`.

    Parameters
    ----------
    fraction : array_like (-)
    primary_pickup_a, phase_voltage_v, winding_reactance_ohm, winding_resistance_ohm
        As of `unprotected_fraction`.

    Returns
    -------
    array (ohm)
        Negative or 0 where no resistance would do.

    Examples
    --------
    >>> float(resistance_for_fraction(0.1, primary_pickup_a=50.0, phase_voltage_v=6350.0))
    12.7
    """
    left = _source_voltage(
        primary_pickup_a, phase_voltage_v, winding_reactance_ohm, winding_resistance_ohm
    )
    return np.asarray(np.asarray(fraction, float) * left / np.asarray(primary_pickup_a))


def capacitive_limit_ohm(omega: float, capacitance_f: ArrayLike) -> Array:
    """Largest neutral resistance against transient overvoltage, 1/(3 omega C). [ohm]

    Rule of the trade (NPTEL, lecture 29): the resistor's current is at least the capacitive one.

    Parameters
    ----------
    omega : float (rad/s)
    capacitance_f : array_like (F)
        Per phase.

    Returns
    -------
    array (ohm)
        inf without C.

    Examples
    --------
    >>> float(capacitive_limit_ohm(2 * np.pi * 50, 0.25e-6).round())
    4244.0
    """
    capacitance = np.asarray(capacitance_f, float)
    some = capacitance > 0
    return np.asarray(np.where(some, 1 / (3 * omega * np.where(some, capacitance, 1.0)), np.inf))


def primary_operating_current(
    turns_ratio: ArrayLike, setting_a: ArrayLike, exciting_a: ArrayLike, ct_count: ArrayLike
) -> Array:
    """Primary current that operates an element, N(I_set + n I_exc): the arithmetic upper bound. [A]

    Common practice, no source.

    Parameters
    ----------
    turns_ratio : array_like (-)
    setting_a : array_like (A)
    exciting_a : array_like (A)
        Of one CT at the voltage of the setting.
    ct_count : array_like of int
        6 for the earth leg, 2 for a phase leg.

    Returns
    -------
    array (A)

    Examples
    --------
    >>> float(primary_operating_current(200.0, 0.2, 0.01, 6))
    52.0
    """
    return np.asarray(
        np.asarray(turns_ratio)
        * (np.asarray(setting_a, float) + np.asarray(ct_count) * np.asarray(exciting_a))
    )


def stabilising_voltage(
    fault_secondary_a: ArrayLike, ct_ohm: ArrayLike, lead_ohm: ArrayLike
) -> Array:
    """Across the relay when one CT is fully saturated on a through fault, i_f(R_ct + R_lead). [V]

    Parameters
    ----------
    fault_secondary_a : array_like (A)
    ct_ohm : array_like (ohm)
    lead_ohm : array_like (ohm)
        The loop for a fault that returns through the leads' return core, one-way for a balanced
        one.

    Returns
    -------
    array (V)

    Examples
    --------
    >>> float(stabilising_voltage(20.0, ct_ohm=1.0, lead_ohm=0.5))
    30.0
    """
    return np.asarray(
        np.asarray(fault_secondary_a, float) * (np.asarray(ct_ohm) + np.asarray(lead_ohm))
    )


def stabilising_resistance(
    stabilising_v: ArrayLike, setting_a: ArrayLike, relay_ohm: ArrayLike
) -> Array:
    """R_st = V_s/I_set - R_relay. [ohm]

    Parameters
    ----------
    stabilising_v : array_like (V)
    setting_a : array_like (A)
    relay_ohm : array_like (ohm)

    Returns
    -------
    array (ohm)
        Negative: the relay alone is stable.

    Examples
    --------
    >>> float(stabilising_resistance(30.0, setting_a=0.25, relay_ohm=16.0))
    104.0
    """
    return np.asarray(
        np.asarray(stabilising_v, float) / np.asarray(setting_a) - np.asarray(relay_ohm)
    )


def required_knee(stabilising_v: ArrayLike) -> Array:
    """Knee-point voltage for sure operation, V_k >= 2 V_s. [V]

    Parameters
    ----------
    stabilising_v : array_like (V)

    Returns
    -------
    array (V)
    """
    return np.asarray(2 * np.asarray(stabilising_v, float))


def peak_voltage(knee_v: ArrayLike, full_v: ArrayLike) -> Array:
    """Peak across the relay circuit on an internal fault, 2 sqrt(2 V_k(V_f - V_k)). [V]

    sqrt(2)V_f up to V_f = 2 V_k. Derived: a core without exciting current whose flux stops at the
    knee's, a sinusoid without offset. From the current's zero sqrt(2)V_f sin(theta) carries the
    flux
    from one limit to the other, cos(theta) = 1 - 2 V_k/V_f, where it breaks off; beyond 90 degrees
    it has passed its crest. Above about 3 kV (common practice, no source) a non-linear resistor is
    needed.

    Parameters
    ----------
    knee_v : array_like (V)
    full_v : array_like (V)
        i_f(R_ct + R_lead + R_st + R_relay), RMS, as if no CT saturated.

    Returns
    -------
    array (V)

    Examples
    --------
    >>> float(peak_voltage(knee_v=200.0, full_v=5200.0).round())
    2828.0
    """
    knee = np.asarray(knee_v, float)
    full = np.asarray(full_v, float)
    clipped = 2 * np.sqrt(2 * knee * np.maximum(full - knee, 0.0))
    return np.asarray(np.where(full > 2 * knee, clipped, np.sqrt(2) * full))


def balancing_spill(
    balanced_spill_a: ArrayLike,
    leg_ohm: ArrayLike,
    balancing_ohm: ArrayLike,
    earth_ohm: ArrayLike,
    exciting_ohm: ArrayLike,
) -> Array:
    """Current in the earth leg because the balancing resistance differs from the two phase legs.
    [A]

    Derived. Ideal CTs would force the through current through whatever the legs' resistances are;
    real
    ones let part of it pass through their excitation. With Z = half of `exciting_ohm` (a phase has
    two
    CTs in parallel), R a phase leg, R_b the balancing leg, R_e the earth leg:

        i_e = i Z(R_b - R)/[(Z + R)(Z + R_b) + R_e(3Z + R + 2R_b)],  about i(R_b - R)/(Z + 3R_e) for
        a large Z

    Parameters
    ----------
    balanced_spill_a : array_like (A)
        RMS in each leg; sums to zero over the three (as does a fault between a watched phase and
        the
        balanced one).
    leg_ohm, balancing_ohm, earth_ohm : array_like (ohm)
    exciting_ohm : array_like, real or complex (ohm)
        One CT's exciting impedance; inf for ideal CTs.

    Returns
    -------
    array (A)
        Magnitude; 0 for equal legs and for ideal CTs.

    Examples
    --------
    >>> float(balancing_spill(5.0, leg_ohm=2.0, balancing_ohm=3.0, earth_ohm=4.0, exciting_ohm=1e4))
    0.0009...
    """
    one = np.asarray(exciting_ohm)
    ideal = np.isinf(one)
    z = np.where(ideal, 1.0, one) / 2
    leg = np.asarray(leg_ohm, float)
    balancing = np.asarray(balancing_ohm, float)
    earth = np.asarray(earth_ohm, float)
    loop = (z + leg) * (z + balancing) + earth * (3 * z + leg + 2 * balancing)
    share = np.abs(z * (balancing - leg)) / np.abs(loop)
    return np.asarray(np.abs(balanced_spill_a) * np.where(ideal, 0.0, share))


# What a measurement over one cycle makes at most of a fully offset sinusoid of RMS 1. The
# fundamental: largest over all time constants and windows (derived, by a test); true RMS: root of
# 1 + 2, where the offset has not decayed; peak over root two: 2.
OFFSET_READING = {"fundamental": 1.17, "rms": 3**0.5, "peak": 2.0}


def high_set_limits(
    through_a: ArrayLike, terminal_a: ArrayLike, reading: float
) -> tuple[Array, Array]:
    """Between which pick-ups an element without bias is stable and still quick. [A]

    Above 1.3 times what it reads of the largest through fault with full offset, all of it as
    difference, as if one end's CTs delivered nothing. Below half of the smallest fault at the
    terminals. Both factors: common practice.

    Parameters
    ----------
    through_a, terminal_a : array_like (A)
        Largest through fault; smallest fault inside at the terminals; RMS.
    reading : float
        Of a fully offset sinusoid over its RMS, as in `OFFSET_READING`.

    Returns
    -------
    (array, array)
        Lower and upper limit (A).

    Examples
    --------
    >>> [float(limit) for limit in high_set_limits(10.0, 50.0, 1.17)]
    [15.209999999999999, 25.0]
    """
    low = 1.3 * reading * np.asarray(through_a, float)
    return np.asarray(low), 0.5 * np.asarray(terminal_a, float)
