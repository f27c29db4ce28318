"""Failure on demand: against averages of its own definition, limits; the best interval against
minimisation."""

from __future__ import annotations

import os

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.optimize import minimize_scalar

from montecarlo.formulas.dependability import (
    HOURS_A_YEAR,
    annual_cost,
    best_interval_years,
    pfd_1oo1,
    pfd_1oo2,
)

SEED = int(os.environ.get("STATORODDS_TEST_SEED", "20"))
NO_COMMON = {"common": 0.0, "common_detected": 0.0}
COSTS = {"faults_per_year": 0.02, "missed_fault": 3e6, "test": 400.0}


# --- one channel --------------------------------------------------------------


def test_one_channel_is_the_part_of_time_in_which_it_is_down() -> None:
    """Over a cycle: failed since t with 1 - e^(-lt), then repaired if the test finds it so."""
    rate, years, repair_h = 1e-4, 2.0, 48.0
    failed, _ = quad(lambda t: -np.expm1(-rate * t), 0, years)
    down = failed - np.expm1(-rate * years) * repair_h / HOURS_A_YEAR
    assert float(pfd_1oo1(rate, 0.0, years, repair_h)) == pytest.approx(down / years, rel=2e-4)


def test_too_large_by_a_third_of_rate_times_interval() -> None:
    rate, years = np.array([0.01, 0.03, 0.1]), 1.0
    exact = 1 + np.expm1(-rate * years) / (rate * years)
    excess = pfd_1oo1(rate, 0.0, years, 0.0) / exact - 1
    assert excess == pytest.approx(rate * years / 3, rel=0.03)


def test_detected_failures_are_there_while_they_are_repaired() -> None:
    """Up for 1/l, down for the repair, for ever, whatever the interval."""
    rate, repair_h = 0.05, 24.0
    up, down = 1 / rate, repair_h / HOURS_A_YEAR
    found = pfd_1oo1(0.0, rate, [0.5, 5.0], repair_h)
    assert found == pytest.approx(down / (up + down), rel=2e-4)
    assert found[0] == found[1]


# --- two channels -------------------------------------------------------------


def test_two_channels_are_both_down_for_a_part_of_the_time() -> None:
    rate, years = 1e-4, 2.0
    both, _ = quad(lambda t: np.expm1(-rate * t) ** 2, 0, years)
    found = float(pfd_1oo2(rate, 0.0, years, 0.0, **NO_COMMON))
    assert found == pytest.approx(both / years, rel=3e-4)
    assert found == pytest.approx((rate * years) ** 2 / 3)


def test_two_channels_by_the_standards_own_steps() -> None:
    """t_CE, t_GE, then the sum, a number at a time."""
    rng = np.random.default_rng(SEED)
    for unseen, seen, years, hours, b, b_d in rng.uniform(
        [1e-4, 0, 0.1, 1, 0, 0], [0.1, 0.1, 6, 100, 1, 1], (20, 6)
    ):
        repair, rate = hours / HOURS_A_YEAR, unseen + seen
        t_ce = unseen / rate * (years / 2 + repair) + seen / rate * repair
        t_ge = unseen / rate * (years / 3 + repair) + seen / rate * repair
        own = 2 * ((1 - b_d) * seen + (1 - b) * unseen) ** 2 * t_ce * t_ge
        common = b_d * seen * repair + b * unseen * (years / 2 + repair)
        assert float(pfd_1oo1(unseen, seen, years, hours)) == pytest.approx(rate * t_ce)
        found = pfd_1oo2(unseen, seen, years, hours, common=b, common_detected=b_d)
        assert float(found) == pytest.approx(own + common)


def test_two_channels_that_always_fail_together_are_one() -> None:
    found = pfd_1oo2(0.02, 0.05, 2.0, 8.0, common=1.0, common_detected=1.0)
    assert float(found) == pytest.approx(float(pfd_1oo1(0.02, 0.05, 2.0, 8.0)))


def test_common_failures_cost_more_than_a_second_channel_gains() -> None:
    part = np.linspace(0, 1, 21)
    found = pfd_1oo2(0.02, 0.05, 2.0, 8.0, common=part, common_detected=part)
    assert np.all(np.diff(found) > 0)


def test_what_never_fails_is_0_and_arrays_broadcast() -> None:
    zero = np.zeros(3)
    assert np.array_equal(pfd_1oo1(zero, zero, 1.0, 8.0), zero)
    assert np.array_equal(pfd_1oo2(zero, zero, 1.0, 8.0, **NO_COMMON), zero)
    rates = np.array([[0.0], [0.01]])
    found = pfd_1oo2(rates, 0.0, [1.0, 2.0, 4.0], 8.0, common=0.05, common_detected=0.02)
    assert found.shape == (2, 3)
    assert np.all(found[0] == 0)
    assert np.all(np.diff(found[1]) > 0)


# --- how often to test --------------------------------------------------------


def one_channel(years: float, rate: float, left_failed: float = 0.0) -> float:
    """Annual cost with supervision and repair beside what the interval decides."""
    failed = pfd_1oo1(rate, 0.04, years, 24.0)
    return float(annual_cost(years, failed, left_failed=left_failed, **COSTS))


@pytest.mark.parametrize("rate", [1e-3, 0.01, 0.05])
@pytest.mark.parametrize("left_failed", [0.0, 0.01])
def test_best_interval_against_minimisation(rate: float, left_failed: float) -> None:
    found = minimize_scalar(
        lambda log: one_channel(np.exp(log), rate, left_failed), bounds=(-5, 5), method="bounded"
    )
    best = float(best_interval_years(rate, **COSTS))
    assert best == pytest.approx(np.exp(found.x), rel=1e-3)
    assert one_channel(best, rate, left_failed) <= found.fun * (1 + 1e-12)


def test_there_a_test_costs_as_much_as_it_saves() -> None:
    best = best_interval_years(0.01, **COSTS)
    missed = annual_cost(best, pfd_1oo1(0.01, 0.0, best, 0.0), **(COSTS | {"test": 0.0}))
    assert float(missed) == pytest.approx(float(400 / best))


def test_a_test_of_four_times_the_cost_is_due_half_as_often() -> None:
    found = best_interval_years(0.01, **(COSTS | {"test": np.array([400.0, 1600.0])}))
    assert found[1] == pytest.approx(2 * found[0])


def test_costs_by_hand() -> None:
    """0.02 faults a year of 3 million, missed once in a hundred; a test every two years."""
    assert float(annual_cost(2.0, 0.01, **COSTS)) == pytest.approx(600 + 200)
    assert float(annual_cost(2.0, 0.01, left_failed=0.005, **COSTS)) == pytest.approx(900 + 200)


@pytest.mark.parametrize("never", ["rate", "faults_per_year", "missed_fault"])
def test_what_costs_nothing_needs_no_test(never: str) -> None:
    rate = 0.0 if never == "rate" else 0.01
    costs = COSTS | ({} if never == "rate" else {never: 0.0})
    assert float(best_interval_years(rate, **costs)) == np.inf


def test_tests_that_cost_nothing_are_done_all_the_time() -> None:
    assert float(best_interval_years(0.01, **(COSTS | {"test": 0.0}))) == 0
