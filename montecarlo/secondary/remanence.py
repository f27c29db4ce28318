"""What remembers a core's remanence: stop operators, or a curve shifted so that it passes through the remanent flux.

Both are at rest before an event. In units of the knee (m flux linkage over its peak at the knee voltage, i over the RMS
exciting current at the knee), from `excitation.py`:

    stop operators     i = a m + b m^S + h1 + h2           hysteresis with minor loops that forgets
    shifted curve      i = f(m) - f(m_r), f = a m + b m^S  no loss, never forgets (common practice, no source)

Two coefficients meet two conditions, those that decide when and how hard a core saturates: RMS 1 at the knee and 1.5
at 1.1 times its voltage (the knee of IEC 61869-2). The foot is given up: a straight foot draws at most 0.1 of the knee
current at a tenth of the voltage, where a core with hysteresis draws the ankle ratio. Nor is there a bound: a shifted
curve rests at any flux. Knees from a class or from measured points come from the characteristic with hysteresis in both
models (`completion.py`), so that nothing else differs.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from montecarlo.quantities import Array
from montecarlo.secondary.excitation import YIELDS, excitation_table, mean_current, start_state

__all__ = ["RemanenceModel", "Start", "coefficients_of", "other_model", "shifted_curve", "shifted_start", "start_of"]

RemanenceModel = Literal["stop_operators", "shifted_curve"]


@dataclass(frozen=True, eq=False)
class Start:
    """Cores at the start of a window: flux (n, ct) in knee units; of two stops their current, the bound on it and its
    rise with the flux, (2, n, ct) each in units of the knee current."""

    flux: Array
    stops: Array
    bounds: Array
    slopes: Array


def other_model(model: RemanenceModel) -> RemanenceModel:
    return "shifted_curve" if model == "stop_operators" else "stop_operators"


def coefficients_of(model: RemanenceModel, bound_percent: float, exponent: int, ankle: ArrayLike) -> Array:
    """a, b, c1, c2 of the characteristic at each ankle ratio, (4, ...). The shifted curve has c1 = c2 = 0 and knows
    neither ankle nor bound."""
    if model == "stop_operators":
        return excitation_table(bound_percent, exponent).at(ankle)
    shape = np.shape(ankle)
    return np.stack([np.full(shape, value) for value in (*shifted_curve(exponent), 0.0, 0.0)])


@cache
def shifted_curve(exponent: int) -> tuple[float, float]:
    """a and b of the single-valued curve that meets both conditions at the knee, exponent >= 5. Derived.

    Under m = p cos the mean square is a²p²/2 + 2ab p^(S+1) C1 + b² p^(2S) C2, C1 and C2 the means of cos^(S+1) and
    cos^2S; that at p = 1.1 over that at p = 1 is 1.5², a quadratic in b/a with one positive root."""
    linear, mixed, steep = 0.5, _mean_power(exponent + 1), _mean_power(2 * exponent)
    two = steep * (1.1 ** (2 * exponent) - 2.25)
    one = 2 * mixed * (1.1 ** (exponent + 1) - 2.25)
    none = linear * (1.1**2 - 2.25)
    ratio = (-one + math.sqrt(one**2 - 4 * two * none)) / (2 * two)
    a = 1 / math.sqrt(linear + 2 * ratio * mixed + ratio**2 * steep)
    return a, ratio * a


def _mean_power(power: int) -> float:
    """Cycle mean of cos^power, power even."""
    return math.comb(power, power // 2) / 2.0**power


def start_of(model: RemanenceModel, flux: NDArray[np.complex128], remanence: Array, coefficients: Array,
             exponent: NDArray[np.int64]) -> Start:
    """Cores at rest, or settled under a load of flux phasors `flux` (n, ct), peak; remanence (n, ct); knee units."""
    if model == "stop_operators":
        return Start(*start_state(flux, remanence, coefficients, exponent), coefficients[2:],
                     coefficients[2:] / YIELDS[:, None, None])
    return shifted_start(flux, remanence, coefficients, exponent)


def shifted_start(flux: NDArray[np.complex128], remanence: Array, coefficients: Array,
                  exponent: NDArray[np.int64]) -> Start:
    """The same for the shifted curve: the load's flux swings about the remanent flux, and the constant that shifts the
    curve takes the cycle mean of the current away; without load it is f(m_r). Derived.

    The constant is held as a first stop that does not rise and whose bound is itself; the second one is empty."""
    offset = np.empty(remanence.shape)
    for power in np.unique(exponent):
        same = np.asarray(exponent) == power
        offset[:, same], _ = mean_current(remanence[:, same], np.abs(flux[:, same]), coefficients[:2, :, same],
                                          int(power))
    stops = np.stack([-offset, np.zeros(offset.shape)])
    return Start(remanence + flux.real, stops, np.abs(stops), np.zeros(stops.shape))
