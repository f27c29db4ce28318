"""Confidence limits of proportions and of means over independent blocks, for arrays of candidates
at once.

`level` is the confidence of what is returned: (1 - level)/2 is left beyond each limit. A bound on
one side alone is a limit at `one_sided(level)`."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import betainccinv, betaincinv, ndtri, stdtrit

from montecarlo.quantities import Array


class Limits(NamedTuple):
    """Low and high limit, arrays of the same shape."""

    low: Array
    high: Array


class Estimate(NamedTuple):
    """Estimate with its limits; NaN where nothing was resolved."""

    p: Array
    low: Array
    high: Array


def one_sided(level: float) -> float:
    """The level of two limits that each leave 1 - level beyond them. [-]

    Parameters
    ----------
    level : float (-)
        From 0.5 on.

    Returns
    -------
    float (-)
    """
    return 2 * level - 1


def tail_of(level: float) -> float:
    """Probability left beyond one limit. [-]

    Parameters
    ----------
    level : float (-)

    Returns
    -------
    float (-)

    Raises
    ------
    ValueError
        The level does not lie between 0 and 1.
    """
    if not 0 <= level < 1:
        raise ValueError(f"level = {level} must lie between 0 and 1")
    return (1 - level) / 2


def together(*values: ArrayLike) -> tuple[Array, ...]:
    """Values as arrays of one shape.

    Parameters
    ----------
    values : array_like
        Broadcast.

    Returns
    -------
    tuple of array
    """
    return np.broadcast_arrays(*(np.asarray(value, float) for value in values))


def ratio(part: ArrayLike, whole: ArrayLike, nothing: float = np.nan) -> Array:
    """part/whole, and `nothing` where whole is 0 or less.

    Parameters
    ----------
    part, whole : array_like
    nothing : float

    Returns
    -------
    array
    """
    top, bottom = together(part, whole)
    return np.asarray(np.divide(top, bottom, out=np.full(top.shape, nothing), where=bottom > 0))


def clopper_pearson(hits: ArrayLike, trials: ArrayLike, level: float = 0.95) -> Limits:
    """Exact binomial limits. [-]

    No hit: low is 0 and high 1 - tail^(1/trials); all hits: the mirror image; no trial: 0 and 1.
    Source: Clopper and Pearson, Biometrika 26, 1934, 404-413, in the beta form.

    Parameters
    ----------
    hits, trials : array_like
        Broadcast; may be fractional (effective) counts.
    level : float (-)

    Returns
    -------
    Limits

    Examples
    --------
    >>> low, high = clopper_pearson(0, 1000)
    >>> float(high.round(6))
    0.003682
    """
    h, n = together(hits, trials)
    tail = tail_of(level)
    some = h > 0  # the beta function needs both parameters above 0
    rest = n - h > 0
    low = np.where(some, betaincinv(np.where(some, h, 1), n - h + 1, tail), 0.0)
    high = np.where(rest, betainccinv(h + 1, np.where(rest, n - h, 1), tail), 1.0)
    return Limits(low, high)


def wilson(hits: ArrayLike, trials: ArrayLike, level: float = 0.95) -> Limits:
    """Score limits: closer to `level` on average than the exact ones, but not above it everywhere.
    [-]

    Source: Wilson, J. Am. Stat. Assoc. 22, 1927, 209-212; Brown, Cai, DasGupta, Stat. Sci. 16,
    2001, 101-133.

    Parameters
    ----------
    hits, trials, level
        As of `clopper_pearson`.

    Returns
    -------
    Limits
    """
    h, n = together(hits, trials)
    z2 = ndtri(tail_of(level)) ** 2
    size = np.maximum(n, 1e-100)  # no trial: centre 1/2, half-width 1/2
    p = h / size
    centre = (p + z2 / (2 * size)) / (1 + z2 / size)
    half = np.sqrt(z2 * (p * (1 - p) / size + z2 / (4 * size**2))) / (1 + z2 / size)
    low = np.where(h > 0, np.maximum(centre - half, 0.0), 0.0)
    high = np.where(n - h > 0, np.minimum(centre + half, 1.0), 1.0)
    return Limits(low, high)


def clustered_size(
    hits: ArrayLike,
    trials: ArrayLike,
    tail: float,
    clusters: float | None = None,
    *,
    capped: bool = True,
) -> Array:
    """Effective number of independent trials behind hits and trials in clusters. [-]

    n* = p(1 - p)/v with v the variance of the ratio estimate between clusters, times the square of
    t(n - 1)/t(clusters - 1) at `tail` for the few clusters, at most n (design effect at least 1)
    unless not `capped`: hits that are probabilities, small ones, scatter less than hits that come
    whole. With no hit, or nothing but hits, v is 0 and n stands.

    Parameters
    ----------
    hits, trials : (..., clusters) array_like
        Clusters without a trial do not count.
    tail : float (-)
        Probability beyond one limit.
    clusters : float, optional
        How many they are worth where weights, in hits and trials already, leave fewer.
    capped : bool

    Returns
    -------
    (...) array
        0 with one cluster, which tells nothing about the others.
    """
    h, n = _of_clusters(hits, trials)
    total = n.sum(axis=-1)
    clusters = (n > 0).sum(axis=-1) if clusters is None else clusters
    p = ratio(h.sum(axis=-1), total)
    squares = ((h - np.nan_to_num(p)[..., None] * n) ** 2).sum(axis=-1)
    variance = ratio(squares * clusters, (clusters - 1) * total**2)
    spread = p * (1 - p) > 0
    size = np.where(spread, ratio(p * (1 - p), variance), total)
    few = stdtrit(np.maximum(total - 1, 1), tail) / stdtrit(np.maximum(clusters - 1, 1), tail)
    size = np.where(spread, np.fmin(size * few**2, total if capped else np.inf), total)
    size = np.where(np.isinf(size), total, size)  # clusters all alike
    return np.where(spread & (clusters < 2), 0.0, size)


def clustered(
    hits: ArrayLike,
    trials: ArrayLike,
    level: float = 0.95,
    clusters: float | None = None,
) -> Limits:
    """Limits of a proportion whose trials come in clusters (events of one installation). [-]

    Clopper-Pearson limits for the effective sample size. Source: Korn and Graubard, Survey
    Methodology 24, 1998, 193-201. Measured at 95 %, 256 installations with beta rates: 93-98 %
    while their coefficient of variation is at most 3.

    With no hit (or all hits) these are the plain limits on all trials: the rates that are still
    possible then, about 3/trials, put far less than one hit on an installation, so that events of
    one installation hardly repeat each other unless the risk sits in very few installations. That
    case is missed, also with a handful of hits (mean 1e-3, coefficient of variation 14: 74 % for
    the high bound): if one installation in 3,000 failed at every event, 256 installations would
    show nothing nine times in ten. What 256 installations without a hit say about *installations*
    is `clopper_pearson(0, 256)`.

    Parameters
    ----------
    hits, trials : (..., clusters) array_like
    level : float (-)
    clusters : float, optional
        As of `clustered_size`.

    Returns
    -------
    Limits
        (...) arrays.

    Examples
    --------
    Sixteen hits on one installation of four tell less than four on each:

    >>> low, high = clustered([[16, 0, 0, 0], [4, 4, 4, 4]], 1000)
    >>> high[0] > high[1]
    np.True_
    """
    h, n = _of_clusters(hits, trials)
    size = clustered_size(h, n, tail_of(level), clusters)
    p = np.nan_to_num(ratio(h.sum(axis=-1), n.sum(axis=-1)))
    return clopper_pearson(p * size, size, level)


def with_unresolved(
    hits: ArrayLike,
    trials: ArrayLike,
    unresolved: ArrayLike,
    level: float = 0.95,
) -> Estimate:
    """Estimate and limits of `clustered` when some of the trials gave no result. [-]

    The estimate is that of the resolved ones; the low limit takes every unresolved trial as no hit,
    the high one as a hit.

    Parameters
    ----------
    hits, trials, unresolved : (..., clusters) array_like
        Broadcast; `trials` includes the unresolved.
    level : float (-)

    Returns
    -------
    Estimate
    """
    h, n, lost = _of_clusters(hits, trials, unresolved)
    p = ratio(h.sum(axis=-1), n.sum(axis=-1) - lost.sum(axis=-1))
    low, high = clustered(h, n, level)
    if lost.any():
        high = clustered(h + lost, n, level).high
    return Estimate(p, low, high)


def _of_clusters(*values: ArrayLike) -> list[Array]:
    """As arrays of as many clusters each, on the last axis."""
    arrays = [np.asarray(value, float) for value in values]
    last = np.broadcast_shapes(*(array.shape[-1:] for array in arrays))
    return [np.broadcast_to(array, (*array.shape[:-1], *last)) for array in arrays]


def student_mean(
    values: ArrayLike, level: float = 0.95, trials: ArrayLike | None = None
) -> Estimate:
    """Mean of probabilities over independent blocks, Student t limits within [0, 1]. [-]

    When all are exactly 0 the t limits would have no width: the high limit is then the exact
    binomial one for no hit in `trials` independent samples, since a mean cannot exceed the
    probability of any value above 0; all exactly 1: the mirror image for the low limit.

    Parameters
    ----------
    values : (..., blocks) array_like (-)
        In [0, 1].
    level : float (-)
    trials : array_like, optional
        Number of blocks unless given.

    Returns
    -------
    Estimate

    Raises
    ------
    ValueError
        There is one block only.
    """
    x = np.asarray(values, float)
    blocks = x.shape[-1]
    if blocks < 2:
        raise ValueError(f"{blocks} blocks: limits need at least 2")
    mean, low, high = student(x, level)
    none = (x == 0).all(axis=-1)
    every = (x == 1).all(axis=-1)
    n = blocks if trials is None else trials
    return Estimate(
        mean,
        np.where(every, clopper_pearson(n, n, level).low, np.maximum(low, 0.0)),
        np.where(none, clopper_pearson(0, n, level).high, np.minimum(high, 1.0)),
    )


def student(values: ArrayLike, level: float = 0.95) -> Estimate:
    """Mean of any quantity over independent blocks with two-sided Student t limits; in its unit.

    Parameters
    ----------
    values : (..., blocks) array_like
    level : float (-)

    Returns
    -------
    Estimate
    """
    x = np.asarray(values, float)
    blocks = x.shape[-1]
    half = -stdtrit(blocks - 1, tail_of(level)) * x.std(axis=-1, ddof=1) / np.sqrt(blocks)
    mean = x.mean(axis=-1)
    return Estimate(mean, mean - half, mean + half)
