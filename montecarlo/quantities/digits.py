"""Where the last bits of a number end and what it says begins.

Processors differ in how they add, multiply and take logarithms, so the same result comes out with
other last bits. Here it becomes the same number again: to rank settings, and to be written.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from montecarlo.quantities.arrays import Array

ALIKE_BITS = 33  # ten digits
DIGITS = 8  # of a number that is written
COUNTED = 1e12  # no count is larger; of other numbers beyond, some are whole by chance


def alike(values: ArrayLike) -> Array:
    """Numbers to 33 bits: equal where they differ in last bits alone.

    Two of them may still fall on either side of an edge, as often as their difference is a part of
    1e-10.

    Parameters
    ----------
    values : array_like

    Returns
    -------
    ndarray
        What is not finite stays.

    Examples
    --------
    >>> bool(alike(0.1 + 0.2) == alike(0.3)), bool(alike(0.1 + 1e-9) == alike(0.1))
    (True, False)
    """
    mantissa, exponent = np.frexp(values)
    return np.asarray(np.ldexp(np.rint(np.ldexp(mantissa, ALIKE_BITS)), exponent - ALIKE_BITS))


def to_digits(values: ArrayLike) -> list[float]:
    """Numbers to `DIGITS` significant digits.

    Made alike before, what lies half-way between two such numbers goes the same way on every
    processor: counts out of a power of two often do.

    Parameters
    ----------
    values : (n,) array_like

    Returns
    -------
    list of float
        What is not finite stays, and a whole number, which may be a count.

    Examples
    --------
    >>> to_digits([0.1 + 0.2, 2 / 3, 1e-20 / 3])
    [0.3, 0.66666667, 3.3333333e-21]
    """
    exact, rounded = np.asarray(values, float).tolist(), alike(values).tolist()
    return [
        one if abs(one) < COUNTED and one.is_integer() else float(f"{near:.{DIGITS}g}")
        for one, near in zip(exact, rounded, strict=True)
    ]
