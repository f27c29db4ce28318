"""What it would be worth to know an input before the setting is chosen: the best allowed result,
chosen anew for what the input turns out to be, less the best without knowing (expected value of
information; Raiffa and Schlaifer, Applied Statistical Decision Theory, 1961, from memory).

Known is in which of four equally likely cells the input lies (`cells_of`): a coarse measurement, so
that an exact one is worth at least as much where the policy weighs costs (derived: who knows more
may choose as before). The same samples serve every cell and every input. Half of their batches
choose, the other half is looked at, and the other way round: the best of noisy estimates would
otherwise flatter measuring. Under a limit that is not enough, since noise lets a setting pass in
one cell that would not pass in all; so cells drawn by lot, which tell nothing, go the same way, and
what they gain is taken off, what they scatter put into the limits (as a permutation test does;
derived, and checked on inputs without influence)."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from montecarlo.estimates.drivers.samples import Sampled, mean_of
from montecarlo.estimates.intervals import Estimate
from montecarlo.estimates.rare import BATCH
from montecarlo.quantities import Array
from montecarlo.sampling.stratum import Stratum

__all__ = ["CELLS", "Bound", "Rule", "Worth", "cells_of", "worths"]

CELLS = 4
LOTS = 40  # cells drawn by lot, to see what noise gains
BOTH = 2  # the place of both halves together
LIMIT = 1.96  # 97.5 % quantile of the normal law
Labels = NDArray[np.int64]
# Median of the largest of three |u - v|, u and v standard normal: P(all below c) = (2
# Phi(c/root 2) - 1)^3 = 1/2.
APART = float(np.sqrt(2) * ndtri((1 + 0.5 ** (1 / 3)) / 2))


@dataclass(frozen=True, eq=False)
class Bound:
    """A limit on p_false, of all events or of a kind: Σ weight·p, times `margin` and plus `extra`
    (C,), is at most `limit`."""

    weights: Mapping[Stratum, float]
    limit: float
    margin: Array
    extra: Array

    def used(self, p: Array) -> Array:
        """What the bound of p (C,) takes of the limit; above 1: too much."""
        return np.asarray((p * self.margin + self.extra) / self.limit)

    @classmethod
    def like(
        cls, weights: Mapping[Stratum, float], limit: float, bound: Array, p: Array, here: Array
    ) -> Bound:
        """So that p as these samples have it `here` comes to the study's own `bound`, whose
        estimate was p, (C,) each. What the bound has above p was left open, and stays so where
        these samples show nothing (derived)."""
        slack = np.maximum(bound - p, 0.0)
        whole = here + slack
        margin = np.divide(bound, whole, out=np.ones(whole.shape), where=whole > 0)
        return cls(weights, limit, margin, margin * slack)


@dataclass(frozen=True, eq=False)
class Rule:
    """Which candidate is best, from Σ w·y by sample and candidate. Only those `usable` (C,) are
    looked at.

    costs: what p = 1 of each sample costs, and the smallest sum is wanted; without, the smallest
    p_missed among those whose p_false, times `margin` and plus `extra` (C,), is at most `limit`;
    where none is, the one nearest to that. kinds: the same of each kind of event, where that has a
    limit. shift: added to the aim, (C,). today: what is chosen without knowing; by these samples
    unless given."""

    missed: Mapping[Stratum, float]  # share of each sample in p_missed
    false: Mapping[Stratum, float]  # and in p_false
    usable: NDArray[np.bool_]
    limit: float
    margin: Array
    extra: Array
    costs: Mapping[Stratum, float] | None = None
    kinds: tuple[Bound, ...] = ()
    shift: Array | float = 0.0
    today: int | None = None

    def sum_of(self, p: Mapping[Stratum, Array], weights: Mapping[Stratum, float]) -> Array:
        return np.asarray(sum(weight * p[name] for name, weight in weights.items()), float)

    def best(self, p: Mapping[Stratum, Array]) -> int:
        """From each sample's p of every candidate, (C,)."""
        missed, false = self.sum_of(p, self.missed), self.sum_of(p, self.false)
        aim = self.shift + (missed if self.costs is None else self.sum_of(p, self.costs))
        bounds = [Bound(self.false, self.limit, self.margin, self.extra), *self.kinds]
        used = np.max([bound.used(self.sum_of(p, bound.weights)) for bound in bounds], axis=0)
        allowed = self.usable & (used <= 1)
        if not allowed.any():
            allowed, aim = self.usable, used
        order = np.lexsort((false, missed, np.where(allowed, aim, np.inf)))
        return int(order[0])


@dataclass(frozen=True, eq=False)
class Worth:
    """By quantity (p_missed, p_false, cost): today's mean, the difference of choosing anew with
    limits, as it was found and less what cells by lot gain, and the difference without halves,
    which flatters. chosen (CELLS,): candidates by cell, all samples used; today: without knowing.
    """

    today: dict[str, float]
    found: dict[str, Estimate]
    difference: dict[str, Estimate]
    flattering: dict[str, float]
    chosen: tuple[int, ...]
    chosen_today: int


def cells_of(scores: Array) -> Labels:
    """Which of four equally likely cells normal scores (n, columns) lie in.

    One value: the quarter of its law. Six, of CTs: whether their mean is low or high, and whether
    the two ends of a phase are near or far apart. Four, of elements: whether the mean of the phases
    and whether the earth element is low or high."""
    if scores.shape[1] == 1:
        return np.minimum(
            np.searchsorted(ndtri(np.arange(1, CELLS) / CELLS), scores[:, 0]), CELLS - 1
        )
    if scores.shape[1] == 6:
        apart = np.abs(scores[:, :3] - scores[:, 3:]).max(axis=1) > APART
        return np.asarray(2 * (scores.mean(axis=1) > 0) + apart, np.int64)
    return np.asarray(2 * (scores[:, :3].mean(axis=1) > 0) + (scores[:, 3] > 0), np.int64)


def worths(
    samples: Sequence[Sampled], keys: Sequence[str], rule: Rule, rng: np.random.Generator
) -> dict[str, Worth]:
    """Of knowing the cell of each plant input. Exactly 0 with one candidate."""
    lots = [
        _worth(samples, {s.name: rng.integers(CELLS, size=len(s.w)) for s in samples}, rule)
        for _ in range(LOTS)
    ]
    out = {}
    for key in keys:
        found = _worth(
            samples,
            {s.name: cells_of(s.scores[key]) if key in s.scores else None for s in samples},
            rule,
        )
        out[key] = replace(
            found,
            difference={
                quantity: _less_lots(gap, np.array([float(lot.found[quantity].p) for lot in lots]))
                for quantity, gap in found.found.items()
            },
        )
    return out


def _less_lots(gap: Estimate, lots: Array) -> Estimate:
    """Less the mean of the lots' gains; a mean loss is none of the input's."""
    p = gap.p - min(float(lots.mean()), 0.0)
    half = np.hypot(gap.high - gap.p, LIMIT * lots.std(ddof=1))
    return Estimate(np.asarray(p), np.asarray(p - half), np.asarray(p + half))


def _worth(samples: Sequence[Sampled], cells: Mapping[str, Labels | None], rule: Rule) -> Worth:
    sums = {s.name: _sums(s, cells[s.name]) for s in samples}
    chosen = [
        [
            rule.best({name: CELLS * part[half, cell] for name, part in sums.items()})
            for cell in range(CELLS)
        ]
        for half in range(BOTH + 1)
    ]
    today = [
        (
            rule.best({name: part[half].sum(axis=0) for name, part in sums.items()})
            if rule.today is None
            else rule.today
        )
        for half in range(BOTH + 1)
    ]
    honest = {
        s.name: _rows(s, cells[s.name], today[:BOTH][::-1], chosen[:BOTH][::-1]) for s in samples
    }
    best = {s.name: _rows(s, cells[s.name], [today[BOTH]] * 2, [chosen[BOTH]] * 2) for s in samples}
    sides = {"p_missed": rule.missed, "p_false": rule.false} | (
        {} if rule.costs is None else {"cost_per_year": rule.costs}
    )
    found = {
        quantity: mean_of(
            [(share, honest[name][1] - honest[name][0]) for name, share in weights.items()]
        )
        for quantity, weights in sides.items()
    }
    return Worth(
        {
            quantity: float(sum(share * honest[name][0].mean() for name, share in weights.items()))
            for quantity, weights in sides.items()
        },
        found,
        found,
        {
            quantity: float(
                sum(
                    share * (best[name][1] - best[name][0]).mean()
                    for name, share in weights.items()
                )
            )
            for quantity, weights in sides.items()
        },
        tuple(chosen[BOTH]),
        today[BOTH],
    )


def _halves(sample: Sampled) -> Labels:
    """Which half each row belongs to, batch by batch, (n,)."""
    return np.arange(len(sample.w)) // BATCH % 2


def _sums(sample: Sampled, cells: Labels | None) -> Array:
    """What each cell adds to p of every candidate: (first half, second half, both; CELLS, C)."""
    half = _halves(sample)
    rows = np.bincount(half, minlength=2)
    if cells is None:  # p of its own does not depend on the cell
        part = np.stack([(half == k) * sample.w for k in (0, 1)]) @ sample.y
        sums = np.repeat(part[:, None] / CELLS, CELLS, axis=1)
    else:
        code = half * CELLS + cells
        sums = (np.stack([(code == k) * sample.w for k in range(2 * CELLS)]) @ sample.y).reshape(
            2, CELLS, -1
        )
    return np.concatenate(
        [sums / rows[:, None, None], sums.sum(axis=0, keepdims=True) / rows.sum()]
    )


def _rows(
    sample: Sampled, cells: Labels | None, today: Sequence[int], chosen: Sequence[Sequence[int]]
) -> tuple[Array, Array]:
    """w·y of today's candidate and of those chosen by cell, (n,) each; both given for each half of
    the rows."""
    half, every = _halves(sample), np.arange(len(sample.w))
    by_cell = np.array(chosen)
    old = sample.y[every, np.array(today)[half]]
    if cells is not None:
        new = sample.y[every, by_cell[half, cells]]
    else:  # the choice holds for it too, cell by cell
        new = np.mean([sample.y[every, by_cell[half, cell]] for cell in range(CELLS)], axis=0)
    return sample.w * old, sample.w * new
