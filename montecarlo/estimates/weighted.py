"""Weighted samples beside counted ones: from which of the two, or from both, an event's p_false
comes, candidate by candidate."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum
from functools import cached_property

import numpy as np

from montecarlo.estimates.intervals import Estimate, clustered_size, ratio
from montecarlo.estimates.rare import (
    COMMON,
    Diagnostics,
    Seen,
    Sums,
    Trust,
    Why,
    diagnose,
    rare_estimate,
)
from montecarlo.quantities import Array, Flags
from montecarlo.study.candidates import Lattice

SEEN = 10  # effective counted hits from which the two are compared
GAP = 3.0  # standard errors between them


class Source(Enum):
    """Where p of an event comes from, as tables tell it."""

    COUNT = "count"
    WEIGHTED = "weighted"
    BOTH = "both"  # p weighted, the limits the wider ones of the two
    INTEGRATED = "integrated over the place"  # of an earth fault, given everything else


# of all else, the count
SOURCES = {Why.GOOD: Source.WEIGHTED, Why.MAGNITUDE: Source.WEIGHTED, Why.FEW: Source.BOTH}


@dataclass(frozen=True, eq=False)
class Weighted:
    """Final weighted samples of one event, judged against its counts; (C,) each."""

    sums: Sums
    verdict: tuple[Trust, ...]  # what speaks for them or against
    gap: Array  # weighted less counted, standard errors; NaN: too few counts
    lattices: tuple[Lattice, ...]  # of the candidates

    @cached_property
    def source(self) -> tuple[Source, ...]:
        """Where p comes from."""
        return tuple(SOURCES.get(verdict.why, Source.COUNT) for verdict in self.verdict)

    @property
    def alone(self) -> Flags:
        """Whether p and its limits come from here alone."""
        return np.array([source is Source.WEIGHTED for source in self.source], bool)

    @property
    def used(self) -> Flags:
        """Whether p comes from here, the limits alone or together with the counts'."""
        return np.array([source is not Source.COUNT for source in self.source], bool)

    @property
    def diagnostics(self) -> Diagnostics:
        """Of the weighted samples."""
        return diagnose(self.sums)

    def instead_of(self, counted: Estimate, level: float) -> Estimate:
        """The estimate of each candidate from where it comes. [-]

        Where none was counted, the count's upper limit is no higher than the limits of finer
        settings.

        Few effective hits: p is the weighted one, which scatters less than a count of hardly any
        trips and is chosen without a look at either; its own limits may lie too near, so they reach
        over those of the count. Nothing seen: the count stands, since weighted samples that missed
        what there is do not bound it from below or above any better than N(0, I)'s few among them.

        Parameters
        ----------
        counted : Estimate
        level : float (-)

        Returns
        -------
        Estimate
        """
        own = rare_estimate(self.sums, level)
        finer = least_of_finer(np.where(self.alone, own.high, np.inf), self.lattices)
        high = np.where(counted.p == 0, np.minimum(counted.high, finer), counted.high)
        wider_low = np.where(self.used, np.minimum(own.low, counted.low), counted.low)
        wider_high = np.where(self.used, np.maximum(own.high, high), high)
        return Estimate(
            np.where(self.used, own.p, counted.p),
            np.where(self.alone, own.low, wider_low),
            np.where(self.alone, own.high, wider_high),
        )


def least_of_finer(high: Array, lattices: Sequence[Lattice]) -> Array:
    """The least of each candidate's value and those of finer settings on its lattice.

    What operates at a setting operates at lower pick-ups and shorter delays too.

    Parameters
    ----------
    high : (C,) array
    lattices : sequence of Lattice

    Returns
    -------
    (C,) array
    """
    out = []
    start = 0
    for lattice in lattices:
        table = high[start : start + int(np.prod(lattice.shape))].reshape(lattice.shape)
        start += table.size
        settings = (lattice.phase_thresholds, lattice.earth_thresholds, lattice.delay_s)
        for axis, values in enumerate(settings):
            order = np.argsort(values)
            least = np.minimum.accumulate(np.take(table, order, axis), axis)
            table = np.take(least, np.argsort(order), axis)
        out.append(table.ravel())
    return np.concatenate(out)


def compare(
    sums: Sums,
    total: Array,
    trials: Array,
    unresolved: Array,
    lattices: Sequence[Lattice],
    known: Sequence[Seen | None] | None = None,
) -> Weighted:
    """Weighted samples of an event judged against its counts.

    The rules look at the counts only to find common events and contradictions, so that p of a rare
    event is not chosen for its value: 3 standard errors between two right estimates come once in
    370.

    Parameters
    ----------
    sums : Sums
        Final ones.
    total, unresolved : (C, M) array
        Counts on the event's installations.
    trials : (M,) array
    lattices : sequence of Lattice
    known : sequence of Seen or None, optional
        What an earlier batch saw of each candidate; what it lets so many samples expect then counts
        instead of what these show. None where nothing.

    Returns
    -------
    Weighted
    """
    resolved = trials - unresolved
    size = clustered_size(total, resolved, 0.025)
    hits = total.sum(axis=1)
    counted = hits / np.maximum(resolved.sum(axis=1), 1.0)
    found = diagnose(sums)
    own = rare_estimate(sums).p
    scatter = np.where(np.isfinite(found.cov), found.cov, 0.0) * own
    error = np.sqrt(scatter**2 + counted * (1 - counted) / np.maximum(size, 1.0))
    gap = ratio(own - counted, np.where(counted * size >= SEEN, error, 0.0))
    trust = [
        now.trust if before is None else _foretold(before.expected(sums.trials))
        for before, now in zip(known or [None] * len(own), found.seen, strict=True)
    ]
    verdict = tuple(_verdict(*case) for case in zip(trust, counted, gap, strict=True))
    return Weighted(sums, verdict, gap, tuple(lattices))


def _foretold(expected: Seen) -> Trust:
    """Of a batch by an earlier one."""
    return expected.trust._replace(foretold=True)


def _verdict(trust: Trust, counted: float, gap: float) -> Trust:
    if counted >= COMMON:
        return Trust(Why.COMMON)
    if abs(gap) > GAP:
        return Trust(Why.CONTRADICTED, abs(gap))
    return trust
