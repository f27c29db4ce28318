"""What measurements on the plant say: sampled plants weighted by how well each of them explains the
measured values.

Bayes' rule on a sample of the prior (importance re-weighting; Smith and Gelfand, Am. Stat. 46,
1992, 84-88, from memory): weights proportional to the likelihood, here of independent normal errors
of measurement. The effective number of plants is (Σw)²/Σw² (Kish, Survey Sampling, 1965, from
memory). Inputs that change from event to event keep theirs."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from scipy.special import stdtrit

from montecarlo.estimates.assemble import LEVEL
from montecarlo.estimates.intervals import Estimate, Side, clopper_pearson, clustered, tail_of
from montecarlo.quantities import Array

__all__ = ["Sums", "change", "effective_plants", "likelihood_weights", "reweighted"]


class Sums(NamedTuple):
    """Of one type: sums a plant as a run keeps them, total (C, M), trials (M,), unresolved (C, M);
    conditional: sums of probabilities, not counts."""

    total: Array
    trials: Array
    unresolved: Array
    conditional: bool

    @property
    def means(self) -> Array:
        """Each plant's own, (C, M); 0 where nothing was resolved."""
        resolved = self.trials - self.unresolved
        return np.asarray(
            np.divide(self.total, resolved, out=np.zeros(self.total.shape), where=resolved > 0)
        )


def likelihood_weights(expected: Array, measured: Array, uncertainty: Array) -> Array:
    """Weight of every plant, (M,), of sum 1; expected (K, M), measured and standard uncertainty
    (K,)."""
    with np.errstate(invalid="ignore"):
        square = np.sum(((measured[:, None] - expected) / uncertainty[:, None]) ** 2, axis=0)
    likelihood = np.exp(-0.5 * (square - square.min()))
    return np.asarray(likelihood / likelihood.sum())


def effective_plants(weights: Array) -> float:
    return float(weights.sum() ** 2 / np.sum(weights**2))


def reweighted(sums: Sums, weights: Array, level: float = LEVEL, side: Side = "both") -> Estimate:
    """p with limits (C,) of one type under the weights (M,).

    Counts: Clopper-Pearson limits at the effective sample size of plants as clusters, of which
    there are as many as the weights leave. Probabilities: Student's t over the weighted plants.
    Unresolved samples count once as 0 and once as 1 in the limits."""
    few = effective_plants(weights)
    scale = weights * few  # so that sums count what the weights leave
    total, trials, lost = sums.total * scale, sums.trials * scale, sums.unresolved * scale
    resolved = (trials - lost).sum(axis=1)
    p = np.divide(
        total.sum(axis=1), resolved, out=np.full(resolved.shape, np.nan), where=resolved > 0
    )
    if not sums.conditional:
        low, high = (
            clustered(total + extra, trials, level, side=side, clusters=few)
            for extra in (0.0, lost)
        )
        return Estimate(p, low.low, high.high)
    low_p, high_p = (np.sum(total + extra, axis=1) / trials.sum() for extra in (0.0, lost))
    half = (
        -stdtrit(few - 1, tail_of(level, side))
        * np.sqrt(few / (few - 1) * np.sum((total - high_p[:, None] * trials) ** 2, axis=1))
        / trials.sum()
    )
    none = clopper_pearson(0.0, few, level, side=side).high
    return Estimate(
        p, np.maximum(low_p - half, 0.0), np.where(high_p > 0, np.minimum(high_p + half, 1.0), none)
    )


def change(means: Array, weights: Array, level: float = LEVEL) -> Estimate:
    """The weighted mean minus the plain one, with limits (C,): means (C, M) on the same plants;
    linearised, Student's t at the number of plants that the weights leave (derived)."""
    few, plain = effective_plants(weights), np.full(weights.shape, 1 / weights.size)
    after, before = means @ weights, means @ plain
    parts = weights * (means - after[:, None]) - plain * (means - before[:, None])
    half = -stdtrit(few - 1, (1 - level) / 2) * np.sqrt(few / (few - 1) * np.sum(parts**2, axis=1))
    gap = after - before
    return Estimate(gap, gap - half, gap + half)
