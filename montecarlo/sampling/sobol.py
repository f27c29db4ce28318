"""Points of the Sobol' sequence as whole numbers.

Source: Sobol', USSR Comput. Math. Math. Phys. 7, 1967, 86-112, in the order of Gray's code (Antonov
and Saleev, USSR Comput. Math. Math. Phys. 19, 1979, 252-256; from memory); direction numbers of Joe
and Kuo (SIAM J. Sci. Comput. 30, 2008, 2635-2654).

`scipy.stats.qmc` has the same points, but its import takes a worker as long as all of its others.
So the file of direction numbers is read that scipy brings with it, and scipy is asked for the
points where that file is not found."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

import numpy as np
import scipy

from montecarlo.quantities import Index

BITS = 32  # of every coordinate; all that scipy can skip through
NUMBERS = Path(scipy.__file__).parent / "stats" / "_sobol_direction_numbers.npz"


@lru_cache(maxsize=4)
def sobol(dimensions: int, start: int, count: int) -> Index:
    """A run of the sequence's points; kept, since it is the same for every randomisation.

    Parameters
    ----------
    dimensions : int
    start, count : int
        The first, and how many.

    Returns
    -------
    (count, dimensions) array of int
        Below 2^BITS; not to be written to.
    """
    directions = _directions(dimensions)
    if directions is None:
        digits = _by_scipy(dimensions, start, count)
    else:
        number = np.arange(start, start + count)
        gray = (number ^ (number >> 1))[:, None]
        digits = np.zeros((count, dimensions), np.int64)
        for bit in range(min((start + count).bit_length(), BITS)):
            digits ^= np.where(gray >> bit & 1, directions[bit], 0)
    digits.setflags(write=False)
    return digits


def _directions(dimensions: int) -> Index | None:
    """What each bit of a point's Gray code adds modulo 2, (BITS, dimensions); None: not found."""
    try:
        with np.load(NUMBERS, allow_pickle=False) as numbers:
            polynomials, first = numbers["poly"][:dimensions], numbers["vinit"][:dimensions]
    except (OSError, KeyError, ValueError):
        return None
    if len(polynomials) < dimensions:
        return None
    each = map(_odd_numbers, map(int, polynomials), first.tolist())
    return np.array([*each], np.int64).T << np.arange(BITS - 1, -1, -1)[:, None]


def _odd_numbers(polynomial: int, first: list[int]) -> list[int]:
    """m_1 ... m_BITS of a dimension, by the recurrence of its primitive polynomial."""
    degree = polynomial.bit_length() - 1
    if not degree:
        return [1] * BITS
    odd = first[:degree]
    for _ in range(degree, BITS):
        new = odd[-degree]
        for k in range(1, degree + 1):
            if polynomial >> (degree - k) & 1:
                new ^= odd[-k] << k
        odd.append(new)
    return odd


def _by_scipy(dimensions: int, start: int, count: int) -> Index:
    from scipy.stats.qmc import Sobol  # scipy.stats is heavy

    sequence = Sobol(dimensions, scramble=False, bits=BITS)
    if start:
        sequence.fast_forward(start)
    return np.asarray(sequence.random(count) * 2.0**BITS, np.int64)
