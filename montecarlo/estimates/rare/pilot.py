"""Subset simulation in standard-normal space: a small explorer that finds how a rare event comes about.

Its own probability is a cross-check, never the reported one: chains are correlated, and its coefficient of variation
is mostly too low.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from montecarlo.estimates.rare.active import departure
from montecarlo.quantities import Array

__all__ = ["Level", "Model", "Pilot", "subset_pilot"]

Model = Callable[[Array], Array]                           # u (n, d) -> g (n,): > 0 operates, NaN unresolved
Labels = NDArray[np.signedinteger]

ACCEPTANCE = 0.44                                          # of proposals, aimed at by their spread
SCALE = 0.6                                                # of proposals to begin with
UNSEEN = 32                                                # coordinates that the model never sees


@dataclass(frozen=True, eq=False)
class Level:
    """Samples of N(0, I) given that g is above `threshold` (-inf: the first level)."""

    threshold: float
    u: Array                                               # (n, d)
    g: Array                                               # (n,)
    unseen: Array                                          # (n, k) coordinates that the model never saw
    size: float                                            # independent samples that these are worth


@dataclass(frozen=True, eq=False)
class Pilot:
    """One subset simulation. `reached`: the last level lies beyond the goal; else p is a bound of its order."""

    levels: tuple[Level, ...]
    p: float
    cov: float                                             # coefficient of variation of p, its own estimate
    calls: int
    unresolved: int
    reached: bool


def subset_pilot(model: Model, dims: int, rng: np.random.Generator, *, per_level: int = 300,
                 level_share: float = 0.1, goal: float = 0.0, least: float = 1e-8) -> Pilot:
    """Levels of rising g up to `goal`, the last one beyond it; ends without it where P(g > goal) is below `least`.

    Each level keeps the `level_share` highest of the one before and runs Markov chains from them. A sample without
    a result (NaN) counts as not beyond any threshold. The chains carry coordinates that the model does not see: what
    becomes of these tells how far chains are to be believed (`Level.size`).

    Au and Beck, Probabilistic Engineering Mechanics 16(4), 2001; chains by adaptive conditional sampling: Papaioannou,
    Betz, Zwirglmaier, Straub, Probabilistic Engineering Mechanics 41, 2015."""

    def seen(u: Array) -> Array:
        return np.asarray(model(np.ascontiguousarray(u[:, :dims])), float)

    u = rng.standard_normal((per_level, dims + UNSEEN))
    g = seen(u)
    calls, unresolved = per_level, int(np.isnan(g).sum())
    levels = [Level(-np.inf, u[:, :dims], g, u[:, dims:], float(per_level))]
    group: Labels = np.arange(per_level)                   # which chain a sample belongs to
    p, variance, scale = 1.0, 0.0, SCALE
    while True:
        threshold = min(_order(g, level_share), goal)
        beyond = g > threshold                             # NaN is not
        share = float(beyond.mean())
        p *= share
        stuck = share == 0.0 or (len(levels) > 1 and threshold <= levels[-1].threshold)
        if stuck or (threshold < goal and p < least):
            return Pilot(tuple(levels), p, float(np.sqrt(variance)), calls, unresolved, False)
        variance += _variance(beyond, group)
        u, g, group, scale, lost = _chains(seen, rng, u[beyond], g[beyond], threshold, per_level, scale)
        calls, unresolved = calls + len(g) - int(beyond.sum()), unresolved + lost
        levels.append(Level(threshold, u[:, :dims], g, u[:, dims:], _independent(u[:, dims:])))
        if threshold == goal:
            return Pilot(tuple(levels), p, float(np.sqrt(variance)), calls, unresolved, True)


def _independent(unseen: Array) -> float:
    """How many independent samples a level is worth, by coordinates (n, k) that the model never saw.

    Derived: these are N(0, 1) whatever the level, so that their departure from it is all due to chains and common
    ancestors; on independent samples its mean is 2. Chains of neighbours look like structure otherwise."""
    n = len(unseen)
    return float(n / max(departure(unseen, np.ones(n), float(n)).mean() / 2, 1.0))


def _order(g: Array, share: float) -> float:
    """The value that `share` of the samples exceed, fewer where values tie; below the highest where any is."""
    order = np.sort(np.where(np.isnan(g), -np.inf, g))
    value = order[max(len(order) - round(share * len(order)) - 1, 0)]
    below = order[order < order[-1]]
    return float(below[-1] if value == order[-1] and len(below) else value)


def _chains(model: Model, rng: np.random.Generator, seeds: Array, g_seeds: Array, threshold: float, size: int,
            scale: float) -> tuple[Array, Array, Labels, float, int]:
    """Chains in {g > threshold} from all seeds, side by side: u, g, the chain of each, the scale, proposals lost.

    Proposal sqrt(1 - s^2) u + s xi per coordinate keeps N(0, 1), so that it is accepted wherever g stays above the
    threshold; a rejected one leaves the chain where it is, and that state counts again. s = min(1, scale times the
    seeds' standard deviation); the scale moves with the acceptance of all chains after each step."""
    spread = np.clip(seeds.std(axis=0), 0.05, 1.0) if len(seeds) > 2 else np.ones(seeds.shape[1])
    steps = -(-size // len(seeds))
    states, values, lost = [seeds], [g_seeds], 0
    for step in range(1, steps):
        sd = np.minimum(scale * spread, 1.0)
        at, g_at = states[-1], values[-1]
        proposal = np.sqrt(1 - sd**2) * at + sd * rng.standard_normal(at.shape)
        g = np.asarray(model(proposal), float)
        moved = g > threshold
        states.append(np.where(moved[:, None], proposal, at))
        values.append(np.where(moved, g, g_at))
        lost += int(np.isnan(g).sum())
        scale = float(np.exp(np.log(scale) + (moved.mean() - ACCEPTANCE) / np.sqrt(step)))
    chain = np.tile(np.arange(len(seeds)), steps)
    return np.concatenate(states), np.concatenate(values), chain, min(scale, 4.0), lost


def _variance(beyond: NDArray[np.bool_], group: Labels) -> float:
    """Squared coefficient of variation of a level's share, its samples correlated within chains.

    Between chains, as in the ratio estimate of clusters; chains that begin in one seed's neighbourhood are not
    independent either, so that it remains too low (Au and Beck 2001 leave that out too)."""
    sums = np.bincount(group, beyond)
    share = beyond.mean()
    sizes = np.bincount(group)
    if len(sums) < 2 or not share > 0:
        return np.inf
    spread = ((sums - share * sizes) ** 2).sum() * len(sums) / (len(sums) - 1)
    return float(spread / (share * len(beyond)) ** 2)
