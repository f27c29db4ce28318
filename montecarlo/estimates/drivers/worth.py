"""What it would be worth to know an input before the setting is chosen: the best admissible result, chosen anew for
what the input turns out to be, less the best without knowing (expected value of information; Raiffa and Schlaifer,
Applied Statistical Decision Theory, 1961, from memory).

Known is in which of four equally likely cells the input lies (`cells_of`): a coarse measurement, so that an exact one
is worth at least as much where the policy weighs costs (derived: who knows more may choose as before). The same samples
serve every cell and every input. Half of their batches choose, the other half is looked at, and the other way round:
the best of noisy estimates would otherwise flatter measuring.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from montecarlo.estimates.drivers.samples import Sampled, mean_of
from montecarlo.estimates.intervals import Estimate
from montecarlo.estimates.rare import BATCH
from montecarlo.quantities import Array

__all__ = ["CELLS", "Rule", "Worth", "cells_of", "worth"]

CELLS = 4
Labels = NDArray[np.int64]
# Median of the largest of three |u - v|, u and v standard normal: P(all below c) = (2 Phi(c/root 2) - 1)^3 = 1/2.
APART = float(np.sqrt(2) * ndtri((1 + 0.5 ** (1 / 3)) / 2))


@dataclass(frozen=True, eq=False)
class Rule:
    """Which candidate is best, from Σ w·y by sample and candidate. Only those `usable` (C,) are looked at.

    costs: what p = 1 of each sample costs, and the smallest sum is wanted; without, the smallest p_missed among those
    whose p_false, times `margin` and plus `extra` (C,), is at most `limit`; where none is, the one nearest to that."""

    missed: Mapping[str, float]                            # share of each sample in p_missed
    false: Mapping[str, float]                             # and in p_false
    usable: NDArray[np.bool_]
    limit: float
    margin: Array
    extra: Array
    costs: Mapping[str, float] | None = None

    def sum_of(self, p: Mapping[str, Array], weights: Mapping[str, float]) -> Array:
        return np.asarray(sum(weight * p[name] for name, weight in weights.items()), float)

    def best(self, p: Mapping[str, Array]) -> int:
        """From each sample's p of every candidate, (C,)."""
        missed, false = self.sum_of(p, self.missed), self.sum_of(p, self.false)
        if self.costs is not None:
            aim, allowed = self.sum_of(p, self.costs), self.usable
        else:
            bound = false * self.margin + self.extra
            allowed = self.usable & (bound <= self.limit)
            aim = missed
            if not allowed.any():
                allowed, aim = self.usable, bound
        order = np.lexsort((false, missed, np.where(allowed, aim, np.inf)))
        return int(order[0])


@dataclass(frozen=True, eq=False)
class Worth:
    """By quantity (p_missed, p_false, cost): today's mean, the mean chosen anew, the difference with limits, and the
    difference without halves, which flatters. chosen (CELLS,): candidates by cell, all samples used; today: without
    knowing."""

    today: dict[str, float]
    anew: dict[str, float]
    difference: dict[str, Estimate]
    flattering: dict[str, float]
    chosen: tuple[int, ...]
    chosen_today: int


def cells_of(scores: Array) -> Labels:
    """Which of four equally likely cells normal scores (n, columns) lie in.

    One value: the quarter of its law. Six, of CTs: whether their mean is low or high, and whether the two ends of a
    phase are near or far apart. Four, of elements: whether the mean of the phases and whether the earth element is low
    or high."""
    if scores.shape[1] == 1:
        return np.minimum(np.searchsorted(ndtri(np.arange(1, CELLS) / CELLS), scores[:, 0]), CELLS - 1)
    if scores.shape[1] == 6:
        apart = np.abs(scores[:, :3] - scores[:, 3:]).max(axis=1) > APART
        return np.asarray(2 * (scores.mean(axis=1) > 0) + apart, np.int64)
    return np.asarray(2 * (scores[:, :3].mean(axis=1) > 0) + (scores[:, 3] > 0), np.int64)


def worth(samples: Sequence[Sampled], key: str, rule: Rule) -> Worth:
    """Of knowing the cell of one plant input. Exactly 0 with one candidate."""
    cells = {s.name: cells_of(s.scores[key]) if key in s.scores else None for s in samples}
    halves = {s.name: np.arange(len(s.w)) // BATCH % 2 for s in samples}

    def means(half: int | None, cell: int | None) -> dict[str, Array]:
        """Each sample's p of every candidate, of one half of the batches and one cell."""
        found = {}
        for s in samples:
            rows = np.ones(len(s.w), bool) if half is None else halves[s.name] == half
            inside, where = rows, cells[s.name]
            if cell is not None and where is not None:
                inside = rows & (where == cell)
            scale = CELLS if cell is not None and where is not None else 1
            found[s.name] = scale * (s.w[inside] @ s.y[inside]) / rows.sum()
        return found

    chosen = {half: [rule.best(means(half, cell)) for cell in range(CELLS)] for half in (0, 1, None)}
    today = {half: rule.best(means(half, None)) for half in (0, 1, None)}

    def rows_of(s: Sampled, flatter: bool) -> tuple[Array, Array]:
        """w·y of today's and of the newly chosen candidates, each row judged by what the other half chose."""
        where = cells[s.name]
        of = [None, None] if flatter else [1, 0]
        old, new = np.empty(len(s.w)), np.empty(len(s.w))
        for half, by in enumerate(of):
            rows = np.flatnonzero(halves[s.name] == half)
            old[rows] = s.y[rows, today[by]]
            new[rows] = s.y[rows, np.array(chosen[by])[where[rows]]] if where is not None else (
                s.y[rows][:, chosen[by]].mean(axis=1))     # it says nothing of the cell, whose choice holds for it too
        return s.w * old, s.w * new

    honest = {s.name: rows_of(s, False) for s in samples}
    best = {s.name: rows_of(s, True) for s in samples}
    sides = {"p_missed": rule.missed, "p_false": rule.false} | (
        {} if rule.costs is None else {"cost_per_year": rule.costs})
    today_of, anew_of, difference, flattering = {}, {}, {}, {}
    for quantity, weights in sides.items():
        today_of[quantity] = float(sum(share * honest[name][0].mean() for name, share in weights.items()))
        anew_of[quantity] = float(sum(share * honest[name][1].mean() for name, share in weights.items()))
        difference[quantity] = mean_of([(share, honest[name][1] - honest[name][0]) for name, share in weights.items()])
        flattering[quantity] = float(sum(share * (best[name][1] - best[name][0]).mean()
                                         for name, share in weights.items()))
    return Worth(today_of, anew_of, difference, flattering, tuple(chosen[None]), today[None])
