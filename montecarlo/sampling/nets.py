"""Scrambled Sobol' nets: points that fill the unit cube evenly, each of them uniform by itself.

Scramble: for each dimension a random lower triangular matrix of bits and a digital shift (Matousek,
J. Complexity 14, 1998, 527-556), under which a net stays a net."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from montecarlo.quantities import Index
from montecarlo.sampling.points import Matrix
from montecarlo.sampling.sobol import BITS, sobol
from montecarlo.sampling.streams import stream

POINTS_MAX = 1 << BITS  # of one randomisation
# what each bit is worth, the leading one first
PLACE = 1 << np.arange(BITS - 1, -1, -1, dtype=np.int64)


def power_of_two(count: int) -> int:
    """The smallest power of two that is not below a count.

    Parameters
    ----------
    count : int

    Returns
    -------
    int
    """
    return 1 << (count - 1).bit_length()


@dataclass(frozen=True)
class Net:
    """One randomisation of a Sobol' sequence.

    A dimension's scramble is keyed by its name, so that names added at the end leave the others'
    points.

    Parameters
    ----------
    seed, stratum, round_, block
        Key of the scramble, as in `streams.stream`.
    names : tuple of (str, int)
        Every draw with its number of columns, in the order of the dimensions.

    Examples
    --------
    >>> net = Net(1, "event", 0, 0, (("load", 1), ("errors", 6)))
    >>> net.points(0, 1024).of("errors", 6).shape
    (1024, 6)
    """

    seed: int
    stratum: str
    round_: int
    block: int
    names: tuple[tuple[str, int], ...]

    def points(self, start: int, count: int) -> Matrix:
        """A run of the sequence's points.

        Parameters
        ----------
        start, count : int
            The first, and how many; multiples of the same power of two.

        Returns
        -------
        Matrix
            Of `count` rows, each in the open unit cube.
        """
        first = {}
        width = 0
        for key, columns in self.names:
            first[key] = width
            width += columns
        scrambles = [
            _scramble(stream(self.seed, self.stratum, self.round_, self.block, key), columns)
            for key, columns in self.names
        ]
        shift, lower = (np.concatenate(parts, axis=-1) for parts in zip(*scrambles, strict=True))
        plain = sobol(width, start, count)
        digits = np.broadcast_to(shift, plain.shape).copy()
        for place, column in zip(PLACE, lower, strict=True):
            digits ^= np.where(plain & place, column, 0)
        return Matrix(np.asarray((digits + 0.5) / 2.0**BITS, np.float64), first)


def _scramble(rng: np.random.Generator, columns: int) -> tuple[Index, Index]:
    """Of some dimensions: shifts (columns,), and what each bit of a point adds modulo 2, (BITS,
    columns): a random lower triangular matrix with ones on its diagonal."""
    shift = rng.integers(0, 1 << BITS, columns)
    return shift, PLACE[:, None] | rng.integers(0, PLACE[:, None], (BITS, columns))
