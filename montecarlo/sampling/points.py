"""Where a sample's uniforms come from: random streams, or the columns of a matrix that somebody
else has filled.

Quantile functions (`transform.draw`) do not know which; so the same model can be sampled at random,
on a net, or where rare events are sought."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from montecarlo.quantities import Array
from montecarlo.sampling.streams import stream


class Points(Protocol):
    """Uniforms of `count` samples."""

    @property
    def count(self) -> int:
        """Of samples."""
        ...

    def of(self, key: str, columns: int) -> Array:
        """Uniforms of one name.

        Parameters
        ----------
        key : str
            Of the input, or of the draw.
        columns : int

        Returns
        -------
        (count, columns) array
            In [0, 1).
        """
        ...


@dataclass(frozen=True)
class Streams:
    """A stream of its own for every name (`streams.stream`): a new input leaves every other's draws
    as they were. `before`: samples at its beginning that somebody else has."""

    seed: int
    stratum: str
    round_: int
    index: int
    count: int
    before: int = 0

    def of(self, key: str, columns: int) -> Array:
        """Uniforms of one name.

        Parameters
        ----------
        key : str
        columns : int

        Returns
        -------
        (count, columns) array
        """
        rng = stream(self.seed, self.stratum, self.round_, self.index, key)
        if self.before:
            rng.bit_generator.advance(self.before * columns)  # type: ignore[attr-defined]
        return rng.random((self.count, columns))


@dataclass(frozen=True, eq=False)
class Matrix:
    """values (count, columns of all names); first: where each name's columns begin."""

    values: Array
    first: Mapping[str, int]

    @property
    def count(self) -> int:
        """Of samples."""
        return len(self.values)

    def of(self, key: str, columns: int) -> Array:
        """Uniforms of one name.

        Parameters
        ----------
        key : str
        columns : int

        Returns
        -------
        (count, columns) array
        """
        begin = self.first[key]
        return self.values[:, begin : begin + columns]


@dataclass(frozen=True, eq=False)
class Joined:
    """One after the other."""

    parts: Sequence[Points]

    @property
    def count(self) -> int:
        """Of samples."""
        return sum(part.count for part in self.parts)

    def of(self, key: str, columns: int) -> Array:
        """Uniforms of one name.

        Parameters
        ----------
        key : str
        columns : int

        Returns
        -------
        (count, columns) array
        """
        return np.concatenate([part.of(key, columns) for part in self.parts])


def joined(parts: Sequence[Points]) -> Points:
    """One after the other; a single one is itself.

    Parameters
    ----------
    parts : sequence of Points

    Returns
    -------
    Points
    """
    return parts[0] if len(parts) == 1 else Joined(parts)
