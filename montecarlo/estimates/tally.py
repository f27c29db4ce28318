"""Tallies: what a chunk sends back. Sums a plant and a candidate; counts add exactly, in any order.

Arrays of candidates have the shape of their lattice: phase pick-ups x earth pick-ups x delays, here
(P, E, D)."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from montecarlo.quantities import Array
from montecarlo.quantities.keepable import keepable

Flags = NDArray[np.bool_]

Places = NDArray[np.float32]

NO_CAUSES: Array = np.zeros(2)


@keepable
@dataclass(eq=False)
class LatticeTally:
    """One stratum on one lattice for a run of plants. total: Σ of y a plant, y = 0 or 1, or a
    conditional probability; noise: what `step_noise` makes of it; line_end: Σ y under the line-end
    law (None: no meaning)."""

    total: Array  # (plants, P, E, D)
    trials: Array  # (plants,) samples drawn
    unresolved: Array  # (plants,)
    noise: Array | None = None  # (plants, P, E, D); None for counts
    line_end: Array | None = None  # (plants, P, E, D)
    phase_x: Places | None = None  # (resolved, P, D) critical positions, and
    earth_x: Places | None = None  # (resolved, E, D), as `places_kept`

    def __add__(self, other: LatticeTally) -> LatticeTally:
        return LatticeTally(
            self.total + other.total,
            self.trials + other.trials,
            self.unresolved + other.unresolved,
            _sum(self.noise, other.noise),
            _sum(self.line_end, other.line_end),
            _joined(self.phase_x, other.phase_x),
            _joined(self.earth_x, other.earth_x),
        )


def _joined(one: Places | None, other: Places | None) -> Places | None:
    return None if one is None or other is None else np.concatenate([one, other])


def _sum(one: Array | None, other: Array | None) -> Array | None:
    return None if one is None or other is None else one + other


@keepable
@dataclass(eq=False)
class BackupTally:
    """operates: the back-up itself, one setting (plants, 1, 1, 1); nobody: neither it nor the
    differential, a `LatticeTally` for each lattice, empty for what is outside the zone."""

    operates: LatticeTally
    nobody: tuple[LatticeTally, ...] = ()

    def __add__(self, other: BackupTally) -> BackupTally:
        return BackupTally(
            self.operates + other.operates,
            tuple(a + b for a, b in zip(self.nobody, other.nobody, strict=True)),
        )


@keepable
@dataclass(eq=False)
class Tally:
    """One chunk, or several of the same stratum and block of plants: a `LatticeTally` for each
    lattice.

    counts: named sums over solutions along the winding (re-entries, interpolation differences).
    causes: of the samples without a result on one circuit at least, driven by what is not finite
    and not converged. backup: None where there is no back-up, or nothing that it could see. early:
    the same of the first events only, by the share of the batch. caught: what one candidate misses
    and another catches (`caught.py`), where the job asks for it."""

    lattices: tuple[LatticeTally, ...]
    counts: dict[str, float] = field(default_factory=dict)
    backup: BackupTally | None = None
    early: dict[float, Tally] = field(default_factory=dict)
    caught: LatticeTally | None = None  # (plants, K, K, 1): missed by one, caught by the other
    causes: Array = field(default_factory=lambda: NO_CAUSES)  # (2,)

    def __add__(self, other: Tally) -> Tally:
        keys = sorted(self.counts.keys() | other.counts.keys())
        return Tally(
            tuple(a + b for a, b in zip(self.lattices, other.lattices, strict=True)),
            {key: self.counts.get(key, 0.0) + other.counts.get(key, 0.0) for key in keys},
            None if self.backup is None or other.backup is None else self.backup + other.backup,
            _merged(self.early, other.early),
            None if self.caught is None or other.caught is None else self.caught + other.caught,
            self.causes + other.causes,
        )


def _merged(one: dict[float, Tally], other: dict[float, Tally]) -> dict[float, Tally]:
    """Sums by share; a chunk beyond a share has nothing of it."""
    shared = {share: one[share] + other[share] for share in one.keys() & other.keys()}
    return {
        share: shared.get(share, one.get(share) or other[share])
        for share in sorted(one.keys() | other.keys())
    }


@dataclass(frozen=True, eq=False)
class Pickups:
    """Critical pick-ups of a chunk's samples on one circuit: phase (n, D), the largest of the phase
    elements, and earth (n, D); None without such an element. NaN: unresolved. D may be 1 where the
    delay does not matter."""

    phase: Array | None
    earth: Array | None

    @property
    def resolved(self) -> Flags:
        parts = [
            np.isfinite(part).all(axis=1) for part in (self.phase, self.earth) if part is not None
        ]
        return np.asarray(np.all(parts, axis=0))

    def at(self, rows: NDArray[np.int64] | slice) -> Pickups:
        """Of some of the samples."""
        return Pickups(*(None if part is None else part[rows] for part in (self.phase, self.earth)))

    def silent(self, phase_a: Array, earth_a: Array, delays: int) -> tuple[Flags, Flags]:
        """Whether each sample leaves the elements silent at each setting: (n, P, D) and (n, E, D),
        1 or 0."""
        out = []
        for part, level in ((self.phase, phase_a), (self.earth, earth_a)):
            n = next(len(one) for one in (self.phase, self.earth) if one is not None)
            held = np.full((n, 1), -np.inf) if part is None else part
            out.append(np.broadcast_to(held[:, None, :], (n, 1, delays)) <= level[:, None])
        return out[0], out[1]


def joint_counts(phase: Flags, earth: Flags, plants: int, weights: Array | None = None) -> Array:
    """Σ over each plant's events of phase·earth for every pair of settings, as matrix products.

    phase (n, P, D), earth (n, E, D) of 0 and 1, n plant-major; weights (n,). Returns (plants, P, E,
    D)."""
    kind: type[np.floating] = (
        np.float32 if weights is None else np.float64
    )  # counts below 2^24: exact in 32 bits
    a = np.asarray(phase if weights is None else phase * weights[:, None, None], kind)
    b = np.asarray(earth, kind)
    a = a.reshape(plants, -1, *phase.shape[1:]).transpose(0, 3, 2, 1)  # (plants, D, P, events)
    b = b.reshape(plants, -1, *earth.shape[1:]).transpose(0, 3, 1, 2)  # (plants, D, events, E)
    return np.asarray((a @ b).transpose(0, 2, 3, 1), float)


def count_operated(
    event: Pickups, phase_a: Array, earth_a: Array, delays: int, plants: int
) -> LatticeTally:
    """External events and states: operated when any element's critical pick-up is above its
    setting."""
    resolved = event.resolved
    phase, earth = event.silent(phase_a, earth_a, delays)
    per_plant = resolved.reshape(plants, -1).sum(axis=1).astype(float)
    silent = joint_counts(phase & resolved[:, None, None], earth, plants)
    return LatticeTally(
        per_plant[:, None, None, None] - silent,
        np.full(plants, resolved.size / plants),
        resolved.size / plants - per_plant,
    )


def count_missed(
    fault: Pickups,
    load: Pickups,
    phase_a: Array,
    earth_a: Array,
    delays: int,
    plants: int,
    line_end_weight: Array | None,
    counts: Array | None = None,
) -> LatticeTally:
    """Internal faults: missed when no element operates, or when one had operated on the load before
    the fault.

    counts (n,) of 0 and 1: the samples whose misses are counted; all unless given."""
    resolved = fault.resolved & load.resolved
    blind_phase, blind_earth = fault.silent(phase_a, earth_a, delays)
    quiet_phase, quiet_earth = load.silent(phase_a, earth_a, delays)
    quiet_phase = quiet_phase & resolved[:, None, None]
    per_plant = resolved.reshape(plants, -1).sum(axis=1).astype(float)

    def missed(weights: Array | None, whole: Array) -> Array:
        detected = joint_counts(quiet_phase, quiet_earth, plants, weights) - joint_counts(
            quiet_phase & blind_phase, quiet_earth & blind_earth, plants, weights
        )
        return whole[:, None, None, None] - detected

    weighted = None
    if line_end_weight is not None:
        weighted = missed(
            line_end_weight, (line_end_weight * resolved).reshape(plants, -1).sum(axis=1)
        )
    whole = per_plant if counts is None else (counts * resolved).reshape(plants, -1).sum(axis=1)
    return LatticeTally(
        missed(counts, whole),
        np.full(plants, resolved.size / plants),
        resolved.size / plants - per_plant,
        line_end=weighted,
    )


def step_noise(y: Array, resolved: Flags, along: Array, plants: int) -> Array:
    """Variance of a plant's sum over its n events, n·S², (plants, ...); NaN for a single event. y
    (n, ...) plant-major.

    S² is half the mean square of the steps between events that are neighbours `along` (n,) the
    input which decides most: on a net the events of a plant stand evenly there, so that what it
    makes them differ by is no noise (one unit a stratum, neighbours paired: Wolter, Introduction to
    Variance Estimation, ch. 8, from memory). Noise from the squares about the mean would take all
    of it for noise: measured, tests/MEASUREMENTS.md."""
    order = np.lexsort((along, np.repeat(np.arange(plants), along.size // plants)))
    by_plant = y[order].reshape(plants, -1, *y.shape[1:])
    known = resolved[order].reshape(plants, -1)
    both = known[:, 1:] & known[:, :-1]
    steps = np.sum(
        np.diff(by_plant, axis=1) ** 2,
        axis=1,
        where=both.reshape(*both.shape, *(1,) * (y.ndim - 1)),
    )
    count = both.sum(axis=1)
    scale = np.divide(known.sum(axis=1), 2 * count, out=np.full(plants, np.nan), where=count > 0)
    return np.asarray(steps * scale.reshape(-1, *(1,) * (y.ndim - 1)))


def missed_stretch(phase_x: Array, earth_x: Array, quiet: Flags) -> Array:
    """From the neutral up to where a setting misses an earth fault: the shorter stretch of its
    elements, the whole winding if it operates on the load. Arrays that broadcast; critical
    positions as in `sum_conditional`."""
    return np.where(quiet, np.minimum(phase_x, earth_x), 1.0)


def sum_conditional(
    phase_x: Array,
    earth_x: Array,
    load: Pickups,
    phase_a: Array,
    earth_a: Array,
    plants: int,
    cdf: Callable[[Array], Array],
    along: Array,
    line_end: bool,
    backup_x: Array | None = None,
) -> LatticeTally:
    """Earth faults: P(missed | all but the position) = cdf(x*), 1 for a setting that operates on
    the load.

    phase_x (n, P, D) and earth_x (n, E, D): critical positions, 1 without such an element; cdf: of
    the fault's position; along (n,): the input that decides most (`step_noise`); backup_x (n,):
    beyond which a back-up catches whatever is missed, so that the sum is of what nobody catches."""
    n, settings, delays = phase_x.shape
    resolved = (
        np.isfinite(phase_x).all(axis=(1, 2))
        & np.isfinite(earth_x).all(axis=(1, 2))
        & load.resolved
    )
    quiet_phase, quiet_earth = load.silent(phase_a, earth_a, delays)
    shape = (settings, earth_x.shape[1], delays)
    tally = LatticeTally(
        np.zeros((plants, *shape)),
        np.full(plants, n / plants),
        n / plants - resolved.reshape(plants, -1).sum(axis=1),
        np.zeros((plants, *shape)),
        np.zeros((plants, *shape)) if line_end else None,
    )
    for p in range(settings):  # one row of settings at a time bounds the memory
        x = missed_stretch(phase_x[:, p, None], earth_x, quiet_phase[:, p, None] & quiet_earth)
        if backup_x is not None:
            x = np.minimum(x, backup_x[:, None, None])
        y = np.where(resolved[:, None, None], cdf(x), 0.0)
        by_plant = y.reshape(plants, -1, *shape[1:])
        tally.total[:, p] = by_plant.sum(axis=1)
        assert tally.noise is not None
        tally.noise[:, p] = step_noise(y, resolved, along, plants)
        if tally.line_end is not None:
            tally.line_end[:, p] = (
                np.where(resolved[:, None, None], x**2, 0.0).reshape(by_plant.shape).sum(axis=1)
            )
    return tally


def places_kept(
    phase_x: Array, earth_x: Array, load: Pickups, phase_a: Array, earth_a: Array
) -> tuple[Places, Places]:
    """Critical positions of a chunk's resolved samples, (resolved, P, D) and (resolved, E, D):
    small enough to keep, and all that coverage needs (`missed_places`). NaN: it operates on the
    load.

    Positions lie in [0, 1], so single precision leaves 6e-8 of the winding open."""
    delays = phase_x.shape[2]
    resolved = (
        load.resolved
        & np.isfinite(phase_x).all(axis=(1, 2))
        & np.isfinite(earth_x).all(axis=(1, 2))
    )
    quiet = load.silent(phase_a, earth_a, delays)
    phase, earth = (
        np.where(still, x, np.nan)[resolved].astype(np.float32)
        for still, x in zip(quiet, (phase_x, earth_x), strict=True)
    )
    return phase, earth


def missed_places(phase_x: Places, earth_x: Places) -> Places:
    """`missed_stretch` of positions kept. Arrays that broadcast."""
    x = np.minimum(phase_x, earth_x)  # not a number stays
    return np.where(np.isnan(x), np.float32(1.0), x)


def one_setting(y: Array | Flags, plants: int, *, along: Array | None = None) -> LatticeTally:
    """What belongs to no candidate: y (n,) of 0 and 1, or conditional probabilities, then with
    `along` as in `step_noise`; NaN: unresolved; plant-major."""
    known = np.isfinite(y)
    values = np.where(known, y, 0.0)
    noise = None if along is None else step_noise(values, known, along, plants)
    by_plant, resolved = values.reshape(plants, -1), known.reshape(plants, -1).sum(axis=1)
    trials = np.full(plants, float(by_plant.shape[1]))
    return LatticeTally(
        by_plant.sum(axis=1)[:, None, None, None],
        trials,
        trials - resolved,
        None if noise is None else noise[:, None, None, None],
    )
