"""Limits of proportions, laws, effects of inputs, rare events."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import replace

import numpy as np
from scipy.special import bdtr

from montecarlo.estimates.intervals import clopper_pearson, one_sided, student, wilson
from montecarlo.estimates.rare import Sums, plain, rare_estimate, spans, tilted, variation
from montecarlo.estimates.totals import mover
from montecarlo.quantities import Array
from montecarlo.quantities.laws import Normal
from montecarlo.sampling.nets import Net
from studies.verify.published.data import beside, values
from studies.verify.published.row import Published

# a = 7, b = 0.1
FIRST, TOTAL = np.array([one.given for one in values("effects")]).reshape(2, 3)
LIMITS = {"exact": clopper_pearson, "score": wilson}
PROPORTIONS = (
    ("exact", 81, 263),
    ("exact", 15, 148),
    ("exact", 0, 20),
    ("exact", 1, 29),
    ("score", 15, 148),
    ("score", 0, 20),
    ("score", 1, 29),
    ("score", 81, 263),
)  # words and numbers of `values.csv`, in its order
SEED = 1990
DEEP = 4.7534  # exceeded once in a million by the normal law


def rows() -> Iterator[Published]:
    """Limits of proportions and laws.

    Yields
    ------
    Published
    """
    yield from beside("exact_limits", *clopper_pearson(4, 20, 0.90))
    found = [LIMITS[words](hits, trials) for words, hits, trials in PROPORTIONS]
    yield from beside("proportions", *(limit for limits in found for limit in limits))
    yield from beside("worst_miss", 100 * _worst_miss(50))
    # p1 - p2 is p1 + (1 - p2) less 1: limits of a sum from those of its parts
    p, limits = np.array([56 / 70, 32 / 80]), wilson([56, 32], [70, 80])
    both = mover([1.0, 1.0], p, limits.low, limits.high)
    yield from beside("differences", both.low - 1, both.high - 1)
    blocks = np.arange(16.0)
    half = float(student(blocks).high) - blocks.mean()
    yield from beside(
        "laws",
        clopper_pearson(0, 100, one_sided(0.95)).high,
        Normal(0.0, 1.0).ppf(0.975),
        half / (blocks.std(ddof=1) / 4),
    )


def _worst_miss(trials: int) -> float:
    """The largest share of samples whose exact 95 % limits leave the truth out, over 999 values of
    p."""
    hits, p = np.arange(trials + 1), np.linspace(0.001, 0.999, 999)[:, None]
    low, high = clopper_pearson(hits, trials)
    share = np.diff(bdtr(hits, trials, p), prepend=0.0)
    return float((share * ((p < low) | (p > high))).sum(axis=1).max())


# --- by samples ---------------------------------------------------------------


def sampled_rows() -> Iterator[Published]:
    """Effects of inputs and rare events, by samples.

    Yields
    ------
    Published
    """
    yield from _effects()
    yield from _rare()


def ishigami(u: Array) -> Array:
    """f = sin x1 + 7 sin^2 x2 + x3^4 sin(x1)/10 on (-pi, pi)^3.

    Parameters
    ----------
    u : ndarray, (n, 3 or more)
        Uniform; only the first three columns matter.

    Returns
    -------
    ndarray, (n,)
    """
    one, two, three = np.pi * (2 * u[:, :3].T - 1)
    return np.asarray(np.sin(one) + 7 * np.sin(two) ** 2 + 0.1 * three**4 * np.sin(one))


def _effects() -> Iterator[Published]:
    from montecarlo.estimates.drivers import sobol_effects

    points = Net(SEED, "ishigami", 0, 0, (("one", 3), ("other", 3))).points(0, 4096).values
    one, other = np.split(points, 2, axis=1)
    swapped = [np.where(np.arange(3) == k, other, one) for k in range(3)]
    found = sobol_effects(
        ishigami(one),
        ishigami(other),
        np.stack([ishigami(page) for page in swapped]),
        np.random.default_rng(SEED),
    )
    yield from beside("effects", *found.first.p, *found.total.p)


def _rare() -> Iterator[Published]:
    """Weighted samples: tolerance is four of their own standard errors, with that of the value
    given."""
    branches, deep = values("rare")
    p, error = _weighted(lambda u: _four_branch(u, 6.0), 2, 0.0, np.random.default_rng(SEED))
    both = math.hypot(error, 0.0015 * branches.given)
    yield replace(branches, ours=p, tolerance=4 * both)
    p, error = deep_probability()
    yield replace(deep, ours=p, tolerance=4 * error)


def deep_probability() -> tuple[float, float]:
    """P(sum of ten standard normal inputs over sqrt(10) > `DEEP`) by weighted samples, and its
    standard error.

    Returns
    -------
    tuple of float
        The probability and its standard error.
    """
    rng = np.random.default_rng(SEED)
    return _weighted(lambda u: np.asarray(u.sum(axis=1) / math.sqrt(10)), 10, DEEP, rng)


def _four_branch(u: Array, k: float) -> Array:
    """Above 0 where the system fails."""
    a, b = u[:, 0], u[:, 1]
    bent, straight = 3 + 0.1 * (a - b) ** 2, k / math.sqrt(2)
    along, across = (a + b) / math.sqrt(2), a - b
    sides = [bent - along, bent + along, across + straight, straight - across]
    return np.asarray(-np.min(sides, axis=0))


def _weighted(
    response: Callable[[Array], Array], dims: int, threshold: float, rng: np.random.Generator
) -> tuple[float, float]:
    """P(response > threshold) of standard normal inputs and its standard error: stages, then a
    final batch."""
    density = plain(dims, ())
    for n in (4096, 4096, 5120, 6400):
        u = density.sample(rng, n)
        log_w = density.log_weight(u)
        density = tilted(
            u, log_w, list(spans(response(u), log_w, (threshold,), 0.2, 1e-7)), density, rng
        )
    u = density.sample(rng, 51_200)
    sums = Sums.of(response(u)[:, None] > threshold, density.log_weight(u), density.largest_weight)
    p = float(rare_estimate(sums).p[0])
    return p, float(variation(sums)[0]) * p
