"""Weighted samples of an event as they are handed out: chunks that are pure functions of their
keys."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import lru_cache

from montecarlo.engine.block import Block
from montecarlo.engine.job import Job
from montecarlo.engine.space import Space, space_of
from montecarlo.estimates.rare import Symmetric
from montecarlo.quantities import Array
from montecarlo.sampling.design import BLOCKS, TASKS_MAX_EXTERNAL, Chunk
from montecarlo.sampling.stratum import Stratum
from montecarlo.sampling.streams import stream

CHUNK = 2048  # samples, whole batches of `estimates.rare`
TASKS_MAX = TASKS_MAX_EXTERNAL * BLOCKS  # of an event: several chunks are one task beyond


@dataclass(frozen=True, eq=False)
class Draw:
    """What a worker needs to draw and solve one chunk of an event's samples, or several."""

    job: Job
    chunk: Chunk  # the first
    density: Symmetric
    count: int
    key: str  # of the stage, for the random numbers
    keep: bool = False  # its rows too

    @property
    def label(self) -> str:
        last = self.chunk.index + (self.count - 1) // CHUNK
        more = f" to {last}" if last > self.chunk.index else ""
        return f"{self.chunk.label}{more} of {self.key}"

    def chunks(self) -> Iterator[Draw]:
        """Each of its chunks by itself.

        Yields
        ------
        Draw
        """
        for start in range(0, self.count, CHUNK):
            chunk = replace(self.chunk, index=self.chunk.index + start // CHUNK)
            yield replace(self, chunk=chunk, count=min(CHUNK, self.count - start))

    def block(self, u: Array) -> Block:
        """Its samples, solved from their scores.

        Parameters
        ----------
        u : (count, dims) array

        Returns
        -------
        Block
        """
        return Block(self.job, self.chunk, _space(self.job, self.chunk.stratum).points(u))

    def u(self) -> Array:
        """Standard normal scores of its samples; of a single chunk.

        Returns
        -------
        (count, dims) array
        """
        rng = stream(
            self.job.study.study.seed,
            self.chunk.stratum,
            self.chunk.round_,
            self.chunk.index,
            self.key,
        )
        return self.density.sample(rng, self.count)


def draws_of(
    job: Job,
    name: Stratum,
    density: Symmetric,
    size: int,
    round_: int,
    key: str,
    together: int = 1,
) -> list[Draw]:
    """So many samples of a density.

    Parameters
    ----------
    job : Job
    name : Stratum
    density : Symmetric
    size, round_ : int
    key : str
        Of the stage, for the random numbers.
    together : int
        Chunks of each.

    Returns
    -------
    list of Draw
    """
    most = together * CHUNK
    return [
        Draw(job, Chunk(name, round_, start // CHUNK, 0, 0), density, min(most, size - start), key)
        for start in range(0, size, most)
    ]


@lru_cache(maxsize=64)
def _space(job: Job, name: Stratum) -> Space:
    """Kept, since every chunk asks."""
    return space_of(job.study, name)
