"""Limits of proportions, laws, effects of inputs, rare events."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator

import numpy as np
from scipy.special import bdtr

from montecarlo.estimates.intervals import clopper_pearson, student, wilson
from montecarlo.estimates.rare import Sums, plain, rare_estimate, spans, tilted, variation
from montecarlo.estimates.totals import mover
from montecarlo.quantities import Array
from montecarlo.quantities.laws import Normal
from montecarlo.sampling.nets import Net
from studies.verify.published.row import Kind, Published

__all__ = ["DEEP", "FIRST", "TOTAL", "deep_probability", "ishigami", "rows", "sampled_rows"]

NEWCOMBE = "Newcombe, Statistics in Medicine 17, 1998, 857-872"
DIFFERENCE = "Newcombe, Statistics in Medicine 17, 1998, 873-890"
NIST = "NIST/SEMATECH e-Handbook of Statistical Methods"
SOONG = "Soong, Fundamentals of Probability and Statistics for Engineers, p. 370"
NORMAL = "The normal law"
ISHIGAMI = "Ishigami and Homma 1990, values in Saltelli et al., The Primer, 2008"
# a = 7, b = 0.1
FIRST, TOTAL = np.array([0.3139, 0.4424, 0.0]), np.array([0.5576, 0.4424, 0.2437])
LIMITS = {"exact": clopper_pearson, "score": wilson}
PROPORTIONS = (
    ("exact", Kind.MEMORY, 81, 263, (0.2527, 0.3676)),
    ("exact", Kind.MEMORY, 15, 148, (0.0578, 0.1617)),
    ("exact", Kind.MEMORY, 0, 20, (0.0, 0.1684)),
    ("exact", Kind.MEMORY, 1, 29, (0.0009, 0.1776)),
    ("score", Kind.MEMORY, 15, 148, (0.0624, 0.1605)),
    ("score", Kind.MEMORY, 0, 20, (0.0, 0.1611)),
    ("score", Kind.MEMORY, 1, 29, (0.0061, 0.1718)),
    ("score", Kind.QUOTED, 81, 263, (0.2553, 0.3662)),
)
SEED = 1990
DEEP = 4.7534  # exceeded once in a million by the normal law


def rows() -> Iterator[Published]:
    low, high = clopper_pearson(4, 20, 0.90)
    yield Published(
        NIST,
        "7.2.4.1",
        "exact 90 % limit, 4 of 20, low",
        "-",
        0.071354,
        float(low),
        1e-6,
        Kind.PRINT,
    )
    yield Published(NIST, "7.2.4.1", "the same, high", "-", 0.401029, float(high), 1e-6, Kind.PRINT)
    for words, kind, hits, trials, given in PROPORTIONS:
        limits = LIMITS[words](hits, trials)
        for side, ours, value in zip(("low", "high"), limits, given, strict=True):
            yield Published(
                NEWCOMBE,
                "Table I",
                f"95 % {words} limit, {hits} of {trials}, {side}",
                "-",
                value,
                float(ours),
                5e-5,
                kind,
            )
    yield Published(
        "Clopper and Pearson, Biometrika 26, 1934, 404-413",
        "their theorem",
        "95 % exact limits miss the truth, worst p, 50 trials",
        "%",
        5.0,
        100 * _worst_miss(50),
        0.0,
        Kind.DERIVED,
        at_most=True,
    )
    # p1 - p2 is p1 + (1 - p2) less 1: limits of a sum from those of its parts
    p, limits = np.array([56 / 70, 32 / 80]), wilson([56, 32], [70, 80])
    both = mover([1.0, 1.0], p, limits.low, limits.high)
    for side, ours, value in (("low", both.low, 0.0524), ("high", both.high, 0.3339)):
        yield Published(
            DIFFERENCE,
            "Table II",
            f"95 % limit of 56/70 - 48/80, {side}",
            "-",
            value,
            float(ours) - 1,
            5e-5,
            Kind.QUOTED,
        )
    bound = float(clopper_pearson(0, 100, side="high").high)
    yield Published(
        "Hanley and Lippman-Hand, JAMA 249, 1983, 1743",
        "3/n",
        "95 % bound, none in 100",
        "-",
        0.03,
        bound,
        6e-4,
        Kind.MEMORY,
    )
    yield Published(
        SOONG,
        "Table A.4",
        "normal quantile at 0.975",
        "-",
        1.960,
        float(Normal(0.0, 1.0).ppf(0.975)),
        5e-4,
        Kind.PRINT,
    )
    blocks = np.arange(16.0)
    half = float(student(blocks).high) - blocks.mean()
    yield Published(
        SOONG,
        "Table A.4",
        "half-width over standard error, 16 blocks",
        "-",
        2.131,
        half / (blocks.std(ddof=1) / 4),
        5e-4,
        Kind.PRINT,
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
    yield from _effects()
    yield from _rare()


def ishigami(u: Array) -> Array:
    """f = sin x1 + 7 sin^2 x2 + x3^4 sin(x1)/10 on (-pi, pi)^3; u (n, 3) uniform."""
    x = np.pi * (2 * u - 1)
    return np.asarray(
        np.sin(x[:, 0]) + 7 * np.sin(x[:, 1]) ** 2 + 0.1 * x[:, 2] ** 4 * np.sin(x[:, 0])
    )


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
    for words, given, ours in (("first", FIRST, found.first.p), ("total", TOTAL, found.total.p)):
        for k in range(3):
            yield Published(
                ISHIGAMI,
                "a 7, b 0.1",
                f"{words} effect of x{k + 1}, 4,096 points",
                "-",
                float(given[k]),
                float(ours[k]),
                0.02,
                Kind.MEMORY,
            )  # five times the scatter of 30 seeds


def _rare() -> Iterator[Published]:
    """Weighted samples: tolerance is four of their own standard errors, with that of the value
    given."""
    rng = np.random.default_rng(SEED)
    source = "Four-branch series system; Schobi, Sudret, Marelli 2017, 1e8 samples"
    p, error = _weighted(lambda u: _four_branch(u, 6.0), 2, 0.0, rng)
    yield Published(
        source,
        "k 6",
        "probability of failure, weighted samples",
        "-",
        4.460e-3,
        p,
        4 * math.hypot(error, 0.0015 * 4.460e-3),
        Kind.QUOTED,
    )
    p, error = deep_probability()
    yield Published(
        NORMAL,
        f"P(above {DEEP})",
        "of a sum of ten inputs, weighted samples",
        "-",
        1e-6,
        p,
        4 * error,
        Kind.DERIVED,
    )


def deep_probability() -> tuple[float, float]:
    """P(sum of ten standard normal inputs over sqrt(10) > `DEEP`) by weighted samples, and its
    standard error."""
    return _weighted(
        lambda u: np.asarray(u.sum(axis=1) / math.sqrt(10)), 10, DEEP, np.random.default_rng(SEED)
    )


def _four_branch(u: Array, k: float) -> Array:
    """Above 0 where the system fails."""
    a, b = u[:, 0], u[:, 1]
    bent, straight = 3 + 0.1 * (a - b) ** 2, k / math.sqrt(2)
    return np.asarray(
        -np.min(
            [
                bent - (a + b) / math.sqrt(2),
                bent + (a + b) / math.sqrt(2),
                a - b + straight,
                b - a + straight,
            ],
            axis=0,
        )
    )


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
