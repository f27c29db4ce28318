"""The two remanence models: the shifted curve's conditions, start states at rest and under load,
the keys."""

from __future__ import annotations

import os

import numpy as np
import pytest
from scipy.optimize import fsolve

from montecarlo.quantities import Array
from montecarlo.secondary.circuit import build_bank
from montecarlo.secondary.excitation import (
    YIELDS,
    excitation_table,
    loop_rms,
    one_stop_table,
    start_state,
)
from montecarlo.secondary.remanence import coefficients_of, other_model, shifted_start, start_of
from studies.nominal.desk import Desk
from tests.made.said import check_text
from tests.made.studies import REMOVE, faults_of, study_with

SEED = int(os.environ.get("STATORODDS_TEST_SEED", "20"))
SHIFTED = {"ct.remanence_model": "shifted_curve"}


# --- the curve ----------------------------------------------------------------


@pytest.mark.parametrize("exponent", range(9, 32, 2))
def test_three_conditions_and_no_second_stop(exponent: int) -> None:
    ankle = np.linspace(0.14, 0.45, 20)
    coefficients = coefficients_of("shifted_curve", 80.0, exponent, ankle)
    assert loop_rms(coefficients, 0.1, exponent) == pytest.approx(
        ankle, abs=2e-5
    )  # between the table's nodes
    assert loop_rms(coefficients, 1.0, exponent) == pytest.approx(1.0, abs=2e-6)
    assert loop_rms(coefficients, 1.1, exponent) == pytest.approx(
        1.5, abs=2e-6
    )  # the knee, IEC 61869-2
    assert np.all(coefficients[:3] > 0)
    assert not coefficients[3].any()


@pytest.mark.parametrize("exponent", range(9, 32, 2))
def test_without_a_foot_it_is_one_curve_with_two_conditions(exponent: int) -> None:
    """Its lowest ankle: f alone, a and b by a root finder on RMS values of 4096 points."""
    wave = np.cos(2 * np.pi * (np.arange(4096) + 0.5) / 4096)

    def rms(ab: Array, peak: float) -> float:
        return float(
            np.sqrt(np.mean((ab[0] * peak * wave + ab[1] * (peak * wave) ** exponent) ** 2))
        )

    ab = fsolve(lambda x: [rms(x, 1.0) - 1.0, rms(x, 1.1) - 1.5], [1.0, 0.5], xtol=1e-12)
    lowest = one_stop_table(exponent)
    assert 0.07 < rms(ab, 0.1) < 0.1  # the foot that a curve alone would have
    assert lowest.ankle_range[0] == pytest.approx(rms(ab, 0.1), abs=0.0021)
    assert lowest.rows[:2, 0] == pytest.approx(ab, abs=0.02)


@pytest.mark.parametrize("bound", [1.0, 30.0, 80.0, 95.0])
@pytest.mark.parametrize("exponent", range(9, 32, 2))
def test_every_ankle_of_a_core_with_hysteresis_has_a_shifted_curve(
    exponent: int, bound: float
) -> None:
    (low, high), (least, most) = (
        excitation_table(bound, exponent).ankle_range,
        one_stop_table(exponent).ankle_range,
    )
    assert least <= low < high <= most


@pytest.mark.parametrize("ankle", [0.15, 0.2, 0.4])
def test_both_models_saturate_alike(ankle: float) -> None:
    """From 0.8 to 1.3 of the knee voltage within 11 %; below it the shifted curve draws up to 30 %
    less."""
    ratio = [
        float(
            loop_rms(coefficients_of("shifted_curve", 80.0, 15, ankle), flux, 15)
            / loop_rms(coefficients_of("stop_operators", 80.0, 15, ankle), flux, 15)
        )
        for flux in np.linspace(0.5, 1.3, 17)
    ]
    assert min(ratio) > 0.70
    assert np.abs(np.array(ratio[6:]) - 1).max() < 0.11


def test_the_other_model_is_the_other() -> None:
    assert [other_model(model) for model in ("stop_operators", "shifted_curve")] == [
        "shifted_curve",
        "stop_operators",
    ]


# --- start states -------------------------------------------------------------


def cores(n: int, exponent: int) -> tuple[Array, Array]:
    rng = np.random.default_rng(SEED)
    ankle = rng.uniform(0.14, 0.45, (n, 2))
    return coefficients_of("shifted_curve", 80.0, exponent, ankle), rng.uniform(-1.0, 1.0, (n, 2))


@pytest.mark.parametrize("exponent", [9, 15, 31])
def test_a_shifted_core_at_rest_draws_nothing_at_any_flux(exponent: int) -> None:
    coefficients, remanence = cores(300, exponent)
    start = start_of(
        "shifted_curve", np.zeros((300, 2), complex), remanence, coefficients, np.full(2, exponent)
    )
    assert np.array_equal(start.flux, remanence)
    anhysteretic = coefficients[0] * remanence + coefficients[1] * remanence**exponent
    assert start.stops[1] == pytest.approx(-anhysteretic, abs=1e-14)
    assert not start.stops[0].any()  # the foot's loop rests at zero
    assert np.array_equal(start.bounds, [coefficients[2], np.abs(start.stops[1])])
    assert start.slopes[0] == pytest.approx(coefficients[2] / YIELDS[0])
    assert not start.slopes[1].any()


@pytest.mark.parametrize("exponents", [(15, 15), (15, 9)])
def test_under_load_the_shift_takes_the_cycle_mean_away(exponents: tuple[int, int]) -> None:
    coefficients, remanence = cores(300, 15)
    rng = np.random.default_rng(SEED + 1)
    load = rng.uniform(0.0, 0.6, (300, 2)) * np.exp(2j * np.pi * rng.random((300, 2)))
    start = shifted_start(load, remanence, coefficients, np.array(exponents))
    assert start.flux == pytest.approx(remanence + load.real, abs=1e-15)
    turning = np.exp(2j * np.pi * np.arange(128) / 128)[:, None, None]
    m = remanence + (load * turning).real  # 128 points: exact for powers below 128
    current = coefficients[0] * m + coefficients[1] * m ** np.array(exponents) + start.stops[1]
    assert np.abs(current.mean(axis=0)).max() < 1e-12


def test_under_load_the_foot_stands_on_its_loop() -> None:
    """Moved and clipped once round, it comes back to where it started, and its mean is zero."""
    coefficients, remanence = cores(200, 15)
    rng = np.random.default_rng(SEED + 2)
    load = np.exp(rng.uniform(np.log(0.003), np.log(0.6), (200, 2))) * np.exp(
        2j * np.pi * rng.random((200, 2))
    )
    start = start_of("shifted_curve", load, remanence, coefficients, np.full(2, 15))
    path = (load * np.exp(2j * np.pi * np.arange(2001) / 2000)[:, None, None]).real
    states = [start.stops[0]]
    for step in np.diff(path, axis=0):
        states.append(
            np.clip(states[-1] + start.slopes[0] * step, -start.bounds[0], start.bounds[0])
        )
    # the extreme falls between two points
    assert states[-1] == pytest.approx(states[0], abs=2e-5)
    assert np.abs(np.mean(states[:-1], axis=0)).max() < 2e-5


def test_the_default_model_starts_as_before() -> None:
    coefficients = excitation_table(80.0, 15).at(np.full((5, 2), 0.3))
    load, remanence = np.full((5, 2), 0.1 + 0.05j), np.full((5, 2), 0.6)
    start = start_of("stop_operators", load, remanence, coefficients, np.full(2, 15))
    flux, stops = start_state(load, remanence, coefficients, np.full(2, 15))
    assert np.array_equal(start.flux, flux)
    assert np.array_equal(start.stops, stops)
    assert np.array_equal(start.bounds, coefficients[2:])
    assert start.slopes == pytest.approx(coefficients[2:] / YIELDS[:, None, None])


# --- the study file -----------------------------------------------------------


def test_the_bank_has_the_declared_model() -> None:
    for changes, model in (({}, "stop_operators"), (SHIFTED, "shifted_curve")):
        study = study_with(changes)
        bank = build_bank(study.ct, Desk(study).samples, study.machine.omega)
        assert bank.remanence_model == study.ct.at("line_end").remanence_model == model
        assert (np.nanmax(bank.coefficients[3]) == 0) == (model == "shifted_curve")


def test_one_end_cannot_have_a_model_of_its_own() -> None:
    assert faults_of({"ct.line_end": {"remanence_model": "shifted_curve"}}) == (
        "ct.line_end.remanence_model: unknown; it belongs in [ct]",
    )


def test_another_word_is_refused_with_the_two() -> None:
    (fault,) = faults_of({"ct.remanence_model": "jiles"})
    assert fault.startswith(
        'ct.remanence_model: "jiles"; expected "stop_operators" or "shifted_curve"'
    )


def test_a_study_must_be_fit_for_both_models() -> None:
    """So that it can be run again with the other: remanence and ankle keep to what hysteresis can
    have."""
    assert "remanence_bound_percent" in faults_of(SHIFTED | {"ct.remanence_percent": 90})[0]
    assert "must stay within" in faults_of(SHIFTED | {"ct.ankle_ratio": 0.9})[0]


def test_measured_points_keep_their_knee_and_tell_the_misfit() -> None:
    shape = excitation_table(80.0, 15).at(0.25)
    volts = [12.0, 30.0, 75.0, 150.0, 240.0, 300.0, 330.0, 345.0]
    points = {
        "voltage_v": volts,
        "current_a": [0.03 * float(loop_rms(shape, v / 300.0, 15)) for v in volts],
    }
    free = {
        "ct.knee_voltage_v": REMOVE,
        "ct.knee_current_a": REMOVE,
        "ct.excitation_points": points,
    }
    fitted = [study_with(free | changes) for changes in ({}, SHIFTED)]
    knees = [study.ct.at("line_end").knee_voltage_v.centre() for study in fitted]
    assert knees[0] == knees[1] == pytest.approx(300.0, rel=0.01)
    texts = [" ".join(check_text(study).split()) for study in fitted]
    assert "the shifted curve" not in texts[0]
    assert "The shifted curve has the same knee, ankle and exponent. It differs by" in texts[1]


def test_the_hand_calculation_uses_the_model() -> None:
    stops, shifted = (Desk(study_with(changes)) for changes in ({}, SHIFTED))
    assert shifted.exciting_a(150.0) < 0.85 * stops.exciting_a(150.0)
    for same in (30.0, 300.0):  # ankle and knee
        assert shifted.exciting_a(same) == pytest.approx(stops.exciting_a(same), rel=1e-5)
