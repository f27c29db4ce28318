"""How a probability differs from installation to installation, with the sampling noise within each
installation taken out."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from montecarlo.estimates.intervals import ratio, together
from montecarlo.quantities import Array


class Spread(NamedTuple):
    """Over installations, sampling noise taken out."""

    median: Array
    p95: Array
    above: Array  # share above the limit
    sd: Array  # standard deviation


def binomial_noise(hits: ArrayLike, trials: ArrayLike) -> Array:
    """Unbiased variance of each installation's hits/trials about its own probability. [-]

    Parameters
    ----------
    hits, trials : array_like

    Returns
    -------
    array
        NaN below two trials.
    """
    n = np.asarray(trials, float)
    p = ratio(hits, n, 0.0)
    return ratio(p * (1 - p), n - 1)


def installation_spread(means: ArrayLike, noise: ArrayLike, limit: ArrayLike = np.inf) -> Spread:
    """Spread over installations of per-installation means. [-]

    The variance between the means is what the installations differ by, plus the mean noise. Each
    deviation from the grand mean is shrunk by sqrt(between/total), so that the shrunk values spread
    by `between` alone; where the noise accounts for everything, all installations stand at the
    grand mean. The shape is that of the noisy means: with few hits per installation it is a
    staircase, and the share above a limit is then rough (derived; common practice in random-effects
    summaries).

    Parameters
    ----------
    means : (..., installations) array_like (-)
        In [0, 1].
    noise : (..., installations) array_like (-)
        Their variances about their own truth. NaN (a single event per installation) gives NaN: the
        two parts cannot be told apart.
    limit : array_like (-)

    Returns
    -------
    Spread
    """
    x, v = together(means, noise)
    grand = x.mean(axis=-1)
    total = x.var(axis=-1, ddof=1)
    between = np.maximum(total - v.mean(axis=-1), 0.0)
    share = np.divide(between, total, out=np.where(np.isnan(between), np.nan, 0.0), where=total > 0)
    shrunk = np.clip(
        grand[..., None] + (x - grand[..., None]) * np.sqrt(share)[..., None], 0.0, 1.0
    )
    median, p95 = np.quantile(shrunk, [0.5, 0.95], axis=-1)
    above = np.mean(shrunk > np.asarray(limit, float)[..., None], axis=-1)
    return Spread(median, p95, np.where(np.isnan(share), np.nan, above), np.sqrt(between))
