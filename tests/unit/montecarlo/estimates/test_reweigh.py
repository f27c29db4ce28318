"""Re-weighted installations against the conjugate normal case, whose posterior is known in closed
form."""

from __future__ import annotations

import os

import numpy as np
import pytest
from scipy.special import ndtr, ndtri

from montecarlo.estimates.intervals import with_unresolved
from montecarlo.estimates.reweigh import (
    Sums,
    change,
    effective_installations,
    likelihood_weights,
    reweighted,
)

SEED = int(os.environ.get("STATORODDS_TEST_SEED", "20"))
M = 4096
PRIOR = ndtri((np.arange(M) + 0.5) / M)  # an installation input, N(0, 1), at even quantiles


@pytest.mark.parametrize(
    ("measured", "uncertainty"), [(0.0, 0.5), (0.8, 0.5), (-1.5, 0.3), (1.0, 2.0)]
)
def test_posterior_and_effective_number_of_a_normal_measurement(
    measured: float, uncertainty: float
) -> None:
    """Prior N(0, 1), one measurement m ± u: mean m/(1 + u²), variance u²/(1 + u²). With w = exp(-(m
    - x)²/2u²): E w = u/√(1 + u²)·exp(-m²/2(1 + u²)), E w² = u/√(2 + u²)·exp(-m²/(2 + u²)), and
    n_eff = M (E w)²/E w²."""
    weights = likelihood_weights(PRIOR[None], np.array([measured]), np.array([uncertainty]))
    square = uncertainty**2
    assert weights.sum() == pytest.approx(1.0)
    mean = weights @ PRIOR
    assert mean == pytest.approx(measured / (1 + square), abs=2e-3)
    assert weights @ (PRIOR - mean) ** 2 == pytest.approx(square / (1 + square), rel=5e-3)
    first = uncertainty / np.sqrt(1 + square) * np.exp(-(measured**2) / (2 * (1 + square)))
    second = uncertainty / np.sqrt(2 + square) * np.exp(-(measured**2) / (2 + square))
    assert effective_installations(weights) == pytest.approx(M * first**2 / second, rel=5e-3)


def test_two_measurements_of_one_input_are_one_of_half_the_variance() -> None:
    twice = likelihood_weights(np.stack([PRIOR, PRIOR]), np.array([0.4, 0.8]), np.array([0.5, 0.5]))
    once = likelihood_weights(PRIOR[None], np.array([0.6]), np.array([0.5 / np.sqrt(2)]))
    assert twice == pytest.approx(once)


def test_an_infinite_expectation_has_no_weight() -> None:
    weights = likelihood_weights(np.array([[1.0, np.inf, 1.1]]), np.array([1.0]), np.array([0.1]))
    assert weights[1] == 0
    assert weights.sum() == pytest.approx(1.0)


def test_equal_weights_are_no_weights() -> None:
    rng = np.random.default_rng([SEED, 1])
    trials, lost = np.full(64, 20.0), rng.integers(0, 2, (3, 64)).astype(float)
    hits = rng.binomial(10, [[0.0], [0.3], [0.9]], (3, 64)).astype(float)
    plain = with_unresolved(hits, trials, lost)
    ours = reweighted(Sums(hits, trials, lost, False), np.full(64, 1 / 64))
    for one, other in zip(plain, ours, strict=True):
        assert one == pytest.approx(other)
    gap = change(hits / trials, np.full(64, 1 / 64))
    assert np.abs(np.stack(gap)).max() < 1e-12


def test_no_hit_is_bounded_by_what_the_weights_leave() -> None:
    """As many trials as the effective installations have: 1 - 0.025^(1/n)."""
    weights = likelihood_weights(PRIOR[None], np.array([0.0]), np.array([0.1]))
    few = effective_installations(weights)
    counted = reweighted(Sums(np.zeros((1, M)), np.full(M, 8.0), np.zeros((1, M)), False), weights)
    assert counted.high[0] == pytest.approx(1 - 0.025 ** (1 / (8 * few)), rel=1e-9)
    summed = reweighted(Sums(np.zeros((1, M)), np.full(M, 8.0), np.zeros((1, M)), True), weights)
    assert summed.high[0] == pytest.approx(1 - 0.025 ** (1 / few), rel=1e-9)
    assert (counted.low[0], summed.low[0]) == (0.0, 0.0)


@pytest.mark.parametrize("conditional", [False, True])
def test_limits_hold_the_truth(conditional: bool) -> None:
    """p(x) = Phi(x - 1), x ~ N(0, 1), measured 0.7 ± 0.5: the posterior is N(m, s²), so p = Phi((m
    - 1)/√(1 + s²)). 400 repeats of 256 installations (129 effective) with 8 events each. In 2,000
    repeats, also with 20 and 28 effective, the 95 % limits held in 94.3 to 97.5 %; another seed
    falls below 91.5 % once in some hundred. The change against the prior's Phi(-1/√2) likewise."""
    rng = np.random.default_rng([SEED, 2, conditional])
    square = 0.25
    truth = ndtr((0.7 / (1 + square) - 1) / np.sqrt(1 + square / (1 + square)))
    gap_truth = truth - ndtr(-1 / np.sqrt(2))
    held, held_gap = 0, 0
    for _ in range(400):
        x = rng.standard_normal(256)
        p = ndtr(x - 1)
        total = 8 * p if conditional else rng.binomial(8, p).astype(float)
        weights = likelihood_weights(x[None], np.array([0.7]), np.array([0.5]))
        sums = Sums(total[None], np.full(256, 8.0), np.zeros((1, 256)), conditional)
        found, gap = reweighted(sums, weights), change(sums.means, weights)
        held += int(found.low[0] <= truth <= found.high[0])
        held_gap += int(gap.low[0] <= gap_truth <= gap.high[0])
    assert 0.915 < held / 400 <= 1.0
    assert 0.915 < held_gap / 400 <= 1.0
