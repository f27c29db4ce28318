"""The excitation characteristic: coefficients from the knee, the ankle and the remanence bound.

In units of the knee (m = flux linkage over its peak at the knee voltage, i over the RMS exciting
current at the knee) the characteristic is

    i = a m + b m^S + h1 + h2

where each h is a stop operator (Prandtl-Ishlinskii hysteresis; Visintin, Differential Models of
Hysteresis, Springer 1994): it moves with slope c/yield and is clipped to ±c. At rest h1 + h2 =
-f(m), so that a core with remanence draws no current before an event; a single-valued curve started
at a remanent flux would."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import ArrayLike

from montecarlo.quantities import Array, Complex, Index
from montecarlo.quantities.compiled import njit

YIELDS = np.array([0.03, 0.40])  # flux at which each stop yields; common practice, no source
# a load's flux swings further than its fundamental; 1.0 left spills of a milliampere
_SWING = 1.3
_ROUND_OFF = 1e-12  # of a coefficient that is zero
_ORDERS = 16  # of the series of the largest exponent, 31
_ANGLES = (np.arange(720) + 0.5) * np.pi / 720  # half a cycle, midpoint rule


def _branch(flux_peak: float, exponent: int) -> Array:
    """Descending branch of each term, unit coefficient, under a sinusoidal flux. (4, angles)"""
    m = flux_peak * np.cos(_ANGLES)
    tops = np.minimum(1.0, flux_peak / YIELDS)
    stops = np.maximum(-tops[:, None], tops[:, None] - (flux_peak - m) / YIELDS[:, None])
    return np.stack([m, m**exponent, *stops])


def loop_rms(coefficients: Array, flux_peak: float, exponent: int) -> Array:
    """RMS exciting current over a settled cycle of sinusoidal flux, in units of the knee current.

    Parameters
    ----------
    coefficients : ndarray, (4, ...)
        a, b, c1, c2.
    flux_peak : float
        In units of the knee flux.
    exponent : int
        S.

    Returns
    -------
    ndarray, (...)
    """
    current = np.tensordot(_branch(flux_peak, exponent).T, coefficients, 1)
    return np.asarray(np.sqrt(np.mean(current**2, axis=0)))


@dataclass(frozen=True, eq=False)
class ExcitationTable:
    """Coefficients a, b, c1, c2 against the ankle ratio, for one remanence bound and one exponent.

    Four conditions fix them: RMS 1 at the knee; RMS 1.5 at 1.1 times its voltage (the knee's
    definition in IEC 61869-2); RMS `ankle` at a tenth of it; and a core that can rest at the bound
    but not beyond, f(bound) = c1 + c2. The ankle stands for the foot of a CT's test curve (common
    practice, no source)."""

    ankle: Array  # (nodes,)
    rows: Array  # (4, nodes)

    @property
    def ankle_range(self) -> tuple[float, float]:
        """Ankle ratios that both stops can meet with c1, c2 >= 0; NaN if there are none."""
        if not self.ankle.size:
            return math.nan, math.nan
        return float(self.ankle[0]), float(self.ankle[-1])

    def at(self, ankle: ArrayLike) -> Array:
        """Coefficients at some ankle ratios.

        Parameters
        ----------
        ankle : array_like, (...)

        Returns
        -------
        ndarray, (4, ...)
            NaN outside the range.
        """
        ankle = np.asarray(ankle, float)
        return np.stack(
            [np.interp(ankle, self.ankle, row, left=np.nan, right=np.nan) for row in self.rows]
        )


@cache
def excitation_table(bound_percent: float, exponent: int) -> ExcitationTable:
    """The table for a bound and an exponent, made once a process.

    Parameters
    ----------
    bound_percent : float
        Remanence bound (% of the knee flux).
    exponent : int
        S.

    Returns
    -------
    ExcitationTable
    """
    bound = bound_percent / 100
    return _tabulated(np.array([bound, bound**exponent, -1.0, -1.0]), exponent)


@cache
def one_stop_table(exponent: int) -> ExcitationTable:
    """The same with c2 = 0 in place of the condition on the bound.

    Parameters
    ----------
    exponent : int
        S.

    Returns
    -------
    ExcitationTable
    """
    return _tabulated(np.array([0.0, 0.0, 0.0, 1.0]), exponent)


def _tabulated(line: Array, exponent: int) -> ExcitationTable:
    """By continuation from ankle to ankle; `line`: what is zero times the coefficients, the fourth
    condition."""
    scan = np.arange(0.05, 0.80, 0.002)
    # near the solution at ankle 0.2, bound 80 %, exponent 15
    start = np.array([0.678, 0.444, 0.100, 0.458])
    branches = [_branch(peak, exponent) for peak in (0.1, 1.0, 1.1)]
    forms = [branch @ branch.T / _ANGLES.size for branch in branches]
    rows = np.full((4, scan.size), np.nan)
    middle = int(np.argmin(np.abs(scan - 0.2)))
    for indices in (range(middle, -1, -1), range(middle, scan.size)):
        v = start
        for i in indices:
            v = _fit(scan[i], line, forms, v)
            if not np.isfinite(v).all():
                break
            rows[:, i] = v
    usable = np.isfinite(rows).all(axis=0) & (rows >= -_ROUND_OFF).all(axis=0)
    return ExcitationTable(scan[usable], np.maximum(rows[:, usable], 0.0))


def _fit(ankle: float, line: Array, forms: Sequence[Array], start: Array) -> Array:
    """Newton on three quadratic forms (RMS² is quadratic in the coefficients) and one line."""
    wanted = (ankle, 1.0, 1.5)
    v = start
    for _ in range(40):
        errors = [v @ q @ v - rms**2 for q, rms in zip(forms, wanted, strict=True)]
        off = np.array([*errors, line @ v])
        step = np.linalg.solve(np.stack([*(2 * q @ v for q in forms), line]), off)
        v = v - step
        if np.abs(step).max() < 1e-12:
            return v
    return np.full(4, np.nan)


def sine_power_fundamental(exponent: int) -> float:
    """Fundamental of cos^S: 2·C(S+1, (S+1)/2)/2^(S+1), S odd.

    Parameters
    ----------
    exponent : int
        S, odd.

    Returns
    -------
    float
    """
    return math.comb(exponent + 1, (exponent + 1) // 2) / 2.0**exponent


def settled_offsets(
    remanence: Array, flux_peak: Array, coefficients: Array, exponent: Index
) -> tuple[Array, Array]:
    """Where a core with load stands: mean flux and the mean of each stop, so that the mean current
    is zero.

    A stop that the load flux sweeps from end to end keeps no mean; one that it does not sweep may
    rest anywhere in the band that is left, c - slope·peak, less a margin for the flux's harmonics.
    Remanence that the band cannot hold is shaken down to what it can. Derived.

    Parameters
    ----------
    remanence, flux_peak : ndarray, (n, ct)
        In knee units.
    coefficients : ndarray, (4, n, ct)
    exponent : ndarray, (ct,)

    Returns
    -------
    tuple of ndarray, (n, ct) and (2, n, ct)
        Mean flux (knee flux) and mean of the stops (knee current).
    """
    band = np.maximum(coefficients[2:] * (1 - _SWING * flux_peak / YIELDS[:, None, None]), 0.0)
    room = band.sum(axis=0)
    mean, current = kept_within(room, remanence, flux_peak, coefficients, exponent)
    with np.errstate(invalid="ignore", divide="ignore"):
        return mean, -np.where(room > 0, band / room, 0.0) * current


def kept_within(
    room: Array, mean: Array, peak: Array, coefficients: Array, exponent: Index
) -> tuple[Array, Array]:
    """The mean flux, brought to where the cycle mean of a m + b m^S, m = mean + peak·cos, is within
    ±room; and that mean current.

    By Newton: beyond that point the current rises ever faster, so every move stops short of it.

    Parameters
    ----------
    room : ndarray, (n, ct)
        In units of the knee current; infinite: the mean flux stays.
    mean, peak : ndarray, (n, ct)
        Flux, in knee units.
    coefficients : ndarray, (4, n, ct)
        a, b and those of the stops.
    exponent : ndarray, (ct,)
        S.

    Returns
    -------
    tuple of ndarray, (n, ct)
        In units of the knee flux, and of the knee current.
    """
    numbers = np.array([_orders(int(power)) for power in exponent])
    given = (room, mean, peak, coefficients[0], coefficients[1])
    flux, current = _within(*map(np.ascontiguousarray, given), numbers, (exponent + 1) // 2)
    return flux, current


@cache
def _orders(exponent: int) -> tuple[float, ...]:
    """Of the binomial series, in which the mean of cos^2k is C(2k, k)/4^k; zeros behind."""
    orders = range((exponent + 1) // 2)
    weights = [math.comb(exponent, 2 * k) * math.comb(2 * k, k) / 4**k for k in orders]
    return (*weights, *[0.0] * (_ORDERS - len(weights)))


@njit(nogil=True, error_model="numpy")
def _mean_current(
    mean: float, peak: float, linear: float, steep: float, weights: Array
) -> tuple[float, float]:
    """The cycle mean, and its derivative by `mean`."""
    square, swing, factor = mean**2, peak**2, 1.0
    total, rise = 0.0, 0.0
    for k in range(weights.size):
        weight = weights[k] * factor
        total = total * square + weight
        rise = rise * square + (2 * weights.size - 1 - 2 * k) * weight
        factor = factor * swing
    return linear * mean + steep * total * mean, linear + steep * rise


@njit(nogil=True, error_model="numpy", entry=True)
def _within(
    room: Array,
    mean: Array,
    peak: Array,
    linear: Array,
    steep: Array,
    weights: Array,
    orders: Index,
) -> tuple[Array, Array]:
    """`kept_within`, core by core."""
    flux, current = mean.copy(), np.empty(mean.shape)
    for i in range(mean.shape[0]):
        for j in range(mean.shape[1]):
            own = weights[j, : orders[j]]
            a, b, most, m = linear[i, j], steep[i, j], room[i, j], mean[i, j]
            there, slope = _mean_current(m, peak[i, j], a, b, own)
            if abs(there) > most:
                target = np.copysign(most, m)
                for _ in range(60):
                    move = (there - target) / slope
                    m -= move
                    if not abs(move) >= 1e-14:
                        break
                    there, slope = _mean_current(m, peak[i, j], a, b, own)
                there = target
            flux[i, j], current[i, j] = m, there
    return flux, current


def start_state(
    flux: Complex, remanence: Array, coefficients: Array, exponent: Index
) -> tuple[Array, Array]:
    """Flux and stops of cores settled under load, at the instant that the phasors' angles refer to;
    without load, at rest.

    Parameters
    ----------
    flux : complex ndarray, (n, ct)
        Peak phasors of the load flux, in knee units.
    remanence : ndarray, (n, ct)
        In knee units.
    coefficients : ndarray, (4, n, ct)
    exponent : ndarray, (ct,)

    Returns
    -------
    tuple of ndarray, (n, ct) and (2, n, ct)
        Flux (knee flux), the stops' currents (knee current).
    """
    mean, offsets = settled_offsets(remanence, np.abs(flux), coefficients, exponent)
    return mean + flux.real, offsets + coefficients[2:] * loop_state(flux)


def loop_state(flux: Complex) -> Array:
    """Where the two stops of unit bound stand on the settled loop of a load's flux alone.

    Parameters
    ----------
    flux : complex ndarray, (n, ct)
        Peak phasors, in knee units.

    Returns
    -------
    ndarray, (2, n, ct)
        -1 ... 1.
    """
    peak, wave = np.abs(flux), flux.real
    yields = YIELDS[:, None, None]
    top = np.minimum(1.0, peak / yields)
    falling = np.maximum(-top, top - (peak - wave) / yields)
    rising = np.minimum(top, (peak + wave) / yields - top)
    return np.asarray(np.where(flux.imag > 0, falling, rising))
