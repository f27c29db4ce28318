"""What remembers a core's remanence: stop operators, or a curve shifted so that it passes through
the remanent flux.

Both are at rest before an event. In units of the knee (m flux linkage over its peak at the knee
voltage, i over the RMS exciting current at the knee), from `excitation.py`:

    stop operators     i = a m + b m^S + h1 + h2           hysteresis with minor loops that forgets
    shifted curve      i = f(m) - f(m_r) + h1              f = a m + b m^S never forgets (common
    practice, no source)

The shifted curve keeps the small loop of the foot, h1, at rest at zero: f alone draws at most 0.1
of the knee current at a tenth of the knee voltage whatever the iron, so that two runs would compare
feet, not remanence. Three coefficients meet three of the four conditions: RMS 1 at the knee, 1.5 at
1.1 times its voltage (IEC 61869-2), and the ankle ratio. Given up is the bound, since a shifted
curve rests at any flux, and with h2 most of the loss and some of the current halfway to the knee.
Knees from a class or from measured points come from the characteristic with hysteresis in both
models (`completion.py`), so that nothing else differs."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from montecarlo.quantities import Array, Complex, Index
from montecarlo.secondary.excitation import (
    YIELDS,
    excitation_table,
    kept_within,
    loop_state,
    one_stop_table,
    start_state,
)

RemanenceModel = Literal["stop_operators", "shifted_curve"]


@dataclass(frozen=True, eq=False)
class Start:
    """Cores at the start of a window: flux (n, ct) in knee units; of two stops their current, the
    bound on it and its rise with the flux, (2, n, ct) each in units of the knee current."""

    flux: Array
    stops: Array
    bounds: Array
    slopes: Array


def other_model(model: RemanenceModel) -> RemanenceModel:
    """The model of remanence that is not this one.

    Parameters
    ----------
    model : str
        One of `RemanenceModel`.

    Returns
    -------
    str
    """
    return "shifted_curve" if model == "stop_operators" else "stop_operators"


def coefficients_of(
    model: RemanenceModel, bound_percent: float, exponent: int, ankle: ArrayLike
) -> Array:
    """a, b, c1, c2 of the characteristic; the shifted curve has c2 = 0 and knows no bound.

    Parameters
    ----------
    model : str
        One of `RemanenceModel`.
    bound_percent : float
        (% of the knee flux).
    exponent : int
        S.
    ankle : array_like, (...)
        Ankle ratio.

    Returns
    -------
    ndarray, (4, ...)
    """
    if model == "stop_operators":
        return excitation_table(bound_percent, exponent).at(ankle)
    return one_stop_table(exponent).at(ankle)


def start_of(
    model: RemanenceModel,
    flux: Complex,
    remanence: Array,
    coefficients: Array,
    exponent: Index,
) -> Start:
    """Cores at rest, or settled under a load.

    Parameters
    ----------
    model : str
        One of `RemanenceModel`.
    flux : complex ndarray, (n, ct)
        Peak phasors of the load flux, in knee units.
    remanence : ndarray, (n, ct)
        In knee units.
    coefficients : ndarray, (4, n, ct)
    exponent : ndarray, (ct,)

    Returns
    -------
    Start
    """
    if model == "stop_operators":
        return Start(
            *start_state(flux, remanence, coefficients, exponent),
            coefficients[2:],
            coefficients[2:] / YIELDS[:, None, None],
        )
    return shifted_start(flux, remanence, coefficients, exponent)


def shifted_start(flux: Complex, remanence: Array, coefficients: Array, exponent: Index) -> Start:
    """The same for the shifted curve: the load's flux swings about the remanent flux, and the
    constant that shifts the curve takes the cycle mean of the current away; without load it is
    f(m_r). Derived.

    The constant is held as a second stop that does not rise and whose bound is itself.

    Parameters
    ----------
    flux, remanence, coefficients, exponent
        As in `start_of`.

    Returns
    -------
    Start
    """
    free = np.full(remanence.shape, np.inf)
    _, offset = kept_within(free, remanence, np.abs(flux), coefficients, exponent)
    foot = coefficients[2]
    return Start(
        remanence + flux.real,
        np.stack([foot * loop_state(flux)[0], -offset]),
        np.stack([foot, np.abs(offset)]),
        np.stack([foot / YIELDS[0], np.zeros(offset.shape)]),
    )
