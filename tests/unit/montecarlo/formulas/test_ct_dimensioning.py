"""Time to saturation and transient dimensioning: values found by integration and root finding,
limits, and a case by hand."""

import numpy as np
import pytest

from montecarlo.formulas.ct_dimensioning import (
    greatest_transient_factor,
    offset_knee,
    saturation_factor,
    saturation_time,
    saturation_time_by_formula,
    start_factor,
    transient_factor,
)

OMEGA_50, OMEGA_60 = 100 * np.pi, 120 * np.pi


@pytest.mark.parametrize(
    ("factor", "x_over_r", "formula_ms", "flux_ms"),
    [
        (5, 15, 14.81, 14.82),
        (10, 15, 43.75, 50.63),
        (3, 20, 6.71, 10.16),
        (5, 40, 13.41, 13.70),
        (2, 60, 3.21, 8.23),
        (1.5, 60, 1.60, 7.30),
    ],
)
def test_times_to_saturation(
    factor: float, x_over_r: float, formula_ms: float, flux_ms: float
) -> None:
    formula_s = saturation_time_by_formula(factor, x_over_r, OMEGA_50)
    assert 1000 * formula_s == pytest.approx(formula_ms, abs=0.005)
    assert 1000 * saturation_time(factor, x_over_r, OMEGA_50) == pytest.approx(flux_ms, abs=0.005)


@pytest.mark.parametrize(
    ("knee_v", "current_a", "ohm", "x_over_r", "volts", "factor", "asked_v", "times_ms"),
    [  # worked by hand, 60 Hz: class C200, then 5P20, each with 70 % remanence beside none
        (232, 16.7, 1.37, 60, 22.9, 10.1, 1400, (27.2, 8.3)),
        (232, 29.3, 1.37, 75, 40.1, 5.78, 3050, (13.2, 6.4)),
        (168, 29.3, 1.17, 75, 34.3, 4.90, 2605, (11.0, 6.0)),
    ],
)
def test_a_case_by_hand(knee_v, current_a, ohm, x_over_r, volts, factor, asked_v, times_ms) -> None:
    burden_v = current_a * ohm
    assert burden_v == pytest.approx(volts, abs=0.05)
    assert saturation_factor(knee_v, burden_v) == pytest.approx(factor, abs=0.05)
    assert offset_knee(burden_v, x_over_r) == pytest.approx(asked_v, abs=5)
    left = saturation_factor(knee_v, burden_v, [0.0, 0.7])
    out = 1000 * saturation_time(left, x_over_r, OMEGA_60)
    assert out == pytest.approx(times_ms, abs=0.05)


def test_dimensioning_factors_from_the_formula() -> None:
    # T_p, T_s, f, t, K_td(t), K_max: worked out with the printed form of the equation
    for primary, secondary, hertz, t, factor, greatest in (
        (0.06, 3.0, 50, 0.02, 6.325, 18.403),
        (0.06, 3.0, 50, 0.1, 15.971, 18.403),
        (0.1, 1.0, 50, 0.04, 11.139, 25.324),
        (0.2, 10.0, 50, 0.1, 25.589, 59.011),
        (0.18, 5.0, 60, 0.05, 17.372, 60.936),
    ):
        omega = 2 * np.pi * hertz
        assert transient_factor(t, omega, primary, secondary) == pytest.approx(factor, abs=6e-4)
        most = greatest_transient_factor(omega, primary, secondary)
        assert most == pytest.approx(greatest, abs=6e-4)
        many = transient_factor(np.linspace(0, 3, 30001), omega, primary, secondary)
        assert most == pytest.approx(many.max(), rel=1e-6)


def test_equal_time_constants_and_their_order() -> None:
    # the limit: w t e^(-t/T) + 1, largest at T
    t = np.array([0.0, 0.05, 0.1, 5.0])
    alike = transient_factor(t, OMEGA_50, 0.1, 0.1)
    assert alike == pytest.approx(OMEGA_50 * t * np.exp(-t / 0.1) + 1)
    assert alike == pytest.approx(transient_factor(t, OMEGA_50, 0.1, 0.1 * (1 + 1e-7)), rel=1e-6)
    assert greatest_transient_factor(OMEGA_50, 0.1, 0.1) == pytest.approx(OMEGA_50 * 0.1 / np.e + 1)
    assert transient_factor(t, OMEGA_50, 2.0, 0.1) == pytest.approx(
        transient_factor(t, OMEGA_50, 0.1, 2.0)
    )


def test_a_closed_core_needs_one_and_x_over_r() -> None:
    assert greatest_transient_factor(OMEGA_50, 0.06) == pytest.approx(1 + OMEGA_50 * 0.06)
    assert offset_knee(10.0, OMEGA_50 * 0.06, 0.5) == pytest.approx(20 * (1 + OMEGA_50 * 0.06))
    # the formula's time is where K_td has come to K_s
    t = saturation_time_by_formula(7.0, OMEGA_50 * 0.06, OMEGA_50)
    assert transient_factor(t, OMEGA_50, 0.06) == pytest.approx(7.0)


def test_what_has_no_limit() -> None:
    assert saturation_factor(100.0, 0.0) == np.inf
    assert offset_knee([0.0, 10.0], 20.0, 1.0).tolist() == [0.0, np.inf]
    assert offset_knee(0.0, np.inf) == 0.0
    for time in (saturation_time, saturation_time_by_formula):
        out = time([0.0, 21.0, 50.0, np.inf], 20.0, OMEGA_50)
        assert out.tolist() == [0.0, np.inf, np.inf, np.inf]
    # without resistance the offset stays: x - sin x = K_s, and the envelope 1 + x
    assert saturation_time_by_formula(1 + np.pi, np.inf, OMEGA_50) == pytest.approx(0.01)
    assert saturation_time(np.pi, np.inf, OMEGA_50) == pytest.approx(0.01)
    assert saturation_time(np.inf, np.inf, OMEGA_50) == np.inf
    # without offset a core saturates where half a cycle's flux is too much: -sin x = 0.5
    assert saturation_time(0.5, 0.0, OMEGA_50) == pytest.approx(7 / 600)
    assert saturation_time(1.1, 0.0, OMEGA_50) == np.inf


def integrated(current_pu: float, start_pu: float, wait: float) -> float:
    """The largest flux by the trapezoidal rule, point on wave by point on wave; wait: an angle."""
    steps = np.linspace(0.0, 2 * np.pi + wait, 40001)
    largest = 0.0
    for at in np.linspace(0.0, np.pi, 721):
        current = np.sin(steps + at) - np.sin(at)
        above = np.abs(current) > start_pu / current_pu
        if not above.any() or (end := steps[above.argmax()] + wait) > steps[-1]:
            continue
        step = steps[1] - steps[0]
        flux = np.concatenate([[0.0], np.cumsum((current[1:] + current[:-1]) / 2 * step)])
        largest = max(largest, abs(np.interp(end, steps, flux)))
    return largest


@pytest.mark.parametrize(
    ("hertz", "wait_s", "expected"),
    [  # for 2, 4 and 7 times rated current, start 0.5: found by stepping through time
        (50, 0.003, (0.704, 0.560, 0.504)),
        (60, 0.003, (0.936, 0.768, 0.701)),
        (60, 0.002, (0.502, 0.383, 0.337)),
        (60, 0.005, (2.123, 1.854, 1.746)),
    ],
)
def test_what_a_time_difference_asks_until_it_starts(hertz, wait_s, expected) -> None:
    omega, currents = 2 * np.pi * hertz, [2.0, 4.0, 7.0]
    found = start_factor(currents, 0.5, wait_s, omega)
    assert found == pytest.approx(expected, abs=0.001)
    for current, factor in zip(currents, found, strict=True):
        assert integrated(current, 0.5, omega * wait_s) == pytest.approx(factor, rel=2e-3)


def test_a_longer_wait_and_a_higher_start_ask_for_more() -> None:
    waits = [float(start_factor(3.0, 0.5, wait_s, OMEGA_50)) for wait_s in (0.0, 0.001, 0.004)]
    assert waits == sorted(waits)
    starts = [float(start_factor(3.0, start, 0.003, OMEGA_50)) for start in (0.1, 0.5, 1.3)]
    assert starts == sorted(starts)
    # below half of the start full offset cannot reach it either
    small, large = start_factor([0.24, 0.26], 0.5, 0.003, OMEGA_50)
    assert np.isnan(small)
    assert integrated(0.26, 0.5, 0.003 * OMEGA_50) == pytest.approx(large, rel=0.02)
