"""The steady solution: phasors with the describing function of the same CT model, by Newton.

Holds while the voltage that an element's setting drives through its leg stays below a quarter of the knee voltage;
remanence does not enter. Beyond that `transient.py` decides. Above 1.3 times the knee flux the characteristic is
continued along its tangent: such a leg current lies far above any setting this solution is asked about.
"""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

from montecarlo.quantities import Array
from montecarlo.secondary.circuit import CtBank
from montecarlo.secondary.excitation import YIELDS, sine_power_fundamental

Complex = NDArray[np.complex128]
VALID_KNEE_SHARE = 0.25
_TOP_FLUX = 1.3
_MAX_ITERATIONS = 60
_HALVINGS = 6                                              # of a step that does not bring the solution nearer
_TOLERANCE = 1e-10


def solve(table: Array, leg_ohm: Array, bank: CtBank, primary_a: Complex, omega: float) -> tuple[Complex, Complex]:
    """Leg currents and core fluxes under sinusoidal primary currents.

    table (legs, ct) signs; leg_ohm (n, legs); primary_a (n, ct) RMS phasors [A]. Returns leg currents (n, legs),
    RMS secondary [A], and core flux (n, ct), peak in units of the knee flux. NaN where Newton did not converge."""
    fundamental = np.array([sine_power_fundamental(int(s)) for s in bank.exponent])
    currents, flux = _solve_all(
        np.ascontiguousarray(table, dtype=float), np.ascontiguousarray(leg_ohm, dtype=float),
        np.ascontiguousarray(primary_a / bank.turns, dtype=complex), bank.series_ohm,
        omega * bank.knee_flux_wb / np.sqrt(2),          # RMS knee voltage: currents are RMS here, flux is its peak
        bank.knee_current_a / np.sqrt(2), bank.coefficients, bank.exponent, fundamental)
    return currents, flux


def describing_function(flux_peak: Array, coefficients: Array, exponent: int) -> Complex:
    """Exciting current over flux, fundamental components, for a settled loop of peak `flux_peak` > 0, in knee
    units; the imaginary part is the loss. coefficients (4, ...), flux_peak (...)."""
    fundamental = sine_power_fundamental(exponent)
    return np.array([_admittance(float(p), *map(float, c), exponent, fundamental)
                     for p, c in zip(flux_peak.ravel(), coefficients.reshape(4, -1).T, strict=True)],
                    dtype=complex).reshape(flux_peak.shape)


@njit(cache=True, nogil=True, error_model="numpy")
def _admittance(peak, a, b, c1, c2, exponent, fundamental):  # type: ignore[no-untyped-def]
    """Fundamental of the characteristic over its flux. A stop past its yield: closed form of its loop."""
    real = a + b * fundamental * peak ** (exponent - 1)
    imag = 0.0
    for c, y in ((c1, YIELDS[0]), (c2, YIELDS[1])):
        if peak <= y:
            real += c / y
        else:
            angle = np.arccos(1 - 2 * y / peak)            # where the falling branch reaches -c
            slope = c / y
            real += 2 / (np.pi * peak) * ((2 * c - slope * peak) * np.sin(angle)
                                          + slope * peak * (angle / 2 + np.sin(2 * angle) / 4))
            imag += 4 * c / (np.pi * peak) * (1 - y / peak)
    return complex(real, imag)


@njit(cache=True, nogil=True, error_model="numpy")
def _excite(m, a, b, c1, c2, exponent, fundamental):  # type: ignore[no-untyped-def]
    """Admittance at complex flux m and its derivative with respect to the peak."""
    peak = abs(m)
    if peak < 1e-9:
        return _admittance(1e-9, a, b, c1, c2, exponent, fundamental), 0j
    at = min(peak, _TOP_FLUX)
    y = _admittance(at, a, b, c1, c2, exponent, fundamental)
    step = 1e-6 * at
    dy = (_admittance(at + step, a, b, c1, c2, exponent, fundamental) - y) / step
    if peak > _TOP_FLUX:
        tangent = y + at * dy                              # of the current against the flux
        y = (y * at + tangent * (peak - at)) / peak
        dy = (tangent - y) / peak
    return y, dy


@njit(cache=True, nogil=True, error_model="numpy")
def _solve_all(table, leg_ohm, source, series, knee_v, knee_a, coef, exponent, fundamental):  # type: ignore[no-untyped-def]
    """Sample by sample; the last sample's flux is the first guess of the next (x runs fastest in a sweep)."""
    n, places = source.shape
    legs = table.shape[0]
    currents = np.empty((n, legs), np.complex128)
    flux = np.empty((n, places), np.complex128)
    coupling = np.empty((places, places))
    m = np.zeros(places, np.complex128)
    i, y, dy = np.empty_like(m), np.empty_like(m), np.empty_like(m)
    for k in range(n):
        for c in range(places):
            for d in range(places):
                coupling[c, d] = series[k, c] if c == d else 0.0
                for leg in range(legs):
                    coupling[c, d] += table[leg, c] * leg_ohm[k, leg] * table[leg, d]
                coupling[c, d] /= knee_v[k, c]
        settled = k > 0 and _newton(m, i, y, dy, coupling, source[k], knee_a[k], coef[:, k], exponent, fundamental)
        if not settled:                                    # from no flux at all
            m[:] = 0j
            settled = _newton(m, i, y, dy, coupling, source[k], knee_a[k], coef[:, k], exponent, fundamental)
        flux[k] = m
        for leg in range(legs):
            total = 0j
            for c in range(places):
                total += table[leg, c] * i[c]
            currents[k, leg] = total
        if not settled:
            flux[k] = complex(np.nan, np.nan)
            currents[k] = complex(np.nan, np.nan)
            m[:] = 0j
    return currents, flux


@njit(cache=True, nogil=True, error_model="numpy")
def _newton(m, i, y, dy, coupling, source, knee_a, coef, exponent, fundamental):  # type: ignore[no-untyped-def]
    """Solve  j·m = coupling·i(m)  from m, in place; a step is halved until the residual falls. True when settled."""
    places = m.size
    step, tried = np.empty_like(m), np.empty_like(m)
    off = _evaluate(m, i, y, dy, coupling, source, knee_a, coef, exponent, fundamental)
    for _ in range(_MAX_ITERATIONS):
        _newton_step(m, i, y, dy, coupling, knee_a, step)
        share = 1.0
        for _ in range(_HALVINGS):
            for c in range(places):
                tried[c] = m[c] - share * step[c]
            now = _evaluate(tried, i, y, dy, coupling, source, knee_a, coef, exponent, fundamental)
            if now < off:
                break
            share *= 0.5
        m[:] = tried
        off = now
        moved = 0.0
        for c in range(places):
            moved += abs(step[c])
        if not moved > _TOLERANCE:
            return moved <= _TOLERANCE                     # False for NaN
    return False


@njit(cache=True, nogil=True, error_model="numpy")
def _evaluate(m, i, y, dy, coupling, source, knee_a, coef, exponent, fundamental):  # type: ignore[no-untyped-def]
    """CT currents, admittances and their slopes at m; returns the norm of  j·m - coupling·i."""
    places = m.size
    for c in range(places):
        y[c], dy[c] = _excite(m[c], coef[0, c], coef[1, c], coef[2, c], coef[3, c], exponent[c], fundamental[c])
        i[c] = source[c] - knee_a[c] * y[c] * m[c]
    total = 0.0
    for c in range(places):
        off = 1j * m[c]
        for d in range(places):
            off -= coupling[c, d] * i[d]
        total += off.real**2 + off.imag**2
    return total


@njit(cache=True, nogil=True, error_model="numpy")
def _newton_step(m, i, y, dy, coupling, knee_a, step):  # type: ignore[no-untyped-def]
    """The Newton step in real and imaginary parts: the describing function is not analytic."""
    places = m.size
    jacobian, residual = np.empty((2 * places, 2 * places)), np.empty(2 * places)
    for c in range(places):
        off = 1j * m[c]
        for d in range(places):
            off -= coupling[c, d] * i[d]
            along = dy[d] * m[d] / max(abs(m[d]), 1e-9)     # d(y m) = y dm + dy·m·Re(conj(m) dm)/|m|
            du = coupling[c, d] * knee_a[d] * (y[d] + along * m[d].real)
            dv = coupling[c, d] * knee_a[d] * (1j * y[d] + along * m[d].imag)
            if c == d:
                du += 1j
                dv -= 1.0
            jacobian[2 * c, 2 * d], jacobian[2 * c + 1, 2 * d] = du.real, du.imag
            jacobian[2 * c, 2 * d + 1], jacobian[2 * c + 1, 2 * d + 1] = dv.real, dv.imag
        residual[2 * c], residual[2 * c + 1] = off.real, off.imag
    solution = np.linalg.solve(jacobian, residual)
    for c in range(places):
        step[c] = complex(solution[2 * c], solution[2 * c + 1])
