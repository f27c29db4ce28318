"""The difference of two candidates that were judged on the same installations and events.

Every installation has a net difference of each type: one candidate's mean less the other's. Its
positive and its negative part average over the installations to two shares, of what one candidate
does more and of what it does less. The difference is the first less the second, exactly.

Each share has limits of its own, which suit few events. They combine as limits of a sum (MOVER;
Zou and Donner, Stat. Med. 27, 2008, 1693-1702; of a paired difference of proportions: Newcombe,
Stat. Med. 17, 1998, 2635-2650, there from its margins; from the discordant shares: derived).

Sums by installation are all that this needs. So any two candidates have limits, of one run or of
two on the same random numbers. Events of one installation that differ both ways cancel before they
are counted.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

import numpy as np

from montecarlo.estimates.assemble import LEVEL, Gathered, by_block
from montecarlo.estimates.intervals import (
    Estimate,
    clopper_pearson,
    clustered_size,
    ratio,
    tail_of,
)
from montecarlo.estimates.totals import combined, installation_correlation
from montecarlo.quantities import Array, Flags
from montecarlo.sampling.design import BLOCKS
from montecarlo.sampling.stratum import Stratum

ENOUGH = 25.0  # installations, or half of them, that must differ to say how large differences are
SIGNS = np.array([1.0, -1.0])


class Half(NamedTuple):
    """One side of a paired difference: types, what each counts for, the candidate's place."""

    strata: Sequence[Gathered]
    weights: Sequence[float]
    candidate: int


class _Net(NamedTuple):
    """Net differences of one type in units of `scale`, between -1 and 1.

    values (M,): NaN where a side has no result."""

    values: Array
    scale: float
    trials: float  # samples with a result, of the side with fewer
    lost: float  # share without one, in units of the difference
    conditional: bool


class _Shares(NamedTuple):
    """What one candidate does more, and what it does less with a minus; (2,) each."""

    p: Array
    low: Array
    high: Array
    by_installation: Array | None  # (2, installations); None: only blocks are independent
    by_block: Array  # (2, blocks)


def paired(one: Half, other: Half, level: float = LEVEL) -> Estimate:
    """One side's weighted total minus the other's, on the same installations and events.

    The sides may be of two runs on the same random numbers, and may weigh a type differently.

    Each share has Clopper-Pearson limits at its effective sample size, with installations as
    clusters (`intervals.clustered_size`). Conditional means lie on nets, so that only the 16 blocks
    are independent. There the net differences are the blocks', and many small ones may be worth
    more samples than were drawn. Where fewer installations than `ENOUGH` differ, nobody knows how
    large such differences may be: then conditional means are treated as counts.

    A share of nothing has the effective size of the other one. Where nothing differs, the limits
    are those of no event among the samples, to both sides.

    Types share their installations. So their errors add as the installations' are correlated (the
    blocks' with conditional means), where that widens the limits. The share of unresolved samples
    widens them to both sides, whatever those would have done. An installation without any result of
    some type has no part.

    Parameters
    ----------
    one, other : Half
    level : float (-)

    Returns
    -------
    Estimate
        In the unit of the weights; NaN with results in fewer than two blocks.
    """
    nets = [*_nets(one, other)]
    known = np.all([np.isfinite(net.values) for net in nets], axis=0)
    blocks = known.reshape(BLOCKS, -1).sum(axis=1)
    if (blocks > 0).sum() < 2:
        return Estimate(*(np.asarray(np.nan) for _ in range(3)))
    parts = [_shares(net, known, blocks, tail_of(level)) for net in nets]
    p, low, high = (
        np.concatenate([getattr(part, end) for part in parts]) for end in ("p", "low", "high")
    )
    correlation = _correlation(parts)
    lost = sum(net.lost for net in nets)
    gap = p.sum()
    return Estimate(
        gap,
        gap - combined(p - low, correlation) - lost,
        gap + combined(high - p, correlation) + lost,
    )


def _nets(one: Half, other: Half) -> Iterator[_Net]:
    """Type by type; one that a side has not counts for nothing there."""
    sides = [_weighed(one), _weighed(other)]
    for name in dict.fromkeys((*sides[0], *sides[1])):
        values = [np.zeros(()), np.zeros(())]
        trials = []
        lost = 0.0
        there = []
        for k, half in enumerate((one, other)):
            if name not in sides[k]:
                continue
            stratum, weight = sides[k][name]
            gone = stratum.unresolved[half.candidate]
            resolved = stratum.trials - gone
            values[k] = weight * ratio(stratum.total[half.candidate], resolved)
            trials.append(float(resolved.sum()))
            lost += weight * float(gone.sum() / stratum.trials.sum())
            there.append((stratum, weight))
        scale = max(weight for _, weight in there)
        conditional = any(stratum.conditional for stratum, _ in there)
        yield _Net((values[0] - values[1]) / scale, scale, min(trials), lost, conditional)


def _weighed(half: Half) -> dict[Stratum, tuple[Gathered, float]]:
    pairs = zip(half.strata, half.weights, strict=True)
    return {stratum.name: (stratum, weight) for stratum, weight in pairs if weight > 0}


def _shares(net: _Net, known: Flags, blocks: Array, tail: float) -> _Shares:
    """Of one type; blocks (16,): how many installations of each block have a part."""
    values = np.where(known, net.values, 0.0)
    held = blocks > 0
    on_nets = net.conditional and _differing(values) >= min(ENOUGH, known.sum() / 2)

    def means(each: Array) -> Array:
        return by_block(each)[..., held] / blocks[held]

    if on_nets:
        by_installation = None
        of_blocks = _parts(means(values))
        each = np.abs(of_blocks)
    else:
        by_installation = _parts(values[known])
        of_blocks = means(_parts(values))
        each = np.abs(by_installation)
    share = each.mean(axis=1)
    trials = np.full(each.shape, net.trials / each.shape[1])
    size = clustered_size(each * trials, trials, tail, capped=not on_nets)
    size = np.where((share == 0) & (share[::-1] > 0), size[::-1], size)
    low, high = clopper_pearson(share * size, size, 1 - 2 * tail)
    return _Shares(
        net.scale * SIGNS * share,
        net.scale * np.array([low[0], -high[1]]),
        net.scale * np.array([high[0], -low[1]]),
        by_installation,
        of_blocks,
    )


def _parts(values: Array) -> Array:
    """Positive and negative part, (2, clusters)."""
    return np.stack([np.maximum(values, 0.0), np.minimum(values, 0.0)])


def _differing(values: Array) -> float:
    """How many installations differ, as if by equal amounts: (Σ|v|)²/Σv².

    Source: Kish, Survey Sampling, 1965, from memory (for weights)."""
    return float(np.abs(values).sum() ** 2 / max(float(values @ values), 1e-300))


def _correlation(parts: Sequence[_Shares]) -> Array:
    """Of the errors of all shares with their signs, 0 ... 1.

    Over installations, or over blocks for what only has blocks that are independent."""
    blocks = installation_correlation(np.concatenate([part.by_block for part in parts]))
    counts = [part.by_installation for part in parts if part.by_installation is not None]
    by_installation = np.repeat([part.by_installation is not None for part in parts], 2)
    if counts:
        blocks[np.ix_(by_installation, by_installation)] = installation_correlation(
            np.concatenate(counts)
        )
    return blocks
