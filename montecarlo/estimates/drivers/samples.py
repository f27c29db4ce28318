"""Weighted samples of one fault type or event that are kept row by row, and means over them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import stdtrit

from montecarlo.estimates.intervals import Estimate, clopper_pearson
from montecarlo.estimates.rare import BATCH, Sums, rare_estimate
from montecarlo.estimates.totals import mover
from montecarlo.quantities import Array
from montecarlo.sampling.stratum import Stratum

LEVEL = 0.95


@dataclass(frozen=True, eq=False)
class Sampled:
    """n rows in independent batches of `BATCH`, each row an installation of its own."""

    name: Stratum
    share: float  # what its mean counts for in the total
    w: Array  # (n,) density ratio
    y: Array  # (n, C): 0 or 1, or a probability given everything but the place
    scores: Mapping[str, Array]  # normal scores of each input (n, columns), correlated as stated
    # where inputs are correlated, scores times the inverse of the correlation matrix
    duals: Mapping[str, Array]
    ceiling: float = 1.0  # what no weight exceeds
    placed: str = ""  # the input given whose rest y is a probability, if any
    lost: int = 0  # rows without a result, which count as 0

    def dual(self, key: str) -> Array:
        """Scores of an input times the inverse of the correlation matrix.

        Parameters
        ----------
        key : str

        Returns
        -------
        (n, columns) array
        """
        return self.duals.get(key, self.scores[key])


def batch_means(values: Array) -> Array:
    """Means of batches of rows.

    Parameters
    ----------
    values : (n, ...) array

    Returns
    -------
    (batches, ...) array
    """
    return np.asarray(values.reshape(-1, BATCH, *values.shape[1:]).mean(axis=1))


def limits_of(total: Array, variance: Array, batches: int) -> Estimate:
    """Student's t limits of sums of means over batches.

    Parameters
    ----------
    total, variance : array
    batches : int
        At least so many.

    Returns
    -------
    Estimate
    """
    half = -stdtrit(batches - 1, (1 - LEVEL) / 2) * np.sqrt(variance)
    return Estimate(np.asarray(total), total - half, total + half)


def mean_of(parts: Sequence[tuple[float, Array]]) -> Estimate:
    """Σ share·mean of independent samples, with limits from the scatter of batches.

    Parameters
    ----------
    parts : sequence of (float, (n, ...) array)
        Share and rows of each sample.

    Returns
    -------
    Estimate
    """
    total = np.asarray(0.0)
    variance = np.asarray(0.0)
    batches = []
    for share, values in parts:
        means = batch_means(values)
        total = total + share * means.mean(axis=0)
        variance = variance + share**2 * means.var(axis=0, ddof=1) / len(means)
        batches.append(len(means))
    return limits_of(total, variance, min(batches))


def total_of(
    samples: Sequence[Sampled], y: Sequence[Array], before: Sequence[Array] | None = None
) -> Estimate:
    """Σ share·p, with limits of weighted samples, or of means where y is a probability.

    Types are combined by MOVER.

    Parameters
    ----------
    samples : sequence of Sampled
    y : sequence of (n,) array
        Of each sample.
    before : sequence of (n,) array, optional
        y without a change after which none may be seen. Its limit is then that of n rows of the
        largest weight that operated before, as if what still operates lay there (an assumption; the
        exact limit would rest on the tenth of the rows that nothing tilts, and lie far above p
        before the change).

    Returns
    -------
    Estimate
    """
    earlier = y if before is None else before
    parts = [_p_of(*each) for each in zip(samples, y, earlier, strict=True)]
    p, low, high = ([np.squeeze(end) for end in ends] for ends in zip(*parts, strict=True))
    return Estimate(*mover([sample.share for sample in samples], p, low, high))


def _p_of(sample: Sampled, y: Array, earlier: Array) -> Estimate:
    if ((y > 0) & (y < 1)).any():
        return mean_of([(1.0, sample.w * y)])
    if not y.any() and earlier.any():
        most = clopper_pearson(0.0, len(y) / float(sample.w[earlier > 0].max())).high
        return Estimate(np.zeros(1), np.zeros(1), np.atleast_1d(most))
    return rare_estimate(Sums.of(y[:, None] > 0, np.log(sample.w), sample.ceiling))


def gap(
    samples: Sequence[Sampled], changed: Sequence[Array], candidate: int
) -> tuple[Estimate, Estimate]:
    """Σ share·p of a candidate with something changed, and the difference that makes.

    Paired row by row. Where nothing operates any more, what the samples still leave open of it is
    in the difference too.

    Parameters
    ----------
    samples : sequence of Sampled
    changed : sequence of (n,) array
        y of each sample after the change.
    candidate : int

    Returns
    -------
    (Estimate, Estimate)
    """
    now = [sample.y[:, candidate] for sample in samples]
    then = total_of(samples, changed, now)
    rows = zip(samples, changed, now, strict=True)
    paired = mean_of([(sample.share, sample.w * (y - old)) for sample, y, old in rows])
    if then.p > 0 or not any(old.any() for old in now):
        return then, paired
    open_yet = paired.p + np.hypot(paired.high - paired.p, then.high)
    return then, paired._replace(high=np.minimum(open_yet, then.high))
