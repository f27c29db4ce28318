"""What a biased element compares with its pick-up; one formula for the phasor and the transient
solution.

    bias(I_b) = s1 I_b + (s2 - s1) max(0, I_b - I_break)

*Sum*: the element trips when |I_d| > I_0 + bias (Wadhwa, Electrical Power Systems, ch. 14).
*Greater-of*: when |I_d| is above I_0 and above bias (Chakrabarti et al., A Textbook on Power System
Engineering, III). Both are taught; the study declares which. So an element's quantity, which I_0 is
compared with, is |I_d| - bias in the first form, and in the second |I_d| where that is above bias
and 0 elsewhere."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from montecarlo.quantities import Array

UNBIASED, SUM, GREATER_OF = 0, 1, 2
ADDED, LARGEST, PRODUCT = 0, 1, 2  # how a bias current is made of what is measured
# which, first_slope, second_slope, turning point [A], gate: 0 for none, else its number from 1 on
Form = tuple[int, float, float, float, int]
NO_BIAS: Form = (UNBIASED, 0.0, 0.0, 0.0, 0)


@dataclass(frozen=True)
class Bias:
    """Slopes of a biased element; without a second slope the first holds everywhere."""

    first_slope: float
    second_slope: float | None = None
    turning_point_a: float | None = None

    def restraint(self, bias_a: float) -> float:
        """The bias at a bias current. [A]

        Parameters
        ----------
        bias_a : float
            (A).

        Returns
        -------
        float
        """
        return -float(operating_quantity(np.zeros(1), np.array([bias_a]), self.form(SUM))[0])

    def form(self, which: int, gate: int = 0) -> Form:
        """The same for `operating_quantity`.

        Parameters
        ----------
        which : int
            SUM or GREATER_OF.
        gate : int, optional
            That holds the element back, by its number; 0: none.

        Returns
        -------
        Form
        """
        second_slope = self.first_slope if self.second_slope is None else self.second_slope
        return which, self.first_slope, second_slope, self.turning_point_a or 0.0, gate

    def plain(self) -> Bias:
        """The same without a second slope that is none: it is missing, or equals the first.

        Returns
        -------
        Bias
        """
        one = self.second_slope in (None, self.first_slope)
        return replace(self, second_slope=None, turning_point_a=None) if one else self


def operating_quantity(
    difference: Array, bias: Array, form: tuple[float, ...], least: Array | float = 0.0
) -> Array:
    """What is compared with the pick-up. [A]

    Parameters
    ----------
    difference, bias : ndarray, (...)
        Differential and bias current (A).
    form : Form, or its numbers
    least : ndarray, (...), or float, optional
        What a gate makes of the slope at least; infinite: the element cannot operate.

    Returns
    -------
    ndarray, (...)
    """
    blocked = np.isinf(least)
    if np.any(blocked):
        free = operating_quantity(difference, bias, form, np.where(blocked, 0.0, least))
        return np.where(blocked, np.minimum(free, 0.0), free)
    which, first_slope, second_slope, turning_point_a = form[:4]
    if which == UNBIASED:
        return difference * 1.0
    with np.errstate(invalid="ignore", over="ignore"):  # as compiled: bad values stay visible
        turned = np.maximum(bias - turning_point_a, 0.0)
        restraint = first_slope * bias + (second_slope - first_slope) * turned
        restraint = np.maximum(restraint, least * bias)
        if which == SUM:
            return difference - restraint
        # not a number stays
        return np.where(difference > restraint, difference, 0.0) + 0.0 * (difference + restraint)


def threshold(pickup_a: float, bias: Array, form: Form, least: Array | float = 0.0) -> Array:
    """The differential current above which an element operates; infinite while a gate blocks it.
    [A]

    Parameters
    ----------
    pickup_a : float
        Its setting (A).
    bias : ndarray, (...)
        Bias current (A).
    form : Form
    least : ndarray, (...), or float, optional
        As of `operating_quantity`.

    Returns
    -------
    ndarray, (...)
    """
    which, blocked = form[0], np.isinf(least)
    if which == UNBIASED:
        return np.where(blocked, np.inf, np.full(bias.shape, pickup_a))
    slope = np.where(blocked, 0.0, least)
    restraint = -operating_quantity(np.zeros(bias.shape), bias, (SUM, *form[1:]), slope)
    level = pickup_a + restraint if which == SUM else np.maximum(pickup_a, restraint)
    return np.where(blocked, np.inf, level)


def bias_current(ends: Array, kind: str) -> Array:
    """Bias current of currents that pass through the zone, in phase. [A]

    Parameters
    ----------
    ends : ndarray, (..., ends)
        Magnitudes of the ends' currents (A).
    kind : str
        "mean", "sum" or "largest", of two ends also "vector_mean" or "scalar_product", of a neutral
        CT and others "residual_pair".

    Returns
    -------
    ndarray, (...)
    """
    if kind == "largest":
        return np.asarray(ends.max(axis=-1))
    if kind == "scalar_product":
        return np.asarray(np.sqrt(ends.prod(axis=-1)))
    if kind == "residual_pair":
        return np.asarray(ends.sum(axis=-1) / 2)
    return np.asarray(ends.sum(axis=-1) if kind == "sum" else ends.mean(axis=-1))


def scalar_product(through: Array, difference: Array) -> Array:
    """Root of |I1| |I2| cos(angle) of two ends, 0 beyond 90 degrees. [A]

    By (|I1 + I2|² - |I1 - I2|²) / 4 (derived), so of any measured quantity.

    Parameters
    ----------
    through, difference : ndarray, (...)
        What is measured of the sum and of the difference of their currents (A).

    Returns
    -------
    ndarray, (...)
    """
    return np.asarray(np.sqrt(np.maximum(through**2 - difference**2, 0.0)) / 2)
