"""The steady solution: phasors with the describing function of the same CT model, by Newton.

Holds while the voltage that an element's setting drives through its leg stays below a quarter of
the knee voltage; remanence does not enter. Beyond that `transient.py` decides. Above 1.3 times the
knee flux the characteristic is continued along its tangent: such a leg current lies far above any
setting this solution is asked about."""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

import numpy as np

from montecarlo.quantities import Array, Complex, Flags
from montecarlo.relays.gates import OF_EARTH
from montecarlo.relays.schemes import OF_TWO_ENDS, RESIDUAL_PAIR
from montecarlo.secondary.circuit import CtBank
from montecarlo.secondary.excitation import YIELDS, sine_power_fundamental
from montecarlo.secondary.measurement import Measurement
from montecarlo.secondary.phasor_kernel import Samples, solve_lanes
from montecarlo.secondary.restraint import (
    NO_BIAS,
    bias_current,
    operating_quantity,
    scalar_product,
)
from montecarlo.secondary.workspace import network

VALID_KNEE_SHARE = 0.25
PEAK_POINTS = 180  # of half a cycle, where a peak is sought
MAX_PASSES = 400  # moves and halvings; most samples need two to five


class Steady(NamedTuple):
    """RMS phasors [A secondary] and core fluxes, peak in units of the knee flux; NaN where Newton
    did not converge."""

    legs: Complex  # (n, legs)
    cts: Complex  # (n, ct) what excitation leaves of each CT's current
    flux: Complex  # (n, ct)

    def quantities(self, measurement: Measurement) -> Array:
        """What each element compares with its pick-up, for each form of bias. [A]

        Parameters
        ----------
        measurement : Measurement

        Returns
        -------
        ndarray, (n, elements, forms)
        """
        if (chain := measurement.chain) is not None:
            gain = chain.gain()[:, None]
            passed = self._replace(legs=self.legs * gain, cts=self.cts * gain)
            return passed.quantities(replace(measurement, chain=None))
        out = np.empty((len(self.legs), len(measurement.legs), len(measurement.forms)))
        for e, leg in enumerate(measurement.legs):
            difference = self._measured(measurement, leg)
            ends = list(measurement.bias[e]) if measurement.bias else []
            bias = difference
            if ends:
                bias = self._bias(measurement, e, difference)
            for v, form in enumerate(measurement.forms):
                own = (*(form if ends else NO_BIAS)[:4], form[4])
                least = np.where(self._held(measurement, e, form[4]), np.inf, 0.0)
                out[:, e, v] = operating_quantity(difference, bias, own, least)
        return out

    def _measured(self, measurement: Measurement, leg: int) -> Array:
        """What is measured of a leg's current, (n,); a bias leaves the third harmonic out. [A]"""
        current, quantity = self.legs[:, leg], measurement.quantity
        if measurement.third is None or quantity == "fundamental":
            return np.abs(current)
        third = measurement.third[:, leg]
        if quantity == "rms":
            return np.hypot(np.abs(current), np.abs(third))
        angle = np.linspace(0, np.pi, PEAK_POINTS, endpoint=False)[:, None]
        wave = (current * np.exp(1j * angle) + third * np.exp(3j * angle)).real
        return np.asarray(np.abs(wave).max(axis=0))

    def _held(self, measurement: Measurement, e: int, gate: int) -> Flags:
        """Whether a gate, by its number, waits for the neutral's current; others are off, (n,)."""
        none = np.zeros(len(self.legs), bool)
        if not gate or not measurement.gates or not measurement.sides[e]:
            return none
        found = measurement.gates[gate - 1]
        if found.start != OF_EARTH:
            return none
        one_side = np.abs(self.cts @ np.array(measurement.sides[e]))
        return np.asarray(~(one_side > found.levels.start_a / np.sqrt(2)) & np.isfinite(one_side))

    def _bias(self, measurement: Measurement, e: int, difference: Array) -> Array:
        """Bias current of an element, (n,). [A]"""
        ends, kind = list(measurement.bias[e]), measurement.kind(e)
        if kind == RESIDUAL_PAIR:
            sides = np.abs(self.cts[:, ends] @ measurement.sides_of(e).T)
            return bias_current(sides, "mean")
        if kind not in OF_TWO_ENDS:
            return bias_current(np.abs(self.cts[:, ends]) * measurement.gains(ends), kind)
        through = np.abs(self.cts[:, ends] @ measurement.through(e))
        return through / 2 if kind == "vector_mean" else scalar_product(through, difference)


def solve(table: Array, leg_ohm: Array, bank: CtBank, primary_a: Complex, omega: float) -> Steady:
    """The circuit under sinusoidal primary currents.

    Parameters
    ----------
    table : ndarray, (legs, ct)
        Signs.
    leg_ohm : ndarray, (n, legs)
        (ohm).
    bank : CtBank
        (n, ct).
    primary_a : complex ndarray, (n, ct)
        RMS phasors (A).
    omega : float
        (rad/s).

    Returns
    -------
    Steady
    """
    n, places = primary_a.shape
    given = Samples(
        source=np.ascontiguousarray(primary_a / bank.turns, np.complex128),
        series_ohm=np.ascontiguousarray(bank.series_ohm),
        knee_v=np.ascontiguousarray(omega / np.sqrt(2) * bank.knee_flux_wb),
        # currents are RMS here, flux is its peak
        knee_a=np.ascontiguousarray(bank.knee_current_a / np.sqrt(2)),
        curve=np.ascontiguousarray(bank.coefficients),
        leg_ohm=np.ascontiguousarray(leg_ohm),
        power=(bank.exponent - 1) // 2,
        fundamental=np.array([sine_power_fundamental(int(s)) for s in bank.exponent]),
    )
    legs, cts, flux = (np.empty((n, size), np.complex128) for size in (len(table), places, places))
    solve_lanes(given, network(table), MAX_PASSES, legs, cts, flux)
    return Steady(legs, cts, flux)


def describing_function(flux_peak: Array, coefficients: Array, exponent: int) -> Complex:
    """Exciting current over flux, fundamental components of a settled loop, in knee units; the
    imaginary part is the loss.

    Parameters
    ----------
    flux_peak : ndarray, (...)
        Above 0 (knee flux).
    coefficients : array_like, (4, ...)
    exponent : int
        S.

    Returns
    -------
    complex ndarray, (...)
    """
    a, b, *bounds = np.asarray(coefficients, float)
    peak = np.asarray(flux_peak, float)
    real = a + b * sine_power_fundamental(exponent) * peak ** (exponent - 1)
    imag = np.zeros(peak.shape)
    for c, limit in zip(bounds, YIELDS, strict=True):
        angle = np.arccos(1 - 2 * np.minimum(limit / peak, 1.0))
        real = real + c / limit * (angle - np.sin(angle) * np.cos(angle)) / np.pi
        imag = imag + c / limit * np.sin(angle) ** 2 / np.pi
    return np.asarray(real + 1j * imag)
