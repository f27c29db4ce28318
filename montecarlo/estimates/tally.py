"""Tallies: what a chunk sends back. Sums an installation and a candidate; counts add exactly, in
any order.

Arrays of candidates have the shape of their lattice: phase pick-ups x earth pick-ups x delays, here
(P, E, D)."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import reduce
from typing import Any

import numpy as np
from numpy.typing import NDArray

from montecarlo.quantities import Array, Flags, Index
from montecarlo.quantities.keepable import keepable

Places = NDArray[np.float32]

NO_CAUSES: Array = np.zeros(2)


@keepable
@dataclass(eq=False)
class LatticeTally:
    """One stratum on one lattice for a run of installations."""

    total: Array  # (installations, P, E, D) Σ y, y = 0 or 1, or a conditional probability
    trials: Array  # (installations,) samples drawn
    unresolved: Array  # (installations,)
    noise: Array | None = None  # (installations, P, E, D) of `step_noise`; None for counts
    line_end: Array | None = (
        None  # (installations, P, E, D) Σ y under the line-end law, if it has one
    )
    phase_x: Places | None = None  # (resolved, P, D) critical positions, and
    earth_x: Places | None = None  # (resolved, E, D), as `places_kept`
    fault_ohm: Places | None = None  # (resolved,) of the same faults
    # (installations, P, E, D) samples in which an element had operated before the internal fault
    before: Array | None = None

    def split(self, parts: int) -> list[LatticeTally]:
        """The same of each run of installations; of a tally that is no sum.

        Parameters
        ----------
        parts : int
            Runs of equal length.

        Returns
        -------
        list of LatticeTally
        """
        resolved = np.cumsum((self.trials - self.unresolved).reshape(parts, -1).sum(axis=1))
        ends = resolved[:-1].astype(int)  # of the faults that have kept places

        alike = np.arange(1, parts) * (len(self.trials) // parts)

        def each(values: Any, cuts: Index = alike) -> Sequence[Any]:
            if values is None:
                return [None] * parts
            bounds = zip((0, *cuts), (*cuts, len(values)), strict=True)  # np.split is slow
            return [values[first:last] for first, last in bounds]

        by_installation = map(each, (self.total, self.trials, self.unresolved, self.noise))
        places = (each(one, ends) for one in (self.phase_x, self.earth_x, self.fault_ohm))
        columns = (*by_installation, each(self.line_end), *places, each(self.before))
        return [LatticeTally(*row) for row in zip(*columns, strict=True)]

    def __add__(self, other: LatticeTally) -> LatticeTally:
        return LatticeTally(
            self.total + other.total,
            self.trials + other.trials,
            self.unresolved + other.unresolved,
            _sum(self.noise, other.noise),
            _sum(self.line_end, other.line_end),
            _joined(self.phase_x, other.phase_x),
            _joined(self.earth_x, other.earth_x),
            _joined(self.fault_ohm, other.fault_ohm),
            _sum(self.before, other.before),
        )


def _joined(one: Places | None, other: Places | None) -> Places | None:
    return None if one is None or other is None else np.concatenate([one, other])


def _added(one: Sequence[LatticeTally], other: Sequence[LatticeTally]) -> tuple[LatticeTally, ...]:
    return tuple(a + b for a, b in zip(one, other, strict=True))


def _sum(one: Any, other: Any) -> Any:
    return None if one is None or other is None else one + other


@keepable
@dataclass(eq=False)
class BackupTally:
    """What the back-up adds."""

    operates: LatticeTally  # the back-up itself, one setting (installations, 1, 1, 1)
    # neither it nor the differential, lattice by lattice; empty for what is outside the zone
    nobody: tuple[LatticeTally, ...] = ()

    def split(self, parts: int) -> list[BackupTally]:
        """As of `LatticeTally`.

        Parameters
        ----------
        parts : int

        Returns
        -------
        list of BackupTally
        """
        nobody = _split(self.nobody, parts)
        return [*map(BackupTally, self.operates.split(parts), nobody)]

    def __add__(self, other: BackupTally) -> BackupTally:
        return BackupTally(
            self.operates + other.operates,
            _added(self.nobody, other.nobody),
        )


@keepable
@dataclass(eq=False)
class Tally:
    """One chunk, or several of the same stratum and block of installations: a `LatticeTally` for
    each lattice.

    counts: named sums over solutions along the winding (re-entries, interpolation differences).
    causes: of the samples without a result on one circuit at least, driven by what is not finite
    and not converged. backup: None where there is no back-up, or nothing that it could see. early:
    the same of the first events only, by the share of the batch. caught: what one candidate misses
    and another catches (`caught.py`), where the job asks for it. classes: the lattices once more of
    the samples of each class of place alone, by its name; of faults between turns."""

    lattices: tuple[LatticeTally, ...]
    counts: dict[str, float] = field(default_factory=dict)
    backup: BackupTally | None = None
    early: dict[float, Tally] = field(default_factory=dict)
    caught: LatticeTally | None = (
        None  # (installations, K, K, 1): missed by one, caught by the other
    )
    causes: Array = field(default_factory=lambda: NO_CAUSES)  # (2,)
    classes: dict[str, tuple[LatticeTally, ...]] = field(default_factory=dict)

    def split(self, parts: int) -> list[Tally]:
        """The tally of each block of installations, where several were solved side by side.

        `counts` and `causes` stand with the first, since they are sums over all.

        Parameters
        ----------
        parts : int
            Blocks.

        Returns
        -------
        list of Tally
        """
        if parts == 1:
            return [self]
        early = {share: tally.split(parts) for share, tally in self.early.items()}
        none = [None] * parts
        backup = none if self.backup is None else self.backup.split(parts)
        caught = none if self.caught is None else self.caught.split(parts)
        classes = {name: _split(lattices, parts) for name, lattices in self.classes.items()}
        return [
            Tally(
                lattices,
                self.counts if k == 0 else dict.fromkeys(self.counts, 0.0),
                backup[k],
                {share: tallies[k] for share, tallies in early.items()},
                caught[k],
                self.causes if k == 0 else NO_CAUSES,
                {name: each[k] for name, each in classes.items()},
            )
            for k, lattices in enumerate(_split(self.lattices, parts))
        ]

    def __add__(self, other: Tally) -> Tally:
        keys = sorted(self.counts.keys() | other.counts.keys())
        shared = (name for name in self.classes if name in other.classes)
        return Tally(
            _added(self.lattices, other.lattices),
            {key: self.counts.get(key, 0.0) + other.counts.get(key, 0.0) for key in keys},
            _sum(self.backup, other.backup),
            _merged(self.early, other.early),
            _sum(self.caught, other.caught),
            self.causes + other.causes,
            {name: _added(self.classes[name], other.classes[name]) for name in shared},
        )


def _split(lattices: Sequence[LatticeTally], parts: int) -> list[tuple[LatticeTally, ...]]:
    """By part, then by lattice."""
    split = [lattice.split(parts) for lattice in lattices]
    return [tuple(lattice[k] for lattice in split) for k in range(parts)]


def _merged(one: dict[float, Tally], other: dict[float, Tally]) -> dict[float, Tally]:
    """Sums by share; a chunk beyond a share has nothing of it."""
    shared = {share: one[share] + other[share] for share in one.keys() & other.keys()}
    return {
        share: shared.get(share, one.get(share) or other[share])
        for share in sorted(one.keys() | other.keys())
    }


@dataclass(frozen=True, eq=False)
class Pickups:
    """Critical pick-ups of a chunk's samples on one circuit, NaN: unresolved. [A]

    D may be 1 where the delay does not matter, or is the elements' own."""

    phase: Array | None  # (n, D) the largest of the phase elements; None without such an element
    earth: Array | None  # (n, D)
    high_set: Array | None = None  # (n, D) the largest of the high-set elements, and
    high_set_a: float = math.inf  # the pick-up that all settings have

    @property
    def _parts(self) -> tuple[Array | None, Array | None, Array | None]:
        return self.phase, self.earth, self.high_set

    def __len__(self) -> int:
        return len(self.earth if self.phase is None else self.phase)  # type: ignore[arg-type]

    @property
    def resolved(self) -> Flags:
        """Which samples have a result, (n,)."""
        parts = [part for part in self._parts if part is not None]
        flags = [np.asarray(np.isfinite(part).all(axis=1)) for part in parts]
        return reduce(np.logical_and, flags)

    def at(self, rows: Index | slice) -> Pickups:
        """Of some of the samples.

        Parameters
        ----------
        rows : array of int or slice

        Returns
        -------
        Pickups
        """
        phase, earth, high_set = (None if part is None else part[rows] for part in self._parts)
        return Pickups(phase, earth, high_set, self.high_set_a)

    def first_silent(self, phase_a: Array, earth_a: Array, delays: int) -> tuple[Index, Index]:
        """From which setting on each sample leaves the elements silent.

        Parameters
        ----------
        phase_a : (P,) array (A)
            Increasing.
        earth_a : (E,) array (A)
        delays : int
            D.

        Returns
        -------
        ((n, D) array of int, (n, D) array of int)
            P and E where it is silent at none, or unresolved.
        """
        n = len(self)

        def first(part: Array | None, level: Array) -> Index:
            held = np.full((n, 1), -np.inf) if part is None else part
            return np.broadcast_to(np.searchsorted(level, held), (n, delays))

        phase, earth = first(self.phase, phase_a), first(self.earth, earth_a)
        if self.high_set is not None:  # no phase pick-up silences it
            phase = np.where(self.high_set > self.high_set_a, phase_a.size, phase)
        return phase, earth

    def silent(self, phase_a: Array, earth_a: Array, delays: int) -> tuple[Flags, Flags]:
        """Whether each sample leaves the elements silent at each setting.

        Parameters
        ----------
        phase_a : (P,) array (A)
        earth_a : (E,) array (A)
        delays : int
            D.

        Returns
        -------
        ((n, P, D) array of bool, (n, E, D) array of bool)
        """
        n = len(self)

        def below(part: Array | None, level: Array) -> Flags:
            held = np.full((n, 1), -np.inf) if part is None else part
            return np.broadcast_to(held[:, None, :], (n, 1, delays)) <= level[:, None]

        phase, earth = below(self.phase, phase_a), below(self.earth, earth_a)
        if self.high_set is not None:
            phase = phase & (self.high_set <= self.high_set_a)[:, None]
        return phase, earth
