"""Sums of weighted samples and their limits. Chance is fixed by the seed; odds of another seed
beside each."""

import numpy as np
import pytest
from scipy.special import ndtr

from montecarlo.estimates.rare import (
    BATCH,
    Mixture,
    Sums,
    Why,
    diagnose,
    fewer_than,
    rare_estimate,
    variation,
)
from studies.report.refusals import trust_text
from tests.made.rare_cases import mixture, rng, total


def final(beta, dims=12, batches=80, key=0):
    m = Mixture(
        dims,
        np.arange(10),
        np.array([13, 40, 40, 35]) / 128,
        np.array([[0.0], [2.0], [3.2], [4.8]]) / np.sqrt(10) * np.ones(10),
        np.ones((4, 10)),
    )
    u = m.sample(rng(28, key), batches * BATCH)
    return Sums.of(total(u, 0)[:, None] > np.atleast_1d(beta), m.log_weight(u), m.largest_weight)


def test_one_run_gives_the_whole_curve():
    # standard error 3 to 7 %; five of them
    beta = np.array([1.0, 2.0, 3.0, 4.0, 4.6])
    sums = final(beta)
    truth, cov = ndtr(-beta), variation(sums)
    assert (cov < 0.1).all()
    assert (np.abs(rare_estimate(sums).p / truth - 1) < 5 * cov).all()
    assert {trust.why for trust in diagnose(sums).trust} == {Why.GOOD}


def test_sums_add_over_chunks():
    m = mixture()
    u = m.sample(rng(29), 6 * BATCH)
    y, w = u[:, 1:2] > np.array([1.0, 3.0]), m.log_weight(u)
    lost = u[:, 4] > 2
    whole = Sums.of(y, w, m.largest_weight, lost)
    cut = 2 * BATCH
    parts = Sums.join(
        [
            Sums.of(y[:cut], w[:cut], m.largest_weight, lost[:cut]),
            Sums.of(y[cut:], w[cut:], m.largest_weight, lost[cut:]),
        ]
    )
    assert parts.trials == whole.trials
    for name in (
        "hits",
        "total",
        "squares",
        "batch_squares",
        "largest",
        "lost_hits",
        "lost",
        "lost_squares",
        "lost_largest",
    ):
        np.testing.assert_allclose(getattr(parts, name), getattr(whole, name), rtol=1e-13)


def test_plain_draws_give_plain_counts():
    y = rng(30).random((50 * BATCH, 1)) < 0.3
    found = rare_estimate(Sums.of(y, np.zeros(len(y)), 1.0))
    assert found.p[0] == pytest.approx(y.mean())
    # the normal interval of a proportion, within the noise of 50 batches' own scatter (standard
    # error 10 %)
    half = 1.96 * np.sqrt(0.3 * 0.7 / len(y))
    assert (found.high - found.low)[0] / 2 == pytest.approx(half, rel=0.5)


def test_nothing_seen_gives_the_exact_limit_of_the_plain_draws():
    sums = Sums.of(np.zeros((100 * BATCH, 1), bool), np.zeros(100 * BATCH), 128 / 13)
    found = rare_estimate(sums)
    assert (found.p[0], found.low[0]) == (0, 0)
    assert found.high[0] == pytest.approx(1 - 0.025 ** (1 / 1300), rel=1e-12)
    assert rare_estimate(sums, side="high").high[0] == pytest.approx(
        1 - 0.05 ** (1 / 1300), rel=1e-12
    )
    assert fewer_than(sums) == found.high[0]
    assert trust_text(diagnose(sums).trust[0]) == "nothing seen: only an upper limit"


def test_every_batch_has_its_whole_number_of_plain_draws():
    """What the exact limit rests on: a component that starts the cumulated shares and has a whole
    number of rows."""
    narrow = Mixture(
        1, np.array([0]), np.array([13, 115]) / 128, np.array([[0.0], [50.0]]), np.ones((2, 1))
    )
    u = narrow.sample(rng(31), 300 * BATCH)
    assert ((u < 25).reshape(-1, BATCH).sum(axis=1) == 13).all()


def test_one_sided_limits_are_those_of_twice_the_tail():
    sums = final([3.0, 4.6])
    both, low, high = (
        rare_estimate(sums, 0.90),
        rare_estimate(sums, 0.95, "low"),
        rare_estimate(sums, 0.95, "high"),
    )
    np.testing.assert_allclose(low.low, both.low)
    np.testing.assert_allclose(high.high, both.high)
    assert (low.high == 1).all()
    assert (high.low == 0).all()


def test_unresolved_samples_widen_only_the_high_limit():
    m = mixture()
    u = m.sample(rng(32), 100 * BATCH)
    y, w = u[:, 1:2] > 2.5, m.log_weight(u)
    lost = u[:, 4] > 2.5
    plain, with_lost = (rare_estimate(Sums.of(y, w, m.largest_weight, v)) for v in (None, lost))
    assert with_lost.low[0] <= plain.low[0] + 1e-12
    assert with_lost.high[0] > plain.high[0] + ndtr(-2.5) / 2
    # y and v are independent: resolved samples operate as often as all
    assert with_lost.p[0] == pytest.approx(plain.p[0], rel=0.1)


def test_reasons_not_to_trust():
    n = 10 * BATCH
    w = np.zeros(n)
    few = np.zeros((n, 1), bool)
    few[:5] = True
    assert (
        trust_text(diagnose(Sums.of(few, w, 10.0)).trust[0])
        == "rests on 5 effective hits; 50 are needed"
    )
    many = np.zeros((n, 1), bool)
    many[: n // 2] = True
    one = w - 3
    one[0] = 4.0
    assert "effective hits" in trust_text(diagnose(Sums.of(many, one, 100.0)).trust[0])
    assert diagnose(Sums.of(many, w, 10.0)).trust[0].why is Why.GOOD
    assert diagnose(Sums.of(many, w - 15, 10.0)).trust[0].why is Why.MAGNITUDE
    assert "unresolved" in trust_text(diagnose(Sums.of(many, w, 10.0, ~many)).trust[0])


def test_hits_without_the_largest_sample():
    w = np.full(10 * BATCH, -3.0)
    operates = np.zeros((len(w), 1), bool)
    operates[:61] = True
    even = diagnose(Sums.of(operates, w, 10.0)).seen[0]
    assert even.effective == pytest.approx(61)
    assert even.steady_hits == pytest.approx(60)
    w[0] = np.log(20 * np.exp(-3.0))  # one of 80 equal parts weighs as much as 20 of them
    odd = diagnose(Sums.of(operates, w, 10.0)).seen[0]
    assert odd.effective == pytest.approx(80**2 / (20**2 + 60))
    assert odd.largest_share == pytest.approx(0.25)
    assert odd.steady_hits == pytest.approx(60)
    assert odd.trust.why is Why.FEW
    assert odd.expected(5 * odd.trials).effective == pytest.approx(5 * odd.effective)
    assert odd.expected(5 * odd.trials).trust.why is Why.GOOD
    lone = diagnose(Sums.of(np.arange(len(w))[:, None] == 0, w, 10.0)).seen[0]
    assert lone.steady_hits == lone.effective == pytest.approx(1)


def test_equal_weights_that_scatter_like_counts_give_the_exact_limits_of_a_count():
    """Garwood's limits of 7: 2.81 and 14.42 (tables of the Poisson distribution); here 7 hits of
    one weight."""
    operates = np.zeros((4000 * BATCH, 1), bool)
    operates[:: 600 * BATCH] = True  # 7, each in a batch of its own
    found = rare_estimate(Sums.of(operates, np.full(len(operates), -2.0), 10.0))
    weight = np.exp(-2.0) / len(operates)
    assert found.low[0] == pytest.approx(2.81 * weight, rel=3e-3)
    assert found.high[0] == pytest.approx(14.42 * weight, rel=3e-3)


def test_the_bound_holds_the_truth_where_weights_are_skew():
    """Weights of hits log-normal with sigma 1, some 60 effective hits: the one-sided bound of 95 %
    holds in 95 %.

    Of 4,000 repeats, a share spreads by 0.35 points; log-normal limits hold 93.1 %, these 96.0."""
    draws = rng(33)
    hits, batches, repeats = 160, 64, 4000
    held = 0
    for _ in range(repeats):
        count = draws.poisson(hits)
        w = np.exp(draws.normal(size=count) - 4)
        at = np.bincount(draws.integers(0, batches, count), w, batches)
        one = (np.array([x]) for x in (count, w.sum(), w @ w, at @ at, w.max(), 0.0, 0.0, 0.0, 0.0))
        sums = Sums(batches * BATCH, 10.0, *one)
        held += rare_estimate(sums, 0.95, "high").high[0] >= hits * np.exp(0.5 - 4) / sums.trials
    assert held / repeats > 0.945
