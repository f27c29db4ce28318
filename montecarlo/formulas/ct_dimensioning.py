"""What a fully offset current asks of a CT, and when it saturates. Numbers or arrays.

A CT of ohmic burden R carries i = sqrt(2)I(e^(-t/T_p) - cos wt), X/R = wT_p. With V = IR and an
ideal core its flux, over the peak flux of a sinusoidal V, is

    (X/R)(1 - e^(-wt R/X)) - sin wt

A core of knee voltage V_k saturates where this reaches K_s = V_k/V, or K_s(1 - remanence). Its
envelope has 1 for -sin wt. K_s, 1 + X/R and the envelope: IEEE C37.110, from memory. K_td: IEC
61869-2:2012 annex 2B.1.2, from memory; checked by integration."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike

from montecarlo.quantities import Array

LEAST_RATIO = 1e-9  # X/R of a current without a DC component
POINTS_ON_WAVE = 4001  # of half a cycle; the other half is the same, turned round
ROUND_OFF = 1e-12
HALVINGS = 80  # of a stretch of at most a cycle: to the last bit


def saturation_factor(knee_v: ArrayLike, burden_v: ArrayLike, remanence: ArrayLike = 0.0) -> Array:
    """K_s = V_k/V, what remanence leaves of it. [-]

    Parameters
    ----------
    knee_v : array_like (V)
    burden_v : array_like (V)
        Current times winding and burden, RMS without offset.
    remanence : array_like (-)
        Remanent flux in the direction of the offset, of the knee flux, 0 ... 1.

    Returns
    -------
    array (-)
        inf without a voltage.

    Examples
    --------
    >>> float(saturation_factor(232.0, 16.7 * 1.37).round(1))
    10.1
    """
    volts = np.asarray(burden_v, float)
    some = volts > 0
    left = np.asarray(knee_v, float) * (1 - np.asarray(remanence, float))
    return np.asarray(np.where(some, left / np.where(some, volts, 1.0), np.inf))


def offset_knee(burden_v: ArrayLike, x_over_r: ArrayLike, remanence: ArrayLike = 0.0) -> Array:
    """Knee voltage that a fully offset current never saturates, V(1 + X/R)/(1 - remanence). [V]

    Parameters
    ----------
    burden_v : array_like (V)
    x_over_r : array_like (-)
    remanence : array_like (-)
        Of the knee flux, 0 ... 1.

    Returns
    -------
    array (V)
        0 without a voltage, inf where no core is large enough.

    Examples
    --------
    >>> float(offset_knee(22.9, 60.0).round())
    1397.0
    """
    volts, left = np.asarray(burden_v, float), 1 - np.asarray(remanence, float)
    asked = np.where(volts > 0, volts, 1.0) * (1 + np.asarray(x_over_r, float))
    enough = np.where(left > 0, asked / np.where(left > 0, left, 1.0), np.inf)
    return np.asarray(np.where(volts > 0, enough, 0.0))


# --- time to saturation -------------------------------------------------------


def saturation_time_by_formula(factor: ArrayLike, x_over_r: ArrayLike, omega: float) -> Array:
    """Time to saturation by the envelope, -(X/R)/w ln(1 - (K_s - 1)/(X/R)). [s]

    Parameters
    ----------
    factor : array_like (-)
        K_s, or what remanence leaves of it.
    x_over_r : array_like (-)
    omega : float (rad/s)

    Returns
    -------
    array (s)
        0 for K_s up to 1; inf from K_s = 1 + X/R on: the core never saturates.

    Examples
    --------
    >>> (1000 * saturation_time_by_formula([5.0, 3.0], [15.0, 20.0], 100 * np.pi)).round(2)
    array([14.81,  6.71])
    """
    return _envelope_angle(*_both(factor, x_over_r)) / omega


def saturation_time(factor: ArrayLike, x_over_r: ArrayLike, omega: float) -> Array:
    """Time to saturation by the flux, the first t with (X/R)(1 - e^(-wt R/X)) - sin wt = K_s. [s]

    Parameters
    ----------
    factor : array_like (-)
        K_s, or what remanence leaves of it.
    x_over_r : array_like (-)
    omega : float (rad/s)

    Returns
    -------
    array (s)
        0 for K_s = 0; inf where the flux never comes as far.

    Notes
    -----
    Before the envelope reaches K_s the flux cannot. From there it is reached once, up to the next
    crest of the cycle or to the crest of -sin wt, where flux and envelope meet.

    Examples
    --------
    >>> (1000 * saturation_time([5.0, 3.0], [15.0, 20.0], 100 * np.pi)).round(2)
    array([14.82, 10.16])
    """
    factor, ratio = _both(factor, x_over_r)
    start = _envelope_angle(factor, ratio)
    known = np.isfinite(start) & (factor > 0)
    begin = np.where(known, start, 0.0)
    cycle = 2 * np.pi * np.floor(begin / (2 * np.pi))
    lowest = cycle + 1.5 * np.pi  # where -sin wt is 1
    crest = _bisected(lambda x: np.cos(x) - np.exp(-x / ratio), lowest, cycle + 2 * np.pi)
    over = (begin < crest) & (_flux(crest, ratio) >= factor)
    after = np.where(begin < crest, crest, begin)
    late = begin > lowest
    low = np.where(late & ~over, after, begin)
    high = np.where(late, np.where(over, crest, lowest + 2 * np.pi), lowest)
    angle = _bisected(lambda x: _flux(x, ratio) - factor, low, high)
    return np.where(known, angle, np.where(factor > 0, np.inf, 0.0)) / omega


def _both(factor: ArrayLike, x_over_r: ArrayLike) -> tuple[Array, Array]:
    ratio = np.maximum(np.asarray(x_over_r, float), LEAST_RATIO)
    one, other = np.broadcast_arrays(np.asarray(factor, float), ratio)
    return one, other


def _envelope_angle(factor: Array, ratio: Array) -> Array:
    """wt at which (X/R)(1 - e^(-wt R/X)) + 1 is K_s. [rad]"""
    above = np.maximum(factor - 1, 0.0)
    endless, reached = np.isinf(ratio) & np.isfinite(above), above < ratio
    known = reached & ~endless
    scale = np.where(known, ratio, 1.0)
    angle = -scale * np.log1p(-np.where(known, above, 0.0) / scale)
    return np.asarray(np.where(endless, above, np.where(reached, angle, np.inf)))


def _flux(angle: Array, ratio: Array) -> Array:
    endless = np.isinf(ratio)
    scale = np.where(endless, 1.0, ratio)
    offset = np.where(endless, angle, -scale * np.expm1(-angle / scale))
    return np.asarray(offset - np.sin(angle))


def _bisected(rising: Callable[[Array], Array], low: Array, high: Array) -> Array:
    """Where something that is below 0 at one place and not at a later one reaches it."""
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        below = rising(middle) < 0
        low, high = np.where(below, middle, low), np.where(below, high, middle)
    return high


# --- up to the start of a gate ------------------------------------------------


def start_factor(current_pu: ArrayLike, start_pu: float, wait_s: float, omega: float) -> Array:
    """K_s that keeps a core from saturating until a time-difference gate has started: the largest
    flux, over all points on wave, at the time when |i| passes its start, and `wait_s` later. [-]

    With i = sqrt(2)I(sin(wt + a) - sin a), no load before and no decay, the flux over the peak
    flux of a sinusoidal V is cos a - cos(wt + a) - wt sin a (derived; a test integrates it).

    Parameters
    ----------
    current_pu : array_like (pu)
        Without offset, RMS.
    start_pu : float (pu)
        RMS of a sinusoid.
    wait_s : float (s)
    omega : float (rad/s)

    Returns
    -------
    array (-)
        NaN where the current starts the gate at no point on wave.

    Examples
    --------
    >>> start_factor([2.0, 4.0, 7.0], 0.5, 3e-3, 100 * np.pi).round(3)
    array([0.703, 0.559, 0.503])
    """
    level = start_pu / np.asarray(current_pu, float)[..., None]
    # where the crest only just starts it: the latest start
    latest = np.arcsin(np.clip(1 - level, -1, 1))
    grid = np.linspace(-np.pi / 2, np.pi / 2, POINTS_ON_WAVE)
    grid = grid + np.zeros_like(level)
    at = np.concatenate([grid, latest], axis=-1)
    over = np.sin(at) + level
    under = np.sin(at) - level
    first = over <= 1 + ROUND_OFF
    rising = np.arcsin(np.minimum(over, 1))
    falling = np.pi - np.arcsin(np.maximum(under, -1))
    started = np.where(first, rising, falling)
    passed = started - at + omega * wait_s
    flux = np.abs(np.cos(at) - np.cos(at + passed) - passed * np.sin(at))
    starts = first | (under >= -1)
    largest = np.max(np.where(starts, flux, 0.0), axis=-1)
    return np.asarray(np.where(starts.any(axis=-1), largest, np.nan))


# --- transient dimensioning factor --------------------------------------------


def transient_factor(
    t: ArrayLike, omega: float, primary_s: ArrayLike, secondary_s: ArrayLike = np.inf
) -> Array:
    """Transient dimensioning factor, K_td(t) = wT_pT_s/(T_p - T_s)(e^(-t/T_p) - e^(-t/T_s)) + 1.
    [-]

    What a CT of constant inductance needs, over the flux of the current without offset, to stay
    unsaturated up to t. For a closed core, T_s infinite, it is the envelope of the head.

    Parameters
    ----------
    t : array_like (s)
    omega : float (rad/s)
    primary_s : array_like (s)
        T_p, of the DC component; above 0.
    secondary_s : array_like (s)
        T_s, inductance of the core over resistance of the secondary loop; above 0.

    Returns
    -------
    array (-)

    Examples
    --------
    >>> transient_factor([0.02, 0.1], 100 * np.pi, 0.06, 3.0).round(3)
    array([ 6.325, 15.971])
    """
    slow, fast = _rates(primary_s, secondary_s)
    when, gap = np.asarray(t, float), fast - slow
    alike = gap == 0
    apart = -np.expm1(-when * gap) / np.where(alike, 1.0, gap)
    return np.asarray(omega * np.exp(-when * slow) * np.where(alike, when, apart) + 1)


def greatest_transient_factor(
    omega: float, primary_s: ArrayLike, secondary_s: ArrayLike = np.inf
) -> Array:
    """Largest K_td of all times, wT_p (T_p/T_s)^(T_p/(T_s - T_p)) + 1. [-]

    Parameters
    ----------
    omega : float (rad/s)
    primary_s, secondary_s : array_like (s)
        As of `transient_factor`.

    Returns
    -------
    array (-)
        1 + wT_p = 1 + X/R for a closed core.

    Examples
    --------
    >>> greatest_transient_factor(100 * np.pi, 0.06, [3.0, np.inf]).round(3)
    array([18.403, 19.85 ])
    """
    slow, fast = _rates(primary_s, secondary_s)
    part = slow / fast
    inner = (part > 0) & (part < 1)
    some = np.where(inner, part, 0.5)
    # the time of the largest over the longer time constant
    late = np.where(inner, -some * np.log(some) / (1 - some), part)
    return np.asarray(omega * np.exp(-late) / fast + 1)


def _rates(primary_s: ArrayLike, secondary_s: ArrayLike) -> tuple[Array, Array]:
    """The smaller and the larger of 1/T_p and 1/T_s. [1/s]"""
    one, other = 1 / np.asarray(primary_s, float), 1 / np.asarray(secondary_s, float)
    return np.minimum(one, other), np.maximum(one, other)
