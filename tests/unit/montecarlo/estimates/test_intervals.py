"""Limits at their ends, by hand formulas, on arrays of candidates; totals; spread over
installations."""

import numpy as np
import pytest
from scipy import stats

from montecarlo.estimates.intervals import (
    Estimate,
    clopper_pearson,
    clustered,
    clustered_size,
    one_sided,
    student_mean,
    tail_of,
    wilson,
    with_unresolved,
)
from montecarlo.estimates.spread import binomial_noise, installation_spread
from montecarlo.estimates.totals import (
    Total,
    independent_difference,
    installation_correlation,
    mover,
    none_within,
)

# --- proportions --------------------------------------------------------------


def test_no_hit_and_all_hits_in_closed_form():
    # (1 - p)^n = tail, so p = 1 - tail^(1/n); Clopper and Pearson 1934, and the "rule of three"
    # 3/n
    for n in (1, 20, 1000, 10**9):
        low, high = clopper_pearson([0, n], n)
        assert low[0] == 0
        assert high[1] == 1
        assert high[0] == pytest.approx(-np.expm1(np.log(0.025) / n), rel=1e-9)
        assert low[1] == pytest.approx(0.025 ** (1 / n), rel=1e-9)
    assert clopper_pearson(0, 10_000, 0.90).high == pytest.approx(3 / 10_000, rel=2e-3)


def test_exact_limits_are_where_the_binomial_tails_reach_the_level():
    hits, n = np.arange(1, 30), 30
    low, high = clopper_pearson(hits, n, 0.9)
    assert stats.binom.sf(hits - 1, n, low) == pytest.approx(0.05)
    assert stats.binom.cdf(hits, n, high) == pytest.approx(0.05)


@pytest.mark.parametrize("level", [0.5, 0.6, 0.9, 0.95, 0.9999])
def test_a_bound_on_one_side_leaves_its_whole_tail_there(level):
    assert tail_of(one_sided(level)) == 1 - level


@pytest.mark.parametrize("limits", [clopper_pearson, wilson])
def test_limits_mirror_and_an_empty_sample_says_nothing(limits):
    hits, n = np.array([0, 1, 7.5, 20]), 20
    (low, high), mirrored = limits(hits, n), limits(n - hits, n)
    assert low == pytest.approx(1 - mirrored.high)
    assert high == pytest.approx(1 - mirrored.low)
    assert limits(0, 0) == (0, 1)


def test_level_outside_0_to_1_is_refused():
    with pytest.raises(ValueError, match="level = 95"):
        clopper_pearson(1, 10, 95)


# --- clusters -----------------------------------------------------------------


def test_effective_size_by_hand():
    # Korn and Graubard 1998: 4 installations x 10 events, hits 0 1 2 5; p = 0.2, v = 4/3 (4 + 1 + 0
    # + 9)/1600 = 0.011667, n* = 0.16/0.011667 = 13.714, times (t_39/t_3)^2 = (2.02269/3.18245)^2
    # (t tables) = 5.5400
    size = clustered_size([0, 1, 2, 5], 10, 0.025)
    assert size == pytest.approx(5.5400, rel=1e-4)
    assert clustered([0, 1, 2, 5], 10) == pytest.approx(np.ravel(clopper_pearson(0.2 * size, size)))


def test_clusters_never_narrow_the_plain_limits():
    even, n = np.full(64, 2), np.full(64, 10)  # no variance at all between the installations
    assert clustered_size(even, n, 0.025) == 640
    assert clustered(even, n) == pytest.approx(np.ravel(clopper_pearson(128, 640)))


def test_clusters_without_hits_with_nothing_but_hits_and_without_trials():
    n = np.full(16, 5)
    assert clustered(np.zeros(16), n) == pytest.approx(np.ravel(clopper_pearson(0, 80)))
    assert clustered(n, n) == pytest.approx(np.ravel(clopper_pearson(80, 80)))
    hits = np.array([0, 1, 2, 5])
    padded = clustered([*hits, 0, 0], [10] * 4 + [0, 0])
    assert padded == pytest.approx(np.ravel(clustered(hits, 10)))  # empty clusters do not count
    assert clustered([3, 0], [10, 0]) == (0, 1)  # one cluster: nothing known
    assert clustered([0, 0], [0, 0]) == (0, 1)


def test_candidate_axes_lead():
    hits = np.random.default_rng(3).integers(0, 4, (5, 7, 16))
    low, high = clustered(hits, np.full(16, 10))
    assert low.shape == high.shape == (5, 7)
    assert (low[2, 3], high[2, 3]) == pytest.approx(np.ravel(clustered(hits[2, 3], 10)))


# --- unresolved samples -------------------------------------------------------


def test_unresolved_samples_widen_both_ways():
    one, none = [1, 2], [0, 0]
    estimate = with_unresolved([one, none], 50, [[2, 2], [50, 50]])
    assert estimate.p[0] == 3 / 96
    assert np.isnan(estimate.p[1])
    assert estimate.low[0] == clustered(one, 50).low
    assert estimate.high[0] == clustered([3, 4], 50).high
    assert (estimate.low[1], estimate.high[1]) == (0, 1)


def test_unresolved_samples_in_clusters():
    hits, n, lost = np.array([0, 1, 2, 5]), np.full(4, 10), np.array([1, 0, 0, 0])
    estimate = with_unresolved(hits, n, lost)
    assert estimate.p == 8 / 39
    assert estimate.low == clustered(hits, n).low
    assert estimate.high == clustered(hits + lost, n).high


# --- means over blocks --------------------------------------------------------


def test_student_limits_against_scipy():
    values = np.random.default_rng(4).beta(2, 5, (3, 16))
    estimate = student_mean(values)
    low, high = stats.t.interval(0.95, 15, values.mean(-1), stats.sem(values, axis=-1))
    assert estimate.low == pytest.approx(low)
    assert estimate.high == pytest.approx(high)


def test_student_limits_stay_inside_and_never_collapse_at_the_ends():
    estimate = student_mean([[0.0] * 16, [1.0] * 16, [0.0] * 15 + [0.3], [0.25] * 16], trials=800)
    exact = clopper_pearson([0, 800], 800)
    assert (estimate.low[0], estimate.high[0]) == (0, exact.high[0])
    assert (estimate.low[1], estimate.high[1]) == (exact.low[1], 1)
    assert estimate.low[2] == 0
    assert estimate.low[3] == estimate.high[3] == 0.25
    assert (
        student_mean([0.0] * 16).high == clopper_pearson(0, 16).high
    )  # trials not given: one a block
    with pytest.raises(ValueError, match="at least 2"):
        student_mean([0.5])


# --- totals -------------------------------------------------------------------


def test_mover_by_hand_and_over_candidates():
    # T = 0.6 x 0.1 + 0.4 x 0.5 = 0.26; down sqrt(0.6^2 0.03^2 + 0.4^2 0.1^2), up sqrt(0.6^2
    # 0.05^2 + 0.4^2 0.1^2)
    total = mover(
        [0.6, 0.4], [[0.1, 0.5], [0.2, 0.2]], [[0.07, 0.4], [0.2, 0.2]], [[0.15, 0.6], [0.2, 0.2]]
    )
    assert total.total == pytest.approx([0.26, 0.2])
    assert total.low == pytest.approx([0.26 - np.hypot(0.018, 0.04), 0.2])
    # exact types: no width
    assert total.high == pytest.approx([0.26 + np.hypot(0.03, 0.04), 0.2])


def test_mover_of_one_type_is_that_type_and_weight_zero_is_nothing():
    assert mover([3.0, 0.0], [0.1, np.nan], [0.05, np.nan], [0.2, np.nan]) == pytest.approx(
        (0.3, 0.15, 0.6)
    )
    assert mover([2.0, 1.0], [0.9, 0.9], [0.0, 0.0], [1.0, 1.0]).low == pytest.approx(
        2.7 - 0.9 * 5**0.5
    )
    with pytest.raises(ValueError, match="weights"):
        mover([-1.0], [0.1], [0.0], [0.2])


def test_estimates_that_move_together_add_up_plainly():
    p, low, high = np.array([[0.1, 0.3], [0.1, 0.3]]), 0.05, 0.4
    installations = np.array(
        [[[0.0, 0.2], [0.1, 0.5]], [[0.0, 0.2], [0.5, 0.1]]]
    )  # candidate 0 together, 1 opposed
    matrix = installation_correlation(installations)
    assert matrix == pytest.approx(np.array([np.ones((2, 2)), np.eye(2)]))
    total = mover([1.0, 2.0], p, low, high, matrix)
    assert total.high == pytest.approx([0.7 + 0.3 + 2 * 0.1, 0.7 + np.hypot(0.3, 0.2)])
    assert total.low == pytest.approx([0.7 - 0.05 - 2 * 0.25, 0.7 - np.hypot(0.05, 0.5)])
    assert (
        mover([1.0, 2.0], p, low, high, np.eye(2)).high == mover([1.0, 2.0], p, low, high).high
    ).all()
    assert (installation_correlation([[0.2, 0.2], [0.1, 0.5]]) == np.eye(2)).all()


def test_a_difference_of_independent_estimates_by_hand_and_turned_round():
    one = Estimate(np.array([0.3, np.nan]), np.array([0.26, 0.0]), np.array([0.38, 1.0]))
    other = Estimate(np.array([0.1, 0.1]), np.array([0.04, 0.0]), np.array([0.13, 0.2]))
    gap = independent_difference(one, other)
    assert gap.p == pytest.approx([0.2, np.nan], nan_ok=True)
    # down: 0.04 of the one, 0.03 of the other; up: 0.08 and 0.06
    assert gap.low == pytest.approx([0.2 - 0.05, np.nan], nan_ok=True)
    assert gap.high == pytest.approx([0.2 + 0.1, np.nan], nan_ok=True)
    back = independent_difference(other, one)
    assert (back.low[0], back.high[0]) == pytest.approx((-gap.high[0], -gap.low[0]))


def test_no_event_in_n_years_is_the_poisson_law_s_and_its_limits_change_sides():
    rate = Total(*np.array([[0.01, 0.0], [0.004, 0.0], [0.03, 0.002]]))
    none = none_within(rate, 30.0)
    assert none.total == pytest.approx(stats.poisson.pmf(0, 30 * rate.total))
    assert none.low == pytest.approx(stats.poisson.pmf(0, 30 * rate.high))
    assert none.high == pytest.approx(stats.poisson.pmf(0, 30 * rate.low))


def test_installations_that_differ_stay_quiet_more_often_than_their_mean_rate_says():
    # Jensen: the mean of exp(-rate years) over installations is at least exp(-mean rate years)
    rates = np.random.default_rng(3).gamma(0.5, 0.02, 1000)
    mean = Total(*np.full(3, rates.mean()))
    assert np.exp(-30 * rates).mean() > none_within(mean, 30.0).total


# --- spread over installations -------------------------------------------------------


def test_spread_of_exact_installation_values_is_theirs():
    means = np.linspace(0, 1, 101)
    spread = installation_spread(means, 0.0, 0.9)
    assert (spread.median, spread.p95) == pytest.approx((0.5, 0.95))
    assert spread.above == pytest.approx(10 / 101)
    assert spread.sd == pytest.approx(means.std(ddof=1))


def test_noise_alone_is_no_spread_and_one_event_an_installation_tells_nothing():
    spread = installation_spread([0.1, 0.2, 0.3], 0.01, [0.1, 0.3])
    assert spread.median == spread.p95 == pytest.approx(0.2)
    assert spread.above.tolist() == [1.0, 0.0]
    assert spread.sd == 0
    single = installation_spread([0.0, 1.0, 0.0], binomial_noise([0, 1, 0], 1))
    assert np.isnan(single).all()


def test_binomial_noise_is_unbiased():
    # E[h/n (1 - h/n)/(n - 1)] = p(1 - p)/n, summed over the binomial law (derived)
    n, p, hits = 8, 0.3, np.arange(9)
    assert np.sum(stats.binom.pmf(hits, n, p) * binomial_noise(hits, n)) == pytest.approx(
        p * (1 - p) / n
    )
