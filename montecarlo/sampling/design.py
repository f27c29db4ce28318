"""The design: M installations x K events of every stratum, cut into chunks.

The installations, shared by all strata, stand in 16 blocks, the independent randomisations of a
run; a chunk is one block of installations times a run of events. Everything follows from the
numbers here, so neither workers nor memory can change a draw."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import overload

from montecarlo.sampling.nets import power_of_two
from montecarlo.sampling.stratum import Side, Stratum

BLOCKS = 16  # independent blocks of installations
# Of a block of installations: several chunks are one task beyond, so that few travel. A chunk of
# external events takes ten times as long as others: a thousand workers share them evenly only if
# more tasks travel, each of so many chunks that it is worth its way.
TASKS_MAX, TASKS_MAX_EXTERNAL = 64, 256
WORTH_ITS_WAY = 16
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
        every, events = range(self.event_blocks), (0, self.events_per_installation)
        return tuple(Chunks(self, stratum, round_, every, 0, BLOCKS, events))

    def tasks(
        self, stratum: Stratum, round_: int = 0, part: Part | None = None
    ) -> tuple[Chunks, ...]:
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
        tuple of Chunks
        """
        begin, end = part or (0, self.events_per_installation)
        end = min(end, self.events_per_installation)
        if begin >= end:
            return ()
        blocks = range(begin // self.events_per_chunk, -(-end // self.events_per_chunk))
        run, abreast = _together(len(blocks), stratum), self._abreast(end - begin)
        return tuple(
            Chunks(self, stratum, round_, blocks[first : first + run], k, abreast, (begin, end))
            for first in range(0, len(blocks), run)
            for k in range(0, BLOCKS, abreast)
        )

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

    def _abreast(self, events: int) -> int:
        """How many blocks of installations are solved side by side, of so many events of each
        installation; a power of two."""
        most = SIDE_BY_SIDE_ON_NETS if self.net else SIDE_BY_SIDE
        samples = self.installations_per_block * min(events, self.events_per_chunk)
        fitting = max(1, min(BLOCKS, most // samples))
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

    def samples_from_to(self, first: Chunk, last: Chunk) -> int:
        """Samples in all chunks of their event blocks and blocks of installations, and of those
        between.

        Parameters
        ----------
        first, last : Chunk

        Returns
        -------
        int
        """
        events = self.first_event(last) + self.events_in(last) - self.first_event(first)
        blocks = last.installation_block - first.installation_block + 1
        return self.installations_per_block * events * blocks

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


@dataclass(frozen=True)
class Chunks(Sequence[Chunk]):
    """Chunks of some event blocks and blocks of installations, in the order of their keys.

    Each is made when it is asked for: a large study has millions, and a task travels.

    Parameters
    ----------
    design : Design
    stratum : Stratum
    round_ : int
    event_blocks : range
    first, abreast : int
        The first block of installations, and how many.
    part : (int, int)
        Events of every installation that are solved; some of each event block are.
    """

    design: Design
    stratum: Stratum
    round_: int
    event_blocks: range
    first: int
    abreast: int
    part: Part

    def __len__(self) -> int:
        return len(self.event_blocks) * self.abreast

    @overload
    def __getitem__(self, at: int) -> Chunk: ...

    @overload
    def __getitem__(self, at: slice) -> tuple[Chunk, ...]: ...

    def __getitem__(self, at: int | slice) -> Chunk | tuple[Chunk, ...]:
        if isinstance(at, slice):
            return tuple(self[one] for one in range(len(self))[at])
        run, block = divmod(range(len(self))[at], self.abreast)
        event_block, block = self.event_blocks[run], self.first + block
        first = event_block * self.design.events_per_chunk
        every = min(self.design.events_per_chunk, self.design.events_per_installation - first)
        begin, end = max(self.part[0] - first, 0), min(self.part[1] - first, every)
        index = event_block * BLOCKS + block
        cut = end if (begin, end) != (0, every) else None
        return Chunk(self.stratum, self.round_, index, block, event_block, begin, cut)


def _together(event_blocks: int, stratum: Stratum) -> int:
    """How many event blocks are one task, out of so many."""
    run = -(-event_blocks // TASKS_MAX)
    if stratum.side is Side.EXTERNAL and run > WORTH_ITS_WAY:
        return max(WORTH_ITS_WAY, -(-event_blocks // TASKS_MAX_EXTERNAL))
    return run
