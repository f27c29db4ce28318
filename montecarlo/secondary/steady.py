"""The steady solution: phasors with the describing function of the same CT model, by Newton.

Holds while the voltage that an element's setting drives through its leg stays below a quarter of the knee voltage;
remanence does not enter. Beyond that `transient.py` decides. Above 1.3 times the knee flux the characteristic is
continued along its tangent: such a leg current lies far above any setting this solution is asked about.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from montecarlo.quantities import Array
from montecarlo.secondary.circuit import CtBank
from montecarlo.secondary.excitation import YIELDS, sine_power_fundamental
from montecarlo.secondary.measurement import Measurement
from montecarlo.secondary.restraint import NO_BIAS, bias_current, operating_quantity

Complex = NDArray[np.complex128]
VALID_KNEE_SHARE = 0.25
_TOP_FLUX = 1.3
_MAX_ITERATIONS = 60
_HALVINGS = 6                                              # of a step that does not bring the solution nearer
_TOLERANCE = 1e-10
_COMPILED = {"cache": True, "nogil": True, "error_model": "numpy"}


class Steady(NamedTuple):
    """RMS phasors [A secondary] and core fluxes, peak in units of the knee flux; NaN where Newton did not converge."""

    legs: Complex                                          # (n, legs)
    cts: Complex                                           # (n, ct) what excitation leaves of each CT's current
    flux: Complex                                          # (n, ct)

    def quantities(self, measurement: Measurement) -> Array:
        """What each element compares with its pick-up, for each form of bias: (n, elements, forms)."""
        out = np.empty((len(self.legs), len(measurement.legs), len(measurement.forms)))
        for e, leg in enumerate(measurement.legs):
            difference = np.abs(self.legs[:, leg])
            ends = list(measurement.bias[e]) if measurement.bias else []
            bias = difference if not ends else bias_current(
                np.abs(self.cts[:, ends]) * measurement.gains(ends), measurement.bias_current)
            for v, form in enumerate(measurement.forms):
                out[:, e, v] = operating_quantity(difference, bias, *(form if ends else NO_BIAS))
        return out


def solve(table: Array, leg_ohm: Array, bank: CtBank, primary_a: Complex, omega: float) -> Steady:
    """The circuit under sinusoidal primary currents.

    table (legs, ct) signs; leg_ohm (n, legs); primary_a (n, ct) RMS phasors [A]."""
    arrays = (table, leg_ohm, primary_a / bank.turns, bank.series_ohm,
              omega * bank.knee_flux_wb / np.sqrt(2),      # RMS knee voltage: currents are RMS here, flux is its peak
              bank.knee_current_a / np.sqrt(2), _curves(bank.coefficients, bank.exponent))
    currents, flux = _solve_all(*map(np.ascontiguousarray, arrays))
    return Steady(currents @ table.T, currents, flux)


def describing_function(flux_peak: Array, coefficients: Array, exponent: int) -> Complex:
    """Exciting current over flux, fundamental components, for a settled loop of peak `flux_peak` > 0, in knee
    units; the imaginary part is the loss. coefficients (4, ...), flux_peak (...)."""
    peak = np.asarray(flux_peak, float)
    curves = _curves(np.asarray(coefficients, float), exponent)
    out = np.empty(peak.shape, np.complex128)
    for index in np.ndindex(peak.shape):
        out[index] = _admittance(peak[index], curves[index])
    return out


def _curves(coefficients: Array, exponent: int | NDArray[np.int64]) -> Array:
    """(4, ...) and exponents -> (..., 8): a, b, c1, c2, the two yields, exponent, fundamental of cos^exponent."""
    shape = coefficients.shape[1:]
    fundamental = np.vectorize(sine_power_fundamental, otypes=[float])(exponent)
    rest = (*YIELDS, np.asarray(exponent, float), fundamental)
    return np.stack([*coefficients, *(np.broadcast_to(value, shape) for value in rest)], axis=-1)


# --- one sample -------------------------------------------------------------------------------------------


@njit(**_COMPILED)
def _admittance(peak: float, curve: Array) -> complex:
    """Fundamental of the characteristic over its flux. A stop past its yield: closed form of its loop."""
    real = curve[0] + curve[1] * curve[7] * peak ** int(curve[6] - 1)
    imag = 0.0
    for c, y in ((curve[2], curve[4]), (curve[3], curve[5])):
        if peak <= y:
            real += c / y
        else:
            angle = np.arccos(1 - 2 * y / peak)            # where the falling branch reaches -c
            slope = c / y
            real += 2 / (np.pi * peak) * ((2 * c - slope * peak) * np.sin(angle)
                                          + slope * peak * (angle / 2 + np.sin(2 * angle) / 4))
            imag += 4 * c / (np.pi * peak) * (1 - y / peak)
    return complex(real, imag)


@njit(**_COMPILED)
def _excite(m: complex, curve: Array) -> tuple[complex, complex]:
    """Admittance at complex flux m and its derivative with respect to the peak."""
    peak = abs(m)
    if peak < 1e-9:
        return _admittance(1e-9, curve), 0j
    at = min(peak, _TOP_FLUX)
    y = _admittance(at, curve)
    step = 1e-6 * at
    dy = (_admittance(at + step, curve) - y) / step
    if peak > _TOP_FLUX:
        tangent = y + at * dy                              # of the current against the flux
        y = (y * at + tangent * (peak - at)) / peak
        dy = (tangent - y) / peak
    return y, dy


@njit(**_COMPILED)
def _evaluate(m: Complex, i: Complex, y: Complex, dy: Complex, off: Complex, coupling: Array, source: Complex,
              knee_a: Array, curves: Array) -> float:
    """CT currents, admittances, their slopes and the residual  j·m - coupling·i  at m; returns its norm squared."""
    for c in range(m.size):
        y[c], dy[c] = _excite(m[c], curves[c])
        i[c] = source[c] - knee_a[c] * y[c] * m[c]
    total = 0.0
    for c in range(m.size):
        off[c] = 1j * m[c]
        for d in range(m.size):
            off[c] -= coupling[c, d] * i[d]
        total += off[c].real ** 2 + off[c].imag ** 2
    return total


@njit(**_COMPILED)
def _newton_step(m: Complex, y: Complex, dy: Complex, off: Complex, coupling: Array, knee_a: Array) -> Complex:
    """The Newton step in real and imaginary parts: the describing function is not analytic."""
    places = m.size
    jacobian, residual = np.empty((2 * places, 2 * places)), np.empty(2 * places)
    for d in range(places):
        along = dy[d] * m[d] / max(abs(m[d]), 1e-9)         # d(y m) = y dm + dy·m·Re(conj(m) dm)/|m|
        across_u, across_v = knee_a[d] * (y[d] + along * m[d].real), knee_a[d] * (1j * y[d] + along * m[d].imag)
        for c in range(places):
            du, dv = coupling[c, d] * across_u, coupling[c, d] * across_v
            if c == d:
                du += 1j
                dv -= 1.0
            jacobian[2 * c, 2 * d], jacobian[2 * c + 1, 2 * d] = du.real, du.imag
            jacobian[2 * c, 2 * d + 1], jacobian[2 * c + 1, 2 * d + 1] = dv.real, dv.imag
    for c in range(places):
        residual[2 * c], residual[2 * c + 1] = off[c].real, off[c].imag
    step = np.linalg.solve(jacobian, residual)
    return step[0::2] + 1j * step[1::2]


@njit(**_COMPILED)
def _newton(m: Complex, i: Complex, coupling: Array, source: Complex, knee_a: Array, curves: Array) -> bool:
    """Solve  j·m = coupling·i(m)  from m, m and i in place; a step is halved until the residual falls. True when
    settled."""
    y, dy, off = np.empty_like(m), np.empty_like(m), np.empty_like(m)
    norm = _evaluate(m, i, y, dy, off, coupling, source, knee_a, curves)
    for _ in range(_MAX_ITERATIONS):
        if not norm < np.inf:                              # not a number either
            return False
        step = _newton_step(m, y, dy, off, coupling, knee_a)
        before, start, share = norm, m.copy(), 1.0
        for _ in range(_HALVINGS):
            m[:] = start - share * step
            norm = _evaluate(m, i, y, dy, off, coupling, source, knee_a, curves)
            if norm < before:
                break
            share *= 0.5
        if np.abs(step).sum() <= _TOLERANCE:
            return True
    return False


@njit(**_COMPILED)
def _solve_all(table: Array, leg_ohm: Array, source: Complex, series: Array, knee_v: Array, knee_a: Array,
               curves: Array) -> tuple[Complex, Complex]:
    """Sample by sample; the last sample's flux is the first guess of the next (x runs fastest in a sweep)."""
    n, places = source.shape
    legs = table.shape[0]
    currents = np.full((n, places), complex(np.nan, np.nan))
    flux = np.full((n, places), complex(np.nan, np.nan))
    coupling = np.empty((places, places))
    m, i = np.zeros(places, np.complex128), np.zeros(places, np.complex128)
    settled = False
    for k in range(n):
        for c in range(places):
            for d in range(places):
                coupling[c, d] = series[k, c] if c == d else 0.0
                for leg in range(legs):
                    coupling[c, d] += table[leg, c] * leg_ohm[k, leg] * table[leg, d]
                coupling[c, d] /= knee_v[k, c]
        settled = settled and _newton(m, i, coupling, source[k], knee_a[k], curves[k])
        if not settled:                                    # from no flux at all
            m[:] = 0j
            settled = _newton(m, i, coupling, source[k], knee_a[k], curves[k])
        if settled:
            flux[k], currents[k] = m, i
    return currents, flux
