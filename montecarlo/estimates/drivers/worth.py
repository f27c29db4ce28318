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
from scipy.special import ndtri

from montecarlo.estimates.drivers.samples import Sampled, mean_of
from montecarlo.estimates.intervals import Estimate, ratio
from montecarlo.estimates.rare import BATCH
from montecarlo.quantities import Array, Flags, Index
from montecarlo.quantities.digits import alike
from montecarlo.sampling.stratum import Stratum

CELLS = 4
LOTS = 40  # cells drawn by lot, to see what noise gains
BOTH = 2  # the place of both halves together
LIMIT = 1.96  # 97.5 % quantile of the normal law
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
        """What the bound of p takes of the limit; above 1: too much. [-]

        Parameters
        ----------
        p : (C,) array (-)

        Returns
        -------
        (C,) array
        """
        return (p * self.margin + self.extra) / self.limit

    @classmethod
    def like(
        cls, weights: Mapping[Stratum, float], limit: float, bound: Array, p: Array, here: Array
    ) -> Bound:
        """A limit that counts p of these samples as the study counts its own.

        What the study's bound has above p was left open, and stays so where these samples show
        nothing
        (derived).

        Parameters
        ----------
        weights : mapping of Stratum to float
        limit : float
        bound, p : (C,) array
            The study's own, and its estimate.
        here : (C,) array
            p as these samples have it.

        Returns
        -------
        Bound
        """
        slack = np.maximum(bound - p, 0.0)
        whole = here + slack
        margin = ratio(bound, whole, 1.0)
        return cls(weights, limit, margin, margin * slack)


@dataclass(frozen=True, eq=False)
class Rule:
    """Which candidate is best, from Σ w·y by sample and candidate.

    With costs the smallest sum; without, the smallest p_missed among those that keep to every
    bound; where none does, the one nearest to that."""

    missed: Mapping[Stratum, float]  # share of each sample in p_missed
    false: Mapping[Stratum, float]  # and in p_false
    usable: Flags  # (C,) the others are not looked at
    bounds: tuple[Bound, ...]  # on p_false, then on each kind of event that has a limit
    costs: Mapping[Stratum, float] | None = None  # what p = 1 of each sample costs
    shift: Array | float = 0.0  # added to the aim, (C,)
    today: int | None = None  # chosen without knowing; by these samples unless given

    def sum_of(self, p: Mapping[Stratum, Array], weights: Mapping[Stratum, float]) -> Array:
        """Σ weight·p.

        Parameters
        ----------
        p : mapping of Stratum to (C,) array
        weights : mapping of Stratum to float

        Returns
        -------
        (C,) array
        """
        return np.asarray(sum(weight * p[name] for name, weight in weights.items()), float)

    def best(self, p: Mapping[Stratum, Array]) -> int:
        """The best candidate.

        Parameters
        ----------
        p : mapping of Stratum to (C,) array

        Returns
        -------
        int
        """
        missed = self.sum_of(p, self.missed)
        false = self.sum_of(p, self.false)
        aim = self.shift + (missed if self.costs is None else self.sum_of(p, self.costs))
        used = np.max([bound.used(self.sum_of(p, bound.weights)) for bound in self.bounds], axis=0)
        allowed = self.usable & (used <= 1)
        if not allowed.any():
            allowed = self.usable
            aim = used
        ranked = np.where(allowed, alike(aim), np.inf)
        order = np.lexsort((alike(false), alike(missed), ranked))
        return int(order[0])


@dataclass(frozen=True, eq=False)
class Worth:
    """Of one input, by quantity: p_missed, p_false, cost_per_year."""

    today: dict[str, float]  # mean of today's candidate
    found: dict[str, Estimate]  # the difference of choosing anew, as it was found
    difference: dict[str, Estimate]  # less what cells by lot gain
    flattering: dict[str, float]  # without halves
    chosen: tuple[int, ...]  # candidates by cell, all samples used
    chosen_today: int  # without knowing


def cells_of(scores: Array) -> Index:
    """Which of four equally likely cells an input lies in.

    One value: the quarter of its law. Six, of CTs: whether their mean is low or high, and whether
    the two ends of a phase are near or far apart. Four, of elements: whether the mean of the phases
    and whether the earth element is low or high.

    Parameters
    ----------
    scores : (n, columns) array
        Normal scores.

    Returns
    -------
    (n,) array of int
    """
    columns = scores.shape[1]
    if columns == 1:
        quarters = ndtri(np.arange(1, CELLS) / CELLS)
        return np.minimum(np.searchsorted(quarters, scores[:, 0]), CELLS - 1)
    if columns == 6:
        high = scores.mean(axis=1) > 0
        other = np.abs(scores[:, :3] - scores[:, 3:]).max(axis=1) > APART
    else:
        high = scores[:, :3].mean(axis=1) > 0
        other = scores[:, 3] > 0
    return np.asarray(2 * high + other, np.int64)


def worths(
    samples: Sequence[Sampled], keys: Sequence[str], rule: Rule, rng: np.random.Generator
) -> dict[str, Worth]:
    """What knowing the cell of each installation input is worth. Exactly 0 with one candidate.

    Parameters
    ----------
    samples : sequence of Sampled
    keys : sequence of str
        Of the inputs.
    rule : Rule
    rng : numpy.random.Generator

    Returns
    -------
    dict of str to Worth
        By input.
    """
    lots = []
    for _ in range(LOTS):
        by_lot = {s.name: rng.integers(CELLS, size=len(s.w)) for s in samples}
        lots.append(_worth(samples, by_lot, rule).found)
    out = {}
    for key in keys:
        cells = {s.name: cells_of(s.scores[key]) if key in s.scores else None for s in samples}
        worth = _worth(samples, cells, rule)
        difference = {}
        for quantity, gap in worth.found.items():
            gains = np.array([float(lot[quantity].p) for lot in lots])
            difference[quantity] = _less_lots(gap, gains)
        out[key] = replace(worth, difference=difference)
    return out


def _less_lots(gap: Estimate, lots: Array) -> Estimate:
    """Less the mean of the lots' gains; a mean loss is none of the input's."""
    p = gap.p - min(float(lots.mean()), 0.0)
    half = np.hypot(gap.high - gap.p, LIMIT * lots.std(ddof=1))
    return Estimate(np.asarray(p), p - half, p + half)


def _worth(samples: Sequence[Sampled], cells: Mapping[Stratum, Index | None], rule: Rule) -> Worth:
    sums = {s.name: _sums(s, cells[s.name]) for s in samples}
    chosen = []  # by half, then by cell
    today = []  # by half
    for half in range(BOTH + 1):
        by_cell = []
        for cell in range(CELLS):
            by_cell.append(
                rule.best({name: CELLS * part[half, cell] for name, part in sums.items()})
            )
        chosen.append(by_cell)
        without = rule.today
        if without is None:
            without = rule.best({name: part[half].sum(axis=0) for name, part in sums.items()})
        today.append(without)
    honest = {}
    best = {}
    for s in samples:
        own = cells[s.name]
        honest[s.name] = _rows(s, own, today[:BOTH][::-1], chosen[:BOTH][::-1])
        best[s.name] = _rows(s, own, [today[BOTH]] * 2, [chosen[BOTH]] * 2)
    sides = {"p_missed": rule.missed, "p_false": rule.false}
    if rule.costs is not None:
        sides["cost_per_year"] = rule.costs
    old: dict[str, float] = {}
    found: dict[str, Estimate] = {}
    flattering: dict[str, float] = {}
    for quantity, weights in sides.items():
        parts = [(share, *honest[name], *best[name]) for name, share in weights.items()]
        old[quantity] = float(sum(share * now.mean() for share, now, *_ in parts))
        found[quantity] = mean_of([(share, then - now) for share, now, then, *_ in parts])
        gains = (share * (then - now).mean() for share, *_, now, then in parts)
        flattering[quantity] = float(sum(gains))
    return Worth(old, found, found, flattering, tuple(chosen[BOTH]), today[BOTH])


def _halves(sample: Sampled) -> Index:
    """Which half each row belongs to, batch by batch, (n,)."""
    return np.arange(len(sample.w)) // BATCH % 2


def _sums(sample: Sampled, cells: Index | None) -> Array:
    """What each cell adds to p of every candidate: (first half, second half, both; CELLS, C)."""
    half = _halves(sample)
    rows = np.bincount(half, minlength=2)
    if cells is None:  # p of its own does not depend on the cell
        part = np.stack([(half == k) * sample.w for k in (0, 1)]) @ sample.y
        sums = np.repeat(part[:, None] / CELLS, CELLS, axis=1)
    else:
        code = half * CELLS + cells
        weights = np.stack([(code == k) * sample.w for k in range(2 * CELLS)])
        sums = (weights @ sample.y).reshape(2, CELLS, -1)
    both = sums.sum(axis=0, keepdims=True) / rows.sum()
    return np.concatenate([sums / rows[:, None, None], both])


def _rows(
    sample: Sampled, cells: Index | None, today: Sequence[int], chosen: Sequence[Sequence[int]]
) -> tuple[Array, Array]:
    """w·y of today's candidate and of those chosen by cell, (n,) each; both given for each half of
    the rows."""
    half = _halves(sample)
    every = np.arange(len(sample.w))
    by_cell = np.array(chosen)
    old = sample.y[every, np.array(today)[half]]
    if cells is not None:
        new = sample.y[every, by_cell[half, cells]]
    else:  # the choice holds for it too, cell by cell
        new = np.mean([sample.y[every, by_cell[half, cell]] for cell in range(CELLS)], axis=0)
    return sample.w * old, sample.w * new
