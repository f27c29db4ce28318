"""The design: M installations x K events of every stratum, cut into chunks.

The installations, shared by all strata, stand in 16 blocks, the independent randomisations of a
run; a chunk is one block of installations times a run of events. Everything follows from the
numbers here, so neither workers nor memory can change a draw."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from montecarlo.sampling.nets import power_of_two
from montecarlo.sampling.stratum import Stratum

BLOCKS = 16  # independent blocks of installations
TASKS_MAX = (
    64  # of a block of installations: several chunks are one task beyond, so that few travel
)
# At most so many samples, or on nets so many places along the winding, are solved side by side
# where chunks are smaller: what a solution costs beside its samples is 10 ms, on nets 200 ms.
SIDE_BY_SIDE, SIDE_BY_SIDE_ON_NETS = 2048, 128
PART_SAMPLES = 8  # of a chunk's part, at least
INSTALLATION_STRATUM = (
    "installation"  # the name under which installation inputs are drawn; no stratum has it
)

Part = tuple[int, int]  # events of every installation: from the first on, below the second


@dataclass(frozen=True)
class Chunk:
    """One unit of work. `index` = event_block * 16 + installation_block keys its random numbers.

    Of its events only those from `begin` on, below `end` (None: to the last), are solved: a part of
    a chunk has the draws of the whole one."""

    stratum: Stratum
    round_: int
    index: int
    installation_block: int
    event_block: int
    begin: int = 0
    end: int | None = None

    @property
    def label(self) -> str:
        """As it is named where something is wrong with it."""
        part = "" if self.end is None else f", events {self.begin + 1} to {self.end}"
        return f"{self.stratum}, batch {self.round_}, no. {self.index}{part}"


@dataclass(frozen=True)
class Design:
    """How many installations and events are drawn, and in which pieces.

    Samples inside a chunk are installation-major: s = installation_local * events_in(chunk) +
    event. More samples only append events: the draws of those that were there before stay (the last
    chunk of a block of installations may be short).

    Parameters
    ----------
    installations, samples : int
        As asked for; samples of one stratum. The properties say what is drawn.
    chunk_samples : int
        At most so many samples a chunk, but for one event of each installation.
    net : bool
        Whether the events lie on nets too, not at random; their number is then a power of two, as
        that of the installations in a block always is.
    """

    installations: int
    samples: int
    chunk_samples: int = 2048
    net: bool = False

    def __post_init__(self) -> None:
        for name in ("installations", "samples", "chunk_samples"):
            if not getattr(self, name) >= 1:
                raise ValueError(f"{name} = {getattr(self, name)} must be at least 1")

    @property
    def installations_per_block(self) -> int:
        """A power of two."""
        return power_of_two(-(-self.installations // BLOCKS))

    @property
    def installations_rounded(self) -> int:
        """Installations drawn, M."""
        return BLOCKS * self.installations_per_block

    @property
    def events_per_installation(self) -> int:
        """Events of a stratum on each installation, K."""
        events = -(-self.samples // self.installations_rounded)
        return power_of_two(events) if self.net else events

    @property
    def events_per_chunk(self) -> int:
        """Events of each installation in a chunk, but for the last."""
        least = 2 if self.net else 1
        fitting = max(least, self.chunk_samples // self.installations_per_block)
        events = min(self.events_per_installation, fitting)
        return 1 << (events.bit_length() - 1) if self.net else events

    @property
    def samples_drawn(self) -> int:
        """Samples of a stratum, M K."""
        return self.installations_rounded * self.events_per_installation

    @property
    def event_blocks(self) -> int:
        """Chunks of a stratum that have the same installations."""
        return -(-self.events_per_installation // self.events_per_chunk)

    @property
    def rounded(self) -> bool:
        """Whether other numbers are drawn than were asked for."""
        return (self.installations_rounded, self.samples_drawn) != (
            self.installations,
            self.samples,
        )

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
            Chunk(
                stratum,
                round_,
                event_block * BLOCKS + installation_block,
                installation_block,
                event_block,
            )
            for event_block in range(self.event_blocks)
            for installation_block in range(BLOCKS)
        )

    def tasks(
        self, stratum: Stratum, round_: int = 0, part: Part | None = None
    ) -> tuple[tuple[Chunk, ...], ...]:
        """The same chunks as they are handed out.

        Runs of as many event blocks of one block of installations, or small chunks of several
        blocks, as the design alone says, so that sums have the same order everywhere.

        Parameters
        ----------
        stratum : Stratum
        round_ : int
        part : (int, int), optional
            Events of every installation, from the first on and below the second; all unless given.

        Returns
        -------
        tuple of tuple of Chunk
        """
        chunks = self.chunks(stratum, round_)
        if part is not None:
            chunks = tuple(own for chunk in chunks if (own := self._within(chunk, part)))
        if not chunks:
            return ()
        run = -(-len(chunks) // (TASKS_MAX * BLOCKS)) * BLOCKS
        abreast = self._abreast(chunks[0])
        return tuple(
            tuple(c for c in chunks[first : first + run] if c.installation_block // abreast == k)
            for first in range(0, len(chunks), run)
            for k in range(BLOCKS // abreast)
        )

    def _within(self, chunk: Chunk, part: Part) -> Chunk | None:
        """What a chunk has of some events; None: nothing."""
        first, all_ = chunk.event_block * self.events_per_chunk, self.events_in(chunk)
        begin, end = max(part[0] - first, 0), min(part[1] - first, all_)
        if begin >= end:
            return None
        return chunk if (begin, end) == (0, all_) else replace(chunk, begin=begin, end=end)

    def part(self, before: float, share: float) -> Part:
        """The events of every installation beyond a first share of them, up to a larger one.

        Parameters
        ----------
        before, share : float
            0 ... 1.

        Returns
        -------
        (int, int)
            From the first on, below the second. On nets a power of two and at least two, whose
            scatter tells what noise they have; so many that a chunk is worth its own cost.
        """

        def events(first: float) -> int:
            if not first:
                return 0
            fewest = -(-PART_SAMPLES // self.installations_per_block)
            count = max(
                fewest, 2 if self.net else 1, math.ceil(first * self.events_per_installation)
            )
            return min(power_of_two(count) if self.net else count, self.events_per_installation)

        return events(before), events(share)

    def _abreast(self, chunk: Chunk) -> int:
        """How many blocks of installations are solved side by side; a power of two."""
        most = SIDE_BY_SIDE_ON_NETS if self.net else SIDE_BY_SIDE
        fitting = max(1, min(BLOCKS, most // self.samples_in(chunk)))
        return 1 << (fitting.bit_length() - 1)

    def events_in(self, chunk: Chunk) -> int:
        """Events of each installation in a chunk.

        Parameters
        ----------
        chunk : Chunk

        Returns
        -------
        int
        """
        whole = min(
            self.events_per_chunk,
            self.events_per_installation - chunk.event_block * self.events_per_chunk,
        )
        return (whole if chunk.end is None else chunk.end) - chunk.begin

    def first_event(self, chunk: Chunk) -> int:
        """The number of a chunk's first event on each installation, from 0.

        Parameters
        ----------
        chunk : Chunk

        Returns
        -------
        int
        """
        return chunk.event_block * self.events_per_chunk + chunk.begin

    def first_events(self, chunk: Chunk, share: float) -> int:
        """How many of a chunk's events belong to the first part of every installation's.

        Parameters
        ----------
        chunk : Chunk
        share : float
            That part of an installation's events, 0 ... 1.

        Returns
        -------
        int
        """
        first = math.ceil(share * self.events_per_installation) - self.first_event(chunk)
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
        return self.installations_per_block * self.events_in(chunk)

    def installations_in(self, chunk: Chunk) -> slice:
        """Which of the `installations_rounded` installations stand in a chunk.

        Parameters
        ----------
        chunk : Chunk

        Returns
        -------
        slice
        """
        first = chunk.installation_block * self.installations_per_block
        return slice(first, first + self.installations_per_block)
