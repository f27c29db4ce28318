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

__all__ = ["Sampled", "batch_means", "gap", "limits_of", "mean_of", "total_of"]

LEVEL = 0.95


@dataclass(frozen=True, eq=False)
class Sampled:
    """n rows in independent batches of `BATCH`, each row a plant of its own. `share`: what its mean
    counts for in the total. y (n, C): 0 or 1, or a probability given everything but the place, of
    each candidate; w (n,): density ratio.

    scores: of each input, its normal scores (n, columns), correlated as the study says. duals: the
    same times the inverse of the correlation matrix, where inputs are correlated; elsewhere the
    scores themselves."""

    name: Stratum
    share: float
    w: Array
    y: Array
    scores: Mapping[str, Array]
    duals: Mapping[str, Array]
    ceiling: float = 1.0  # what no weight exceeds
    placed: str = ""  # the input given whose rest y is a probability, if any
    lost: int = 0  # rows without a result, which count as 0

    def dual(self, key: str) -> Array:
        return self.duals.get(key, self.scores[key])


def batch_means(values: Array) -> Array:
    """(batches, ...) from rows (n, ...)."""
    return np.asarray(values.reshape(-1, BATCH, *values.shape[1:]).mean(axis=1))


def limits_of(total: Array, variance: Array, batches: int) -> Estimate:
    """Student's t limits of sums of means over at least so many batches."""
    half = -stdtrit(batches - 1, (1 - LEVEL) / 2) * np.sqrt(variance)
    return Estimate(np.asarray(total), np.asarray(total - half), np.asarray(total + half))


def mean_of(parts: Sequence[tuple[float, Array]]) -> Estimate:
    """Σ share·mean of independent samples' rows (n, ...), with limits from the scatter of
    batches."""
    total, variance, fewest = np.asarray(0.0), np.asarray(0.0), np.inf
    for share, values in parts:
        means = batch_means(values)
        total = total + share * means.mean(axis=0)
        variance = variance + share**2 * means.var(axis=0, ddof=1) / len(means)
        fewest = min(fewest, len(means))
    return limits_of(total, variance, int(fewest))


def total_of(
    samples: Sequence[Sampled], y: Sequence[Array], before: Sequence[Array] | None = None
) -> Estimate:
    """Σ share·p from each sample's y (n,): limits of weighted samples where y is 0 or 1, of means
    where it is a probability, types combined by MOVER.

    before: y without a change after which none may be seen. Its limit is then that of n rows of the
    largest weight that operated before, as if what still operates lay there (an assumption; the
    exact limit would rest on the tenth of the rows that nothing tilts, and lie far above p before
    the change)."""

    def of(sample: Sampled, mine: Array, earlier: Array) -> Estimate:
        if ((mine > 0) & (mine < 1)).any():
            return mean_of([(1.0, sample.w * mine)])
        if not mine.any() and earlier.any():
            most = clopper_pearson(0.0, len(mine) / float(sample.w[earlier > 0].max())).high
            return Estimate(np.zeros(1), np.zeros(1), np.atleast_1d(most))
        return rare_estimate(Sums.of(mine[:, None] > 0, np.log(sample.w), sample.ceiling))

    parts = [
        of(sample, *both)
        for sample, *both in zip(samples, y, y if before is None else before, strict=True)
    ]
    return Estimate(
        *mover(
            [s.share for s in samples],
            *([np.squeeze(getattr(part, end)) for part in parts] for end in ("p", "low", "high")),
        )
    )


def gap(
    samples: Sequence[Sampled], changed: Sequence[Array], candidate: int
) -> tuple[Estimate, Estimate]:
    """Σ share·p of a candidate with something `changed` (n,), and the difference that makes, paired
    row by row. Where nothing operates any more, what the samples still leave open of it is in the
    difference too."""
    now = [sample.y[:, candidate] for sample in samples]
    then = total_of(samples, changed, now)
    paired = mean_of(
        [(s.share, s.w * (y - old)) for s, y, old in zip(samples, changed, now, strict=True)]
    )
    if then.p > 0 or not any(old.any() for old in now):
        return then, paired
    return then, paired._replace(
        high=np.minimum(paired.p + np.hypot(paired.high - paired.p, then.high), then.high)
    )
