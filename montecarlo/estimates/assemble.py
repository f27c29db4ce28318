"""From the tallies of a run to estimates: every candidate at once, by type and in total, and over
installations.

Candidates of all lattices stand in one row, lattice after lattice, each in the order of
`Lattice.settings`."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import TypeVar

import numpy as np

from montecarlo.estimates.counting import missed_places
from montecarlo.estimates.intervals import (
    Estimate,
    clustered,
    ratio,
    student_mean,
    with_unresolved,
)
from montecarlo.estimates.spread import Spread, binomial_noise, installation_spread
from montecarlo.estimates.tally import LatticeTally, Places, Tally
from montecarlo.estimates.totals import Total, installation_correlation, mover
from montecarlo.estimates.weighted import Weighted
from montecarlo.quantities import Array
from montecarlo.sampling.design import BLOCKS
from montecarlo.sampling.stratum import Stratum

LEVEL = 0.95  # of every two-sided interval
PIECE = 1 << 22  # critical positions that are sorted at a time

Present = TypeVar("Present")
Kept = tuple[tuple[Places, ...], ...]  # by lattice, then by block of installations


@dataclass(frozen=True, eq=False)
class Gathered:
    """Everything counted of one fault type, event or state. M installations, C candidates."""

    name: Stratum
    total: Array  # (C, M) Σ y
    trials: Array  # (M,)
    unresolved: Array  # (C, M)
    noise_sums: Array | None  # (C, M) variance of the total an installation, None for counts
    line_end: Array | None  # (C, M)
    phase_x: Kept | None  # of each lattice and block, (resolved, P, D)
    earth_x: Kept | None  # and (resolved, E, D): `counting.places_kept`
    weighted: Weighted | None = None  # weighted samples of an external event, beside its counts
    fault_ohm: Kept | None = None  # of the same faults as the places, (resolved,)
    before: Array | None = None  # (C, M) samples in which an element had operated before

    @property
    def conditional(self) -> bool:
        """Whether it sums probabilities given everything but the place, not counts."""
        return self.noise_sums is not None

    @property
    def resolved(self) -> Array:
        """Samples with a result, (C, M)."""
        return self.trials - self.unresolved

    @property
    def means(self) -> Array:
        """Each installation's own mean over its resolved samples, (C, M); NaN where it has none."""
        return ratio(self.total, self.resolved)

    @property
    def noise(self) -> Array:
        """Variance of those means about the installations' own probabilities, (C, M)."""
        if self.noise_sums is None:
            return binomial_noise(self.total, self.resolved)
        return ratio(self.noise_sums, np.where(self.resolved > 0, self.resolved**2, 0.0))

    @property
    def block_means(self) -> Array:
        """Each block's own mean over its resolved samples, (C, blocks): the independent
        randomisations of the run."""
        return ratio(by_block(self.total), by_block(self.resolved))

    @property
    def p(self) -> Array:
        """Mean over all resolved samples, (C,); NaN where there is none."""
        return ratio(self.total.sum(axis=1), self.resolved.sum(axis=1))

    def estimate(self, level: float = LEVEL) -> Estimate:
        """p of every candidate with limits. [-]

        Exact limits for counts with clustered installations, those of weighted samples where p
        comes from them; Student t over the blocks for conditional means, whose installations and
        events lie on a net of their own in each block. Unresolved samples count once as 0 and once
        as 1 in the limits, and not in p.

        Parameters
        ----------
        level : float (-)

        Returns
        -------
        Estimate
            (C,).
        """
        if not self.conditional:
            counted = with_unresolved(self.total, self.trials, self.unresolved, level)
            if self.weighted is None:
                return counted
            return self.weighted.instead_of(counted, level)
        trials = float(self.trials.sum())

        def limits(total: Array) -> Estimate:
            means = by_block(total) / by_block(self.trials)
            return student_mean(means, level, trials)

        return Estimate(self.p, limits(self.total).low, limits(self.total + self.unresolved).high)


def operated_before(stratum: Gathered, level: float = LEVEL) -> Estimate | None:
    """How often an element of every candidate had operated before an internal fault, with limits.
    [-]

    Parameters
    ----------
    stratum : Gathered
    level : float (-)

    Returns
    -------
    Estimate or None
        (C,); None for a type that nothing but load precedes.
    """
    if stratum.before is None:
        return None
    return with_unresolved(stratum.before, stratum.trials, stratum.unresolved, level)


def by_block(values: Array) -> Array:
    """Sums over the installations of each block.

    Parameters
    ----------
    values : (..., M) array

    Returns
    -------
    (..., blocks) array
    """
    return np.asarray(values.reshape(*values.shape[:-1], BLOCKS, -1).sum(axis=-1))


def gather(name: Stratum, blocks: Sequence[Tally]) -> Gathered:
    """One stratum from the tallies of its blocks of installations.

    Parameters
    ----------
    name : Stratum
    blocks : sequence of Tally
        In the order of the blocks.

    Returns
    -------
    Gathered
    """
    lattices = [
        [block.lattices[k] for block in blocks] for k in range(len(blocks[0].lattices))
    ]  # by lattice, then by block

    def rows(part: Callable[[LatticeTally], Array]) -> Array:
        """(C, M) from (installations, P, E, D) a block and lattice."""
        tables = [[part(tally) for tally in tallies] for tallies in lattices]
        return np.concatenate(
            [
                np.concatenate([table.reshape(len(table), -1).T for table in blocks], axis=1)
                for blocks in tables
            ]
        )

    def lost(tallies: Sequence[LatticeTally]) -> Array:
        """(C, M) of one lattice: the same for all its settings."""
        whole = np.concatenate([tally.unresolved for tally in tallies])
        return np.broadcast_to(whole, (math.prod(tallies[0].total.shape[1:]), whole.size))

    def kept(part: Callable[[LatticeTally], Places | None]) -> Kept:
        return tuple(tuple(_present(part(tally)) for tally in tallies) for tallies in lattices)

    first = lattices[0]
    one = first[0]
    return Gathered(
        name,
        rows(lambda t: t.total),
        np.concatenate([tally.trials for tally in first]),
        np.concatenate([*map(lost, lattices)]),
        None if one.noise is None else rows(lambda t: _present(t.noise)),
        None if one.line_end is None else rows(lambda t: _present(t.line_end)),
        None if one.phase_x is None else kept(lambda t: t.phase_x),
        None if one.earth_x is None else kept(lambda t: t.earth_x),
        fault_ohm=None if one.fault_ohm is None else kept(lambda t: t.fault_ohm),
        before=None if one.before is None else rows(lambda t: _present(t.before)),
    )


def _present(array: Present | None) -> Present:
    assert array is not None
    return array


# --- totals -------------------------------------------------------------------


def weighted(strata: Sequence[Gathered], weights: Sequence[float], level: float = LEVEL) -> Total:
    """Σ weight·p over types with limits, in the unit of the weights.

    Types share their installations, which correlates their errors: as the means of the
    installations are correlated, and with a conditional type as those of the blocks, since its
    installations lie on nets. Weighted samples have installations of their own.

    Parameters
    ----------
    strata : sequence of Gathered
    weights : sequence of float
    level : float (-)

    Returns
    -------
    Total
        (C,).
    """
    return weighted_at(strata, weights, [level])[0]


def weighted_at(
    strata: Sequence[Gathered], weights: Sequence[float], levels: Sequence[float]
) -> list[Total]:
    """The same at several levels.

    Parameters
    ----------
    strata, weights
        As of `weighted`.
    levels : sequence of float (-)

    Returns
    -------
    list of Total
    """
    correlation = _correlation([stratum.means for stratum in strata])
    on_nets = np.array([stratum.conditional for stratum in strata])
    if on_nets.any():
        blocks = _correlation([stratum.block_means for stratum in strata])
        correlation = np.where(on_nets[:, None] | on_nets, blocks, correlation)
    shared = np.ones((len(strata[0].total), len(strata)), bool)
    for k, stratum in enumerate(strata):
        if stratum.weighted is not None:
            shared[:, k] = ~stratum.weighted.alone
    both = shared[:, :, None] & shared[:, None, :] | np.eye(len(strata), dtype=bool)
    together, totals = correlation * both, []
    for level in levels:
        parts = [stratum.estimate(level) for stratum in strata]
        p, low, high = (np.stack(part, axis=-1) for part in zip(*parts, strict=True))
        totals.append(mover(np.asarray(weights), p, low, high, together))
    return totals


def total_by_block(strata: Sequence[Gathered], weights: Sequence[float]) -> Array:
    """Each block's own weighted total, in the unit of the weights.

    Parameters
    ----------
    strata : sequence of Gathered
    weights : sequence of float

    Returns
    -------
    (C, blocks) array
    """
    parts = zip(strata, weights, strict=True)
    return np.asarray(sum(weight * stratum.block_means for stratum, weight in parts))


def _correlation(means: Sequence[Array]) -> Array:
    stacked = np.stack(means, axis=1)
    stacked[np.isnan(stacked)] = 0.0  # nan_to_num looks for infinite values too
    return installation_correlation(stacked)


def installation_means(strata: Sequence[Gathered], weights: Array) -> tuple[Array, Array]:
    """Each installation's weighted total and its sampling noise.

    Parameters
    ----------
    strata : sequence of Gathered
    weights : (types,) or (types, M) array

    Returns
    -------
    ((C, M) array, (C, M) array)
    """
    w = np.broadcast_to(
        np.asarray(weights, float).reshape(len(strata), -1), (len(strata), strata[0].trials.size)
    )
    means = sum(w[k] * np.nan_to_num(stratum.means) for k, stratum in enumerate(strata))
    noise = sum(w[k] ** 2 * stratum.noise for k, stratum in enumerate(strata))
    return np.asarray(means), np.asarray(noise)


def over_installations(
    strata: Sequence[Gathered], weights: Array, limit: Array | float = np.inf
) -> Spread:
    """Spread over installations of the weighted total, in the unit of the weights.

    Parameters
    ----------
    strata : sequence of Gathered
    weights : (types,) or (types, M) array
    limit : array or float

    Returns
    -------
    Spread
        (C,).
    """
    return installation_spread(*installation_means(strata, weights), limit)


def line_end_total(strata: Sequence[Gathered], weights: Sequence[float]) -> Array:
    """Σ weight·p under the line-end-weighted position law, in the unit of the weights.

    Parameters
    ----------
    strata : sequence of Gathered
    weights : sequence of float

    Returns
    -------
    (C,) array
        NaN where a type has no such law.
    """
    out = np.zeros(len(strata[0].total))
    for stratum, weight in zip(strata, weights, strict=True):
        if stratum.line_end is None:
            return np.full(out.shape, np.nan)
        p = ratio(stratum.line_end.sum(axis=1), stratum.resolved.sum(axis=1))
        out = out + weight * p
    return out


# --- along the winding --------------------------------------------------------


@dataclass(frozen=True, eq=False)
class ProtectedWinding:
    """Share of the winding in which an earth fault is detected, over sampled faults: quantiles,
    (C,) each."""

    median: Array
    p05: Array
    p95: Array


def protected_winding(stratum: Gathered) -> ProtectedWinding:
    """Share of the winding that is protected, 1 - x* over the sampled faults, exact. [-]

    A quantile between two of them is linear (type 7 of Hyndman and Fan, The American Statistician
    50, 1996), so that protected and missed part add up to 1.

    Parameters
    ----------
    stratum : Gathered

    Returns
    -------
    ProtectedWinding
    """
    quantiles = []
    for blocks in critical_places(stratum):
        x = np.concatenate(blocks)
        if len(x):
            quantiles.append(np.quantile(x, (0.5, 0.95, 0.05), axis=0))
        else:
            quantiles.append(np.full((3, x.shape[1]), np.nan))
    return ProtectedWinding(*(1 - np.concatenate(quantiles, axis=1).astype(float)))


def detection_curve(stratum: Gathered, places: Array) -> Estimate:
    """P(x* < x), that an earth fault at x is detected. [-]

    Parameters
    ----------
    stratum : Gathered
    places : (points,) array (-)
        x.

    Returns
    -------
    Estimate
        (candidates, points), limits over blocks of installations.
    """
    counts = [
        np.stack([_detected(x, places) for x in blocks], axis=-1)
        for blocks in critical_places(stratum)
    ]
    hits = np.concatenate(counts)  # (candidates, points, blocks)
    trials = np.broadcast_to([float(len(x)) for x in _present(stratum.phase_x)[0]], hits.shape)
    limits = clustered(hits, trials, LEVEL)
    return Estimate(hits.sum(axis=-1) / np.maximum(trials.sum(axis=-1), 1), limits.low, limits.high)


def critical_places(stratum: Gathered) -> Iterator[list[Places]]:
    """Critical positions of earth faults, for some candidates at a time.

    At most `PIECE` numbers, or those of one pair of settings.

    Parameters
    ----------
    stratum : Gathered

    Yields
    ------
    list of (resolved, some) array (-)
        A block of installations each; all candidates in their order.
    """
    for phase, earth in zip(_present(stratum.phase_x), _present(stratum.earth_x), strict=True):
        _, settings, delays = phase[0].shape
        every = earth[0].shape[1]
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
