"""The excitation characteristic: its four conditions, its loop, and the states that a core may
start from.

Values marked "regression" come from an earlier prototype of the same model, not from outside."""

from __future__ import annotations

import os

import numpy as np
import pytest

from montecarlo.quantities import Array
from montecarlo.secondary.excitation import (
    YIELDS,
    ExcitationTable,
    excitation_table,
    loop_rms,
    settled_offsets,
    sine_power_fundamental,
    start_state,
)

SEED = int(os.environ.get("STATORODDS_TEST_SEED", "20"))
every_table = pytest.mark.parametrize(
    ("bound", "exponent"), [(80.0, 15), (60.0, 9), (30.0, 15), (10.0, 21)]
)


def stops_along(flux: Array, start: Array, coefficients: Array) -> Array:
    """Both stops along a path of fluxes (points, ...), moved and clipped point by point: (points,
    2, ...)."""
    bounds = coefficients[2:]
    slopes = bounds / YIELDS.reshape(2, *(1,) * (bounds.ndim - 1))
    out = [start]
    for step in np.diff(flux, axis=0):
        out.append(np.clip(out[-1] + slopes * step, -bounds, bounds))
    return np.stack(out)


def current(flux: Array, stops: Array, coefficients: Array, exponent: int) -> Array:
    return coefficients[0] * flux + coefficients[1] * flux**exponent + stops.sum(axis=1)


# --- the table ----------------------------------------------------------------


@every_table
def test_the_four_conditions(bound: float, exponent: int) -> None:
    table = excitation_table(bound, exponent)
    ankle = np.linspace(*table.ankle_range, 40)
    coefficients = table.at(ankle)
    assert loop_rms(coefficients, 0.1, exponent) == pytest.approx(
        ankle, abs=2e-5
    )  # between the table's nodes
    assert loop_rms(coefficients, 1.0, exponent) == pytest.approx(1.0, abs=2e-6)
    assert loop_rms(coefficients, 1.1, exponent) == pytest.approx(
        1.5, abs=2e-6
    )  # the knee, IEC 61869-2
    a, b, c1, c2 = coefficients
    assert a * bound / 100 + b * (bound / 100) ** exponent == pytest.approx(c1 + c2, abs=1e-9)
    assert np.all(coefficients >= 0)


def test_loop_rms_is_that_of_a_loop_run_point_by_point() -> None:
    coefficients = excitation_table(80.0, 15).at(0.3)
    for peak in (0.02, 0.1, 0.7, 1.1):
        # three cycles: the last is settled
        flux = peak * np.sin(np.linspace(0, 6 * np.pi, 6001))
        i = current(flux, stops_along(flux, np.zeros(2), coefficients), coefficients, 15)[-2000:]
        assert loop_rms(coefficients, peak, 15) == pytest.approx(np.sqrt(np.mean(i**2)), rel=1e-3)


def test_outside_the_range_there_is_no_curve() -> None:
    table = excitation_table(80.0, 15)
    low, high = table.ankle_range
    assert np.isnan(table.at([low - 1e-6, high + 1e-6])).all()
    assert np.isfinite(table.at([low, high])).all()


@pytest.mark.parametrize("exponent", range(9, 32, 2))
@pytest.mark.parametrize("bound", [1.0, 50.0, 95.0])
def test_every_bound_and_exponent_that_a_study_may_state_has_curves(
    bound: float, exponent: int
) -> None:
    low, high = excitation_table(bound, exponent).ankle_range
    assert 0.05 < low < high < 0.8


def test_where_no_curve_exists_the_range_is_empty() -> None:
    table = excitation_table(80.0, 3)  # too flat to rise by half in the last tenth
    assert np.isnan(table.ankle_range).all()


def test_the_table_is_made_once() -> None:
    assert excitation_table(80.0, 15) is excitation_table(80.0, 15)
    assert isinstance(excitation_table(70.0, 15), ExcitationTable)


def test_worked_coefficients_of_the_prototype() -> None:
    # Regression: exponent 15, remanence bound 80 %, ankle 0.2.
    assert excitation_table(80.0, 15).at(0.2) == pytest.approx(
        [0.678, 0.444, 0.100, 0.458], abs=5e-4
    )


@pytest.mark.parametrize(
    ("bound", "low", "high"),
    [(80.0, 0.141, 0.585), (60.0, 0.134, 0.510), (30.0, 0.118, 0.342), (10.0, 0.100, 0.176)],
)
def test_feasible_ankles_of_the_prototype(bound: float, low: float, high: float) -> None:
    # Regression; the table's nodes stand 0.002 apart.
    assert excitation_table(bound, 15).ankle_range == pytest.approx((low, high), abs=0.0025)


@pytest.mark.parametrize(("peak", "left"), [(1.0, 0.43), (1.2, 0.56)])
def test_flux_that_the_loop_leaves(peak: float, left: float) -> None:
    # Regression, ankle 0.2, bound 80 %: where the current of the falling branch is zero.
    coefficients = excitation_table(80.0, 15).at(0.2)
    flux = np.linspace(peak, 0.0, 4001)
    falling = current(flux, stops_along(flux, coefficients[2:], coefficients), coefficients, 15)
    assert np.interp(0.0, falling[::-1], flux[::-1]) == pytest.approx(left, abs=0.005)


@pytest.mark.parametrize("exponent", [3, 9, 15, 31])
def test_fundamental_of_a_power_of_the_cosine(exponent: int) -> None:
    angle = np.arange(64) * 2 * np.pi / 64  # exact for powers below 63
    assert sine_power_fundamental(exponent) == pytest.approx(
        2 * np.mean(np.cos(angle) ** (exponent + 1)), rel=1e-12
    )


# --- start states -------------------------------------------------------------


def random_cores(n: int, exponent: int) -> tuple[Array, Array]:
    """Coefficients (4, n, 2) and remanence (n, 2), also beyond what the core can hold."""
    rng = np.random.default_rng(SEED)
    table = excitation_table(80.0, exponent)
    return table.at(rng.uniform(*table.ankle_range, (n, 2))), rng.uniform(-1.0, 1.0, (n, 2))


@pytest.mark.parametrize("exponent", [9, 15, 31])
def test_a_core_at_rest_draws_nothing_and_holds_no_more_than_it_can(exponent: int) -> None:
    coefficients, remanence = random_cores(500, exponent)
    flux, stops = start_state(
        np.zeros((500, 2), complex), remanence, coefficients, np.full(2, exponent)
    )
    assert np.abs(current(flux, stops.swapaxes(0, 1), coefficients, exponent)).max() < 1e-12
    assert np.all(np.abs(stops) <= coefficients[2:] * (1 + 1e-12))
    within = np.abs(remanence) <= 0.8
    assert flux[within] == pytest.approx(remanence[within], abs=1e-12)
    assert np.abs(flux).max() == pytest.approx(0.8, abs=1e-9)
    assert np.all(np.sign(flux) == np.sign(remanence))


def test_under_load_the_start_lies_on_a_closed_loop_without_a_mean() -> None:
    coefficients, remanence = random_cores(400, 15)
    rng = np.random.default_rng(SEED + 1)
    load = np.exp(rng.uniform(np.log(0.003), np.log(0.9), (400, 2))) * np.exp(
        2j * np.pi * rng.random((400, 2))
    )
    flux, stops = start_state(load, remanence, coefficients, np.full(2, 15))
    assert np.all(np.abs(stops) <= coefficients[2:] * (1 + 1e-12))
    turning = np.exp(2j * np.pi * np.arange(2001) / 2000)[:, None, None]
    path = flux - load.real + (load * turning).real
    states = stops_along(path, stops, coefficients)
    # the extreme falls between two points
    assert states[-1] == pytest.approx(states[0], abs=2e-5)
    assert np.abs(current(path, states, coefficients, 15)[:-1].mean(axis=0)).max() < 1e-5


@pytest.mark.parametrize("exponent", [9, 31])
def test_settled_mean_by_averaging(exponent: int) -> None:
    """Flux means that nothing forces back: the mean of each stop takes up the mean of the
    anhysteretic branch."""
    coefficients, remanence = random_cores(300, exponent)
    peak = np.random.default_rng(SEED + 2).uniform(0.0, 0.2, remanence.shape)
    mean, offsets = settled_offsets(remanence, peak, coefficients, np.full(2, exponent))
    waves = mean[..., None] + peak[..., None] * np.cos(2 * np.pi * np.arange(64) / 64)
    branch = coefficients[0] * mean + coefficients[1] * (waves**exponent).mean(axis=-1)
    assert offsets.sum(axis=0) == pytest.approx(-branch, abs=1e-9)
    assert np.all(np.abs(mean) <= np.abs(remanence) + 1e-12)


def test_ends_with_different_exponents_do_not_mix() -> None:
    coefficients, remanence = random_cores(50, 15)
    load = np.full((50, 2), 0.05 + 0.02j)
    both = start_state(load, remanence, coefficients, np.array([15, 9]))
    for column, exponent in enumerate((15, 9)):
        alone = start_state(load, remanence, coefficients, np.full(2, exponent))
        assert both[0][:, column] == pytest.approx(alone[0][:, column], abs=1e-12)
        assert both[1][..., column] == pytest.approx(alone[1][..., column], abs=1e-12)


def test_a_core_without_hysteresis_starts_without_flux() -> None:
    coefficients, remanence = random_cores(20, 15)
    coefficients[2:] = 0.0
    flux, stops = start_state(np.zeros((20, 2), complex), remanence, coefficients, np.full(2, 15))
    assert np.abs(flux).max() < 1e-9
    assert not stops.any()
