"""A motor's start: current by hand, against integration of its circuit, run-up, share, what is
refused."""

import numpy as np
import pytest
from pydantic import ValidationError
from scipy.integrate import solve_ivp

from tests.made.events import OMEGA, RATED_A, T, currents_of, event_of, phasor, scene_of

MOTOR = {
    "motor_rating_pu": 0.1,
    "start_ratio": 5.0,
    "start_power_factor": 0.2,
    "run_up_time_s": 4.0,
}
CYCLE = 0.5 + np.arange(160) / 8000


def test_held_current_is_ratio_times_rating_and_lags_as_told():
    out = currents_of("motor_start", {"machine.voltage_factor": 1.04}, t=CYCLE, angle=0.0, **MOTOR)[
        0
    ]
    expected = (
        0.1 * 5.0 * 1.04 * RATED_A * np.exp(-1j * (np.arccos(0.2) + 2 * np.pi / 3 * np.arange(3)))
    )
    assert phasor(out, CYCLE) == pytest.approx(expected, rel=1e-6)
    event = event_of("motor_start", **MOTOR)
    assert event.by_hand({"machine.voltage_factor": 1.04}) == (
        pytest.approx(0.52),
        "5 x 0.1 x 1.04",
    )


def test_against_integration_of_a_locked_rotor():
    # L di/dt + R i = v with L/R the DC component's time constant and the power factor that goes
    # with it
    direct = 0.03
    factor = 1 / np.hypot(1, OMEGA * direct)
    peak, angle, z = 0.1 * 5.0 * np.sqrt(2) * RATED_A, 0.7, np.hypot(1, OMEGA * direct)
    t = np.linspace(0, 0.1, 801)
    exact = solve_ivp(
        lambda t, i: (z * peak * np.cos(OMEGA * t + angle) - i) / direct,
        (0, 0.1),
        [0.0],
        t_eval=t,
        rtol=1e-9,
        atol=1e-6,
    ).y[0]
    out = currents_of(
        "motor_start",
        t=t,
        angle=angle,
        **MOTOR | {"start_power_factor": factor, "direct_time_constant_s": direct},
    )[0]
    assert out[0] == pytest.approx(exact, abs=1e-5 * peak)


def test_after_the_run_up_only_load_is_left():
    load, keys = (
        {"load.current_pu": 0.5},
        MOTOR
        | {
            "run_up_time_s": 0.1,
            "direct_time_constant_s": 0.005,
        },
    )
    out = currents_of("motor_start", load, **keys)[0]
    quiet = currents_of("motor_start", load, **keys | {"motor_rating_pu": 1e-9})[0]
    assert out[:, T > 0.111] == pytest.approx(quiet[:, T > 0.111], abs=1e-5 * RATED_A)
    assert out[:, T <= 0] == pytest.approx(quiet[:, T <= 0], abs=1e-5 * RATED_A)
    assert abs(out - quiet)[:, (T > 0.05) & (T < 0.1)].max() > 0.6 * RATED_A
    assert abs(np.diff(out)).max() < 0.1 * RATED_A  # 8000 points a second: no jump
    assert abs(out.sum(axis=0)).max() < 1e-9 * RATED_A


def test_the_network_takes_its_share():
    alone = currents_of("motor_start", **MOTOR)
    assert currents_of("motor_start", {"network.reactance_pu": 0.2}, **MOTOR) == pytest.approx(
        alone / 2
    )


def test_window_and_what_is_refused():
    event = event_of("motor_start", **MOTOR)
    assert event.lasts_s(scene_of(event)) == 0.5
    for key, value in (
        ("motor_rating_pu", 0.0),
        ("start_ratio", 40.0),
        ("start_power_factor", 1.2),
        ("run_up_time_s", 0.0),
        ("duration_s", 11.0),
    ):
        with pytest.raises(ValidationError):
            event_of("motor_start", **MOTOR | {key: value})
