"""Weighted samples beside counted ones: which of the two an event's p_false comes from, candidate by candidate."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from montecarlo.estimates.intervals import Estimate, Side, clustered_size
from montecarlo.estimates.rare import GOOD, Diagnostics, Sums, diagnose, rare_estimate
from montecarlo.quantities import Array
from montecarlo.study.candidates import Lattice

Flags = NDArray[np.bool_]

COMMON = 0.02                                              # p from which counting is at least as good
SEEN = 10                                                  # effective counted hits from which the two are compared
GAP = 3.0                                                  # standard errors between them
COUNTED, MAGNITUDE = "counted", "order of magnitude"       # how verdicts begin


@dataclass(frozen=True, eq=False)
class Weighted:
    """Final weighted samples of one event, judged against its counts; (C,) each."""

    sums: Sums
    used: Flags                                            # whether p comes from here
    verdict: tuple[str, ...]                               # "good", or why it is a count or an order of magnitude
    gap: Array                                             # weighted less counted, standard errors; NaN: too few counts
    lattices: tuple[Lattice, ...]                          # of the candidates

    @property
    def diagnostics(self) -> Diagnostics:
        return diagnose(self.sums)

    def instead_of(self, counted: Estimate, level: float, side: Side) -> Estimate:
        """The estimate of each candidate from where it comes; where none was counted, no higher than the limits of
        finer settings."""
        own = rare_estimate(self.sums, level, side)
        p, low, high = (np.where(self.used, mine, other) for mine, other in zip(own, counted, strict=True))
        finer = least_of_finer(np.where(self.used, own.high, np.inf), self.lattices)
        return Estimate(p, low, np.where(~self.used & (counted.p == 0), np.minimum(high, finer), high))


def least_of_finer(high: Array, lattices: Sequence[Lattice]) -> Array:
    """The least of each candidate's value and those of finer settings on its lattice, (C,): what operates at a setting
    operates at lower pick-ups and shorter delays too."""
    out, start = [], 0
    for lattice in lattices:
        table = high[start:start + int(np.prod(lattice.shape))].reshape(lattice.shape)
        start += table.size
        for axis, values in enumerate((lattice.phase_thresholds, lattice.earth_thresholds, lattice.delay_s)):
            order = np.argsort(values)
            least = np.minimum.accumulate(np.take(table, order, axis), axis)
            table = np.take(least, np.argsort(order), axis)
        out.append(table.ravel())
    return np.concatenate(out)


def compare(sums: Sums, total: Array, trials: Array, unresolved: Array, lattices: Sequence[Lattice],
            known: Sequence[str | None] | None = None) -> Weighted:
    """From final sums and an event's counts on its plants: total, unresolved (C, M), trials (M,). `known`: what an
    earlier batch found of each candidate's samples, which then counts instead of what these show; None where nothing.

    The rules look at the counts only to find common events and contradictions, so that p of a rare event is not
    chosen for its value: 3 standard errors between two right estimates come once in 370."""
    resolved = trials - unresolved
    size = clustered_size(total, resolved, 0.025)
    hits = total.sum(axis=1)
    counted = hits / np.maximum(resolved.sum(axis=1), 1.0)
    found, own = diagnose(sums), rare_estimate(sums).p
    scatter = np.where(np.isfinite(found.cov), found.cov, 0.0) * own
    error = np.sqrt(scatter**2 + counted * (1 - counted) / np.maximum(size, 1.0))
    gap = np.full(own.shape, np.nan)
    np.divide(own - counted, error, out=gap, where=(counted * size >= SEEN) & (error > 0))
    trust = [before or now for before, now in zip(known or [None] * len(own), found.trust, strict=True)]
    verdict = tuple(_verdict(*case) for case in zip(trust, counted, gap, strict=True))
    used = np.array([text == GOOD or text.startswith(MAGNITUDE) for text in verdict], bool)
    return Weighted(sums, used, verdict, gap, tuple(lattices))


def _verdict(trust: str, counted: float, gap: float) -> str:
    if counted >= COMMON:
        return f"{COUNTED}: above {COMMON:g}"
    if abs(gap) > GAP:
        return f"counts disagree by {abs(gap):.1f} standard errors"
    return trust
