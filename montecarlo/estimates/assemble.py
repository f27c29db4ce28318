"""From the tallies of a run to estimates: every candidate at once, by type and in total, and over
plants.

Candidates of all lattices stand in one row, lattice after lattice, each in the order of
`Lattice.settings`."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import TypeVar

import numpy as np

from montecarlo.estimates.intervals import Estimate, Side, clustered, student_mean, with_unresolved
from montecarlo.estimates.spread import Spread, binomial_noise, plant_spread
from montecarlo.estimates.tally import LatticeTally, Places, Tally, missed_places
from montecarlo.estimates.totals import Total, mover, plant_correlation
from montecarlo.estimates.weighted import Weighted
from montecarlo.quantities import Array
from montecarlo.sampling.design import BLOCKS
from montecarlo.sampling.stratum import Stratum

LEVEL = 0.95  # of every two-sided interval
PIECE = 1 << 22  # critical positions that are sorted at a time

Present = TypeVar("Present")
Kept = tuple[tuple[Places, ...], ...]  # by lattice, then by block of plants


@dataclass(frozen=True, eq=False)
class Gathered:
    """Everything counted of one fault type, event or state. M plants, C candidates."""

    name: Stratum
    total: Array  # (C, M) Σ y
    trials: Array  # (M,)
    unresolved: Array  # (C, M)
    noise_sums: Array | None  # (C, M) variance of the total a plant, None for counts
    line_end: Array | None  # (C, M)
    phase_x: Kept | None  # of each lattice and block, (resolved, P, D)
    earth_x: Kept | None  # and (resolved, E, D): `tally.places_kept`
    weighted: Weighted | None = None  # weighted samples of an external event, beside its counts

    @property
    def conditional(self) -> bool:
        return self.noise_sums is not None

    @property
    def means(self) -> Array:
        """Each plant's own mean over its resolved samples, (C, M); NaN where it has none."""
        resolved = self.trials - self.unresolved
        out = np.full(self.total.shape, np.nan)
        return np.asarray(np.divide(self.total, resolved, out=out, where=resolved > 0))

    @property
    def noise(self) -> Array:
        """Variance of those means about the plants' own probabilities, (C, M)."""
        resolved = self.trials - self.unresolved
        if self.noise_sums is None:
            return binomial_noise(self.total, resolved)
        out = np.full(self.total.shape, np.nan)
        return np.asarray(np.divide(self.noise_sums, resolved**2, out=out, where=resolved > 0))

    @property
    def block_means(self) -> Array:
        """Each block's own mean over its resolved samples, (C, blocks): the independent
        randomisations of the run."""
        resolved = by_block(self.trials - self.unresolved)
        out = np.full(resolved.shape, np.nan)
        return np.asarray(np.divide(by_block(self.total), resolved, out=out, where=resolved > 0))

    def estimate(self, level: float = LEVEL, side: Side = "both") -> Estimate:
        """p with limits, (C,): exact limits for counts with clustered plants, those of weighted
        samples where p comes from them; Student t over the blocks for conditional means, whose
        plants and events lie on a net of their own in each block.

        Unresolved samples count once as 0 and once as 1 in the limits, and not in p."""
        if not self.conditional:
            counted = with_unresolved(
                self.total, self.trials, self.unresolved, level, side=side, method="clustered"
            )
            return (
                counted if self.weighted is None else self.weighted.instead_of(counted, level, side)
            )
        trials = float(self.trials.sum())
        low, high = (
            student_mean(
                by_block(self.total + extra) / by_block(self.trials),
                level,
                side=side,
                trials=trials,
            )
            for extra in (0.0, self.unresolved)
        )
        resolved = trials - self.unresolved.sum(axis=1)
        p = np.divide(
            self.total.sum(axis=1),
            resolved,
            out=np.full(resolved.shape, np.nan),
            where=resolved > 0,
        )
        return Estimate(p, low.low, high.high)


def by_block(values: Array) -> Array:
    """Sums over the plants of each block, (..., blocks) from (..., M)."""
    return np.asarray(values.reshape(*values.shape[:-1], BLOCKS, -1).sum(axis=-1))


def gather(name: Stratum, blocks: Sequence[Tally]) -> Gathered:
    """One stratum from the tallies of its blocks of plants, in the order of the blocks."""
    lattices = range(len(blocks[0].lattices))

    def rows(part: Callable[[LatticeTally], Array]) -> Array:
        """(C, M) from (plants, P, E, D) a block and lattice."""
        return np.concatenate(
            [
                np.concatenate([part(block.lattices[k]) for block in blocks])
                .reshape(sum(len(block.lattices[k].trials) for block in blocks), -1)
                .T
                for k in lattices
            ]
        )

    def kept(part: Callable[[LatticeTally], Places | None]) -> Kept:
        return tuple(tuple(_present(part(block.lattices[k])) for block in blocks) for k in lattices)

    first = blocks[0].lattices[0]
    return Gathered(
        name,
        rows(lambda t: t.total),
        np.concatenate([block.lattices[0].trials for block in blocks]),
        rows(lambda t: np.broadcast_to(t.unresolved[:, None, None, None], t.total.shape)),
        None if first.noise is None else rows(lambda t: _present(t.noise)),
        None if first.line_end is None else rows(lambda t: _present(t.line_end)),
        None if first.phase_x is None else kept(lambda t: t.phase_x),
        None if first.earth_x is None else kept(lambda t: t.earth_x),
    )


def _present(array: Present | None) -> Present:
    assert array is not None
    return array


# --- totals -------------------------------------------------------------------


def weighted(
    strata: Sequence[Gathered], weights: Sequence[float], level: float = LEVEL, side: Side = "both"
) -> Total:
    """Σ weight·p over types with limits, (C,); types share their plants, which correlates their
    errors: as the means of the plants are correlated, and with a conditional type as those of the
    blocks, since its plants lie on nets. Weighted samples have plants of their own."""
    parts = [stratum.estimate(level, side) for stratum in strata]
    p, low, high = (
        np.stack([getattr(part, name) for part in parts], axis=-1) for name in ("p", "low", "high")
    )
    correlation = plant_correlation(
        np.nan_to_num(np.stack([stratum.means for stratum in strata], axis=1))
    )
    on_nets = np.array([stratum.conditional for stratum in strata])
    if on_nets.any():
        blocks = plant_correlation(
            np.nan_to_num(np.stack([stratum.block_means for stratum in strata], axis=1))
        )
        correlation = np.where(on_nets[:, None] | on_nets, blocks, correlation)
    shared = np.stack(
        [np.ones(len(p), bool) if s.weighted is None else ~s.weighted.alone for s in strata],
        axis=-1,
    )
    both = shared[:, :, None] & shared[:, None, :] | np.eye(len(strata), dtype=bool)
    return mover(np.asarray(weights), p, low, high, correlation * both)


def plant_means(strata: Sequence[Gathered], weights: Array) -> tuple[Array, Array]:
    """Each plant's weighted total and its sampling noise, (C, M); weights (types,) or (types,
    M)."""
    w = np.broadcast_to(
        np.asarray(weights, float).reshape(len(strata), -1), (len(strata), strata[0].trials.size)
    )
    means = sum(w[k] * np.nan_to_num(stratum.means) for k, stratum in enumerate(strata))
    noise = sum(w[k] ** 2 * stratum.noise for k, stratum in enumerate(strata))
    return np.asarray(means), np.asarray(noise)


def over_plants(
    strata: Sequence[Gathered], weights: Array, limit: Array | float = np.inf
) -> Spread:
    """Spread over plants of the weighted total, (C,)."""
    return plant_spread(*plant_means(strata, weights), limit)


def line_end_total(strata: Sequence[Gathered], weights: Sequence[float]) -> Array:
    """Σ weight·p under the line-end-weighted position law, (C,); NaN where a type has no such
    law."""
    out = np.zeros(len(strata[0].total))
    for stratum, weight in zip(strata, weights, strict=True):
        resolved = (stratum.trials - stratum.unresolved).sum(axis=1)
        if stratum.line_end is None:
            return np.full(out.shape, np.nan)
        out = out + weight * np.divide(
            stratum.line_end.sum(axis=1),
            resolved,
            out=np.full(out.shape, np.nan),
            where=resolved > 0,
        )
    return out


# --- along the winding --------------------------------------------------------


@dataclass(frozen=True, eq=False)
class Coverage:
    """Share of the winding in which an earth fault is detected, over sampled faults: quantiles,
    (C,) each."""

    median: Array
    p05: Array
    p95: Array


def coverage(stratum: Gathered) -> Coverage:
    """1 - x* over the sampled faults, exact; a quantile between two of them is linear (type 7 of
    Hyndman and Fan, The American Statistician 50, 1996), so that covered and missed part add up to
    1."""
    found = []
    for blocks in _pieces(stratum):
        x = np.concatenate(blocks)
        found.append(
            np.quantile(x, (0.5, 0.95, 0.05), axis=0)
            if len(x)
            else np.full((3, x.shape[1]), np.nan)
        )
    return Coverage(*(1 - np.concatenate(found, axis=1).astype(float)))


def detection_curve(stratum: Gathered, places: Array) -> Estimate:
    """P(x* < x), that an earth fault at x is detected, at each of the places (points,):
    (candidates, points) with limits over blocks of plants."""
    hits = np.concatenate(
        [np.stack([_detected(x, places) for x in blocks], axis=-1) for blocks in _pieces(stratum)]
    )  # (candidates, points, blocks)
    trials = np.broadcast_to([float(len(x)) for x in _present(stratum.phase_x)[0]], hits.shape)
    limits = clustered(hits, trials, LEVEL)
    return Estimate(hits.sum(axis=-1) / np.maximum(trials.sum(axis=-1), 1), limits.low, limits.high)


def _pieces(stratum: Gathered) -> Iterator[list[Places]]:
    """x* of some candidates, all candidates in their order: a list over blocks of (resolved, some).
    At most `PIECE` numbers at a time, or those of one pair of settings."""
    for phase, earth in zip(_present(stratum.phase_x), _present(stratum.earth_x), strict=True):
        (_, settings, delays), every = phase[0].shape, earth[0].shape[1]
        some = max(1, PIECE // max(sum(map(len, phase)) * delays, 1))
        for p in range(settings):
            for e in range(0, every, some):
                columns = min(some, every - e) * delays
                yield [
                    missed_places(x[:, p, None], y[:, e : e + some]).reshape(len(x), columns)
                    for x, y in zip(phase, earth, strict=True)
                ]


def _detected(x: Places, places: Array) -> Array:
    """How many of x (n, candidates) lie below each of the places: (candidates, points)."""
    cells = places.size + 1  # by the number of places up to x*
    cell = np.searchsorted(places, x, side="right") + np.arange(x.shape[1]) * cells
    counts = np.bincount(cell.ravel(), minlength=x.shape[1] * cells).reshape(-1, cells)
    return np.asarray(np.cumsum(counts, axis=1)[:, :-1], float)
