"""The peak voltage across the relay circuits with the study's non-linear resistor."""

from __future__ import annotations

import numpy as np

from montecarlo.quantities import Array, Complex
from montecarlo.relays.nonlinear import limited_peak

DIRECTIONS = 3600  # of a sum of phasors; the error of its magnitude is below 4e-7


def largest_sum(phasors: Complex) -> Array:
    """The largest magnitude of a sum of some of them: which CTs of a leg saturate is not known, and
    one that does takes its current away.

    Parameters
    ----------
    phasors : complex ndarray, (..., ct)

    Returns
    -------
    ndarray, (...)
    """
    turn = np.exp(2j * np.pi * np.arange(DIRECTIONS) / DIRECTIONS)
    along = np.real(phasors[..., None] * turn)
    return np.asarray(np.maximum(along, 0.0).sum(axis=-2).max(axis=-1))


def across_resistor_v(secondary_a: Complex, legs: Array, c: float, beta: float) -> float:
    """The largest peak across the resistors of some legs.

    Parameters
    ----------
    secondary_a : complex ndarray, (n, ct)
        RMS, of each fault (A).
    legs : ndarray, (legs, ct)
        Rows of the scheme's table, each with a resistor.
    c, beta : float

    Returns
    -------
    float
        (V)
    """
    through = largest_sum(secondary_a[:, None] * legs)
    return float(limited_peak(through.max(), c, beta))
