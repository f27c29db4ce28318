"""What measurements on the installation say: sampled installations weighted by how well each of
them explains the measured values.

Bayes' rule on a sample of the prior (importance re-weighting; Smith and Gelfand, Am. Stat. 46,
1992, 84-88, from memory): weights proportional to the likelihood, here of independent normal errors
of measurement. The effective number of installations is (Σw)²/Σw² (Kish, Survey Sampling, 1965,
from memory). Inputs that change from event to event keep theirs."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from scipy.special import stdtrit

from montecarlo.estimates.assemble import LEVEL
from montecarlo.estimates.intervals import (
    Estimate,
    clopper_pearson,
    clustered,
    ratio,
    tail_of,
)
from montecarlo.quantities import Array


class Sums(NamedTuple):
    """Of one type: sums per installation as a run keeps them."""

    total: Array  # (C, M)
    trials: Array  # (M,)
    unresolved: Array  # (C, M)
    conditional: bool  # sums of probabilities, not counts

    @property
    def means(self) -> Array:
        """Each installation's own, (C, M); 0 where nothing was resolved."""
        return ratio(self.total, self.trials - self.unresolved, 0.0)


def likelihood_weights(expected: Array, measured: Array, uncertainty: Array) -> Array:
    """Weight of every installation by how well it explains measured values. [-]

    Parameters
    ----------
    expected : (K, M) array
        What each installation would show.
    measured, uncertainty : (K,) array
        Values and their standard uncertainty.

    Returns
    -------
    (M,) array
        Of sum 1.
    """
    with np.errstate(invalid="ignore"):
        square = np.sum(((measured[:, None] - expected) / uncertainty[:, None]) ** 2, axis=0)
    likelihood = np.exp(-0.5 * (square - square.min()))
    return np.asarray(likelihood / likelihood.sum())


def effective_installations(weights: Array) -> float:
    """How many installations weights leave, (Σw)²/Σw².

    Parameters
    ----------
    weights : (M,) array

    Returns
    -------
    float
    """
    return float(weights.sum() ** 2 / np.sum(weights**2))


def reweighted(sums: Sums, weights: Array, level: float = LEVEL) -> Estimate:
    """p of one type under weights of the installations, with limits. [-]

    Counts: Clopper-Pearson limits at the effective sample size of installations as clusters, of
    which there are as many as the weights leave. Probabilities: Student's t over the weighted
    installations. Unresolved samples count once as 0 and once as 1 in the limits.

    Parameters
    ----------
    sums : Sums
    weights : (M,) array
        Of sum 1.
    level : float (-)

    Returns
    -------
    Estimate
        (C,).
    """
    few = effective_installations(weights)
    scale = weights * few  # so that sums count what the weights leave
    total = sums.total * scale
    trials = sums.trials * scale
    most = total + sums.unresolved * scale
    p = ratio(total.sum(axis=1), (trials - sums.unresolved * scale).sum(axis=1))
    if not sums.conditional:
        low = clustered(total, trials, level, few).low
        high = clustered(most, trials, level, few).high
        return Estimate(p, low, high)
    whole = trials.sum()
    low_p = total.sum(axis=1) / whole
    high_p = most.sum(axis=1) / whole
    squares = np.sum((total - high_p[:, None] * trials) ** 2, axis=1)
    half = -stdtrit(few - 1, tail_of(level)) * np.sqrt(few / (few - 1) * squares) / whole
    none = clopper_pearson(0.0, few, level).high
    high = np.where(high_p > 0, np.minimum(high_p + half, 1.0), none)
    return Estimate(p, np.maximum(low_p - half, 0.0), high)


def change(means: Array, weights: Array, level: float = LEVEL) -> Estimate:
    """The weighted mean minus the plain one, on the same installations, with limits.

    Linearised, Student's t at the number of installations that the weights leave (derived).

    Parameters
    ----------
    means : (C, M) array
    weights : (M,) array
        Of sum 1.
    level : float (-)

    Returns
    -------
    Estimate
        (C,), in the unit of the means.
    """
    few = effective_installations(weights)
    plain = np.full(weights.shape, 1 / weights.size)
    after = means @ weights
    before = means @ plain
    parts = weights * (means - after[:, None]) - plain * (means - before[:, None])
    half = -stdtrit(few - 1, (1 - level) / 2) * np.sqrt(few / (few - 1) * np.sum(parts**2, axis=1))
    gap = after - before
    return Estimate(gap, gap - half, gap + half)
