"""The design: M plants x K events of every stratum, cut into chunks.

The plants, shared by all strata, stand in 16 blocks, the independent randomisations of a run; a
chunk is one block of plants times a run of events. Everything follows from the numbers here, so
neither workers nor memory can change a draw."""

from __future__ import annotations

import math
from dataclasses import dataclass

from montecarlo.sampling.nets import power_of_two
from montecarlo.sampling.stratum import Stratum

BLOCKS = 16  # independent blocks of plants
TASKS_MAX = 64  # of a block of plants: several chunks are one task beyond, so that few travel
PLANT_STRATUM = "plant"  # the name under which plant inputs are drawn; no stratum has it


@dataclass(frozen=True)
class Chunk:
    """One unit of work. `index` = event_block * 16 + plant_block keys its random numbers."""

    stratum: Stratum
    round_: int
    index: int
    plant_block: int
    event_block: int

    @property
    def label(self) -> str:
        """As it is told of where something is wrong with it."""
        return f"{self.stratum}, batch {self.round_}, no. {self.index}"


@dataclass(frozen=True)
class Design:
    """How many plants and events are drawn, and in which pieces.

    Samples inside a chunk are plant-major: s = plant_local * events_in(chunk) + event. More samples
    only append events: the draws of those that were there before stay (the last chunk of a block of
    plants may be short).

    Parameters
    ----------
    plants, samples : int
        As asked for; samples of one stratum. The properties say what is drawn.
    chunk_samples : int
        At most so many samples a chunk, but for one event of each plant.
    net : bool
        Whether the events lie on nets too, not at random; their number is then a power of two, as
        that of the plants in a block always is.
    """

    plants: int
    samples: int
    chunk_samples: int = 2048
    net: bool = False

    def __post_init__(self) -> None:
        for name in ("plants", "samples", "chunk_samples"):
            if not getattr(self, name) >= 1:
                raise ValueError(f"{name} = {getattr(self, name)} must be at least 1")

    @property
    def plants_per_block(self) -> int:
        """A power of two."""
        return power_of_two(-(-self.plants // BLOCKS))

    @property
    def plants_rounded(self) -> int:
        """Plants drawn, M."""
        return BLOCKS * self.plants_per_block

    @property
    def events_per_plant(self) -> int:
        """Events of a stratum on each plant, K."""
        events = -(-self.samples // self.plants_rounded)
        return power_of_two(events) if self.net else events

    @property
    def events_per_chunk(self) -> int:
        """Events of each plant in a chunk, but for the last."""
        least = 2 if self.net else 1
        fitting = max(least, self.chunk_samples // self.plants_per_block)
        events = min(self.events_per_plant, fitting)
        return 1 << (events.bit_length() - 1) if self.net else events

    @property
    def samples_drawn(self) -> int:
        """Samples of a stratum, M K."""
        return self.plants_rounded * self.events_per_plant

    @property
    def event_blocks(self) -> int:
        """Chunks of a stratum that have the same plants."""
        return -(-self.events_per_plant // self.events_per_chunk)

    @property
    def rounded(self) -> bool:
        """Whether other numbers are drawn than were asked for."""
        return (self.plants_rounded, self.samples_drawn) != (self.plants, self.samples)

    def chunks(self, stratum: Stratum, round_: int = 0) -> tuple[Chunk, ...]:
        """All chunks of one stratum, by index.

        Parameters
        ----------
        stratum : Stratum
        round_ : int
            As in `streams.stream`.

        Returns
        -------
        tuple of Chunk
        """
        return tuple(
            Chunk(stratum, round_, event_block * BLOCKS + plant_block, plant_block, event_block)
            for event_block in range(self.event_blocks)
            for plant_block in range(BLOCKS)
        )

    def tasks(self, stratum: Stratum, round_: int = 0) -> tuple[tuple[Chunk, ...], ...]:
        """The same chunks as they are handed out.

        Runs of as many event blocks of one block of plants as the design alone says, so that sums
        have the same order everywhere.

        Parameters
        ----------
        stratum : Stratum
        round_ : int

        Returns
        -------
        tuple of tuple of Chunk
        """
        chunks = self.chunks(stratum, round_)
        run = -(-self.event_blocks // TASKS_MAX) * BLOCKS
        return tuple(
            chunks[first : first + run][plant_block::BLOCKS]
            for first in range(0, len(chunks), run)
            for plant_block in range(BLOCKS)
        )

    def events_in(self, chunk: Chunk) -> int:
        """Events of each plant in a chunk.

        Parameters
        ----------
        chunk : Chunk

        Returns
        -------
        int
        """
        return min(
            self.events_per_chunk, self.events_per_plant - chunk.event_block * self.events_per_chunk
        )

    def first_events(self, chunk: Chunk, share: float) -> int:
        """How many of a chunk's events belong to the first part of every plant's.

        Parameters
        ----------
        chunk : Chunk
        share : float
            That part of a plant's events, 0 ... 1.

        Returns
        -------
        int
        """
        first = math.ceil(share * self.events_per_plant) - chunk.event_block * self.events_per_chunk
        return max(0, min(first, self.events_in(chunk)))

    def samples_in(self, chunk: Chunk) -> int:
        """Samples in a chunk.

        Parameters
        ----------
        chunk : Chunk

        Returns
        -------
        int
        """
        return self.plants_per_block * self.events_in(chunk)

    def plants_in(self, chunk: Chunk) -> slice:
        """Which of the `plants_rounded` plants stand in a chunk.

        Parameters
        ----------
        chunk : Chunk

        Returns
        -------
        slice
        """
        first = chunk.plant_block * self.plants_per_block
        return slice(first, first + self.plants_per_block)
