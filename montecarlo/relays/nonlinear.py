"""The non-linear resistor across a relay circuit: volts = c x amperes^beta, instantaneous values.

Textbooks and trade practice of high-impedance protection, from memory; no maker's data. Its RMS
current under a sinusoid is derived."""

from __future__ import annotations

from typing import Annotated

import numpy as np
from numpy.typing import ArrayLike

from montecarlo.quantities import Array, Distribution, Quantity, Section


class NonlinearResistor(Section):
    """A metal oxide resistor across burden and stabilising resistance of a high-impedance
    element."""

    c: Annotated[
        Distribution,
        Quantity("V", "instantaneous volts across it at 1 A", 0.0, above=True, usual=(0.1, 1e6)),
    ]
    beta: Annotated[
        Distribution,
        Quantity("-", "exponent: volts = c x amperes^beta", 0.01, 1.0),
    ]


def rms_current(volts: ArrayLike, c: ArrayLike, beta: ArrayLike) -> Array:
    """RMS current of the resistor under a sinusoidal voltage. [A]

    Parameters
    ----------
    volts : array_like
        RMS (V).
    c : array_like
        Above 0 (V at 1 A).
    beta : array_like
        Above 0 (-).

    Returns
    -------
    ndarray
        Of the broadcast shape; infinite beyond the range of numbers.

    Notes
    -----
    Derived: the mean of sin^(2p) is gamma(p + 1/2) / (sqrt(pi) gamma(p + 1)), p = 1 / beta.

    Examples
    --------
    >>> round(float(rms_current(100.0, c=200.0, beta=1.0)), 9)  # an ordinary resistor of 200 ohm
    0.5
    """
    from scipy.special import gammaln

    power = 1 / np.asarray(beta, float)
    shape = np.exp((gammaln(power + 0.5) - gammaln(power + 1)) / 2) / np.pi**0.25
    with np.errstate(over="ignore"):
        peak = (np.sqrt(2) * np.asarray(volts) / np.asarray(c)) ** power
        return np.asarray(peak * shape)


def limited_peak(amperes: ArrayLike, c: ArrayLike, beta: ArrayLike) -> Array:
    """Peak voltage across the resistor when it carries all of a sinusoidal current. [V]

    Parameters
    ----------
    amperes : array_like
        RMS (A).
    c : array_like
        (V at 1 A).
    beta : array_like
        (-).

    Returns
    -------
    ndarray
        Of the broadcast shape.
    """
    return np.asarray(np.asarray(c) * (np.sqrt(2) * np.asarray(amperes)) ** np.asarray(beta))
