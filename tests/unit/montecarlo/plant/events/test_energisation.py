"""Inrush: against integration of the circuit, the closed form of one core, limits, decay, and what
is refused."""

import numpy as np
import pytest
from pydantic import ValidationError
from scipy.integrate import solve_ivp

from montecarlo.plant.events.energisation import core_currents, inrush
from tests.made.events import OMEGA, RATED_A, T, currents_of, event_of, scene_of

KEYS = {"air_core_reactance_pu": 0.3, "residual_flux_pu": 0.7, "decay_time_constant_s": 0.8}
PEAK = np.sqrt(2) * RATED_A


def one(**keys):
    given = {
        "angle_rad": 0.0,
        "voltage_pu": 1.0,
        "residual_pu": (0.0, 0.0, 0.0),
        "saturation_pu": 1.2,
        "air_core_pu": 0.3,
        "source_pu": 0.2,
        "decay_s": 1e6,
    } | keys
    return {name: np.array([value], float) for name, value in given.items()}


def test_one_core_by_itself_is_the_closed_form():
    t = np.linspace(0, 0.02, 4001)
    # core 12's voltage passes zero at t = 0 going up: flux offset by 1 and by the residual flux
    angle = -np.pi / 2 - np.pi / 6
    lines = inrush(
        t, omega=OMEGA, **one(angle_rad=angle, residual_pu=(1.1, 0.0, 0.0), saturation_pu=2.5)
    )[0]
    assert abs(lines[2]).max() == 0  # cores 23 and 31 stay below 2.5
    assert lines[0] == pytest.approx(-lines[1])
    assert lines[0].max() == pytest.approx(
        (2 + 1.1 - 2.5) / (0.3 + 2 / 3 * 0.2) / np.sqrt(3), rel=1e-5
    )
    assert lines[0].min() == 0


@pytest.mark.parametrize("angle", [-2.0, -0.9, 1.1, 2.6])
def test_against_integration_of_the_lines_and_windings(angle):
    # dL_core/dt = line-to-line voltage less the drop of two lines, solved in the windings'
    # currents; steep but finite slope below saturation; nothing decays without resistance
    source, air, below, saturation = 0.25, 0.3, 1e4, 1.2
    residual = np.array([0.6, -0.6, 0.0])
    # windings from lines
    incidence = np.array([[1, -1, 0], [0, 1, -1], [-1, 0, 1]]) / np.sqrt(3)

    def winding_current(flux):
        beyond = flux - np.clip(flux, -saturation, saturation)
        return beyond / air + (flux - beyond) / below

    def slope(t, core):
        voltages = incidence @ np.cos(OMEGA * t + angle - 2 * np.pi / 3 * np.arange(3))
        # total flux = core + source * (K K^T i), K = incidence: differentiate i(core)
        rate = np.where(abs(core) > saturation, 1 / air, 1 / below)
        return np.linalg.solve(
            np.eye(3) + source * incidence @ incidence.T @ np.diag(rate), OMEGA * voltages
        )

    t = np.linspace(0, 0.04, 401)
    core = solve_ivp(slope, (0, 0.04), residual, t_eval=t, max_step=2e-5, rtol=1e-8).y
    lines = incidence.T @ winding_current(core)
    ours = inrush(t, omega=OMEGA, **one(angle_rad=angle, residual_pu=residual, source_pu=source))[0]
    assert abs(lines).max() > 0.3
    assert ours == pytest.approx(lines, abs=2e-3 * abs(lines).max())


def test_relaxation_has_settled_even_behind_a_weak_source():
    rng = np.random.default_rng(1)
    flux = rng.uniform(-4, 4, (200, 3, 5))
    air, source, saturation = (
        rng.uniform(0.1, 1, 200),
        10 ** rng.uniform(-2, 0.5, 200),
        rng.uniform(1, 1.4, 200),
    )
    i = core_currents(flux, saturation, air, source)
    core = flux - source[:, None, None] / 3 * (3 * i - i.sum(axis=1, keepdims=True))
    limit = saturation[:, None, None]
    assert i == pytest.approx((core - np.clip(core, -limit, limit)) / air[:, None, None], abs=1e-6)


def test_it_starts_at_the_load_sums_to_zero_and_fades():
    rng = np.random.default_rng(2)
    angle, phase = rng.uniform(0, 6, 40), rng.integers(0, 3, 40)
    t = np.arange(-160, 160 * 150) / 8000
    wave = currents_of(
        "transformer_energisation", {"load.current_pu": 0.4}, t=t, angle=angle, phase=phase, **KEYS
    )
    quiet = currents_of(
        "transformer_energisation",
        {"load.current_pu": 0.4},
        t=t,
        angle=angle,
        phase=phase,
        **KEYS
        | {
            "saturation_flux_pu": 2.0,
            "residual_flux_pu": 0.0,
            "air_core_reactance_pu": 99.0,
        },
    )
    added = wave - quiet
    assert abs(added.sum(axis=1)).max() < 1e-9 * PEAK
    assert abs(added[..., t <= 0]).max() == 0
    assert (
        abs(np.diff(added[..., :400], axis=-1)).max() < 0.2 * PEAK
    )  # 8000 points a second: no jump
    cycles = abs(added[..., 160:]).reshape(40, 3, 150, 160).max(axis=(1, 3))
    assert (cycles[:, 0] > 0.3 * PEAK).mean() > 0.9
    assert (cycles[:, -1] < 1e-2 * PEAK).all()
    assert (np.diff(cycles[:, 1:], axis=-1) <= 1e-9 * PEAK).all()


def test_it_is_unipolar_and_rich_in_direct_current():
    wave = currents_of("transformer_energisation", t=T, angle=np.linspace(0, 6, 30), **KEYS)
    cycle = wave[..., 320:480]
    mean, rms = cycle.mean(axis=-1), np.sqrt((cycle**2).mean(axis=-1))
    assert (abs(mean).max(axis=1) > 0.4 * rms.max(axis=1)).mean() > 0.8


def test_network_takes_its_share_and_a_far_transformer_takes_nothing():
    alone = currents_of("transformer_energisation", angle=1.0, external_reactance_pu=5.0, **KEYS)
    shared = currents_of(
        "transformer_energisation",
        {"network.reactance_pu": 0.2},
        angle=1.0,
        external_reactance_pu=5.0,
        **KEYS,
    )
    assert abs(shared).max() / abs(alone).max() == pytest.approx(0.5, rel=0.05)
    far = currents_of("transformer_energisation", angle=1.0, external_reactance_pu=100.0, **KEYS)
    assert abs(far).max() < 0.02 * PEAK


def test_window_and_what_is_refused():
    event = event_of("transformer_energisation", duration_s=2.0, **KEYS)
    assert event.lasts_s(scene_of(event)) == 2.0
    with pytest.raises(ValidationError, match="must stay below saturation_flux_pu"):
        event_of(
            "transformer_energisation",
            **KEYS | {"residual_flux_pu": 1.0, "saturation_flux_pu": 1.0},
        )
    for key, value in (
        ("residual_flux_pu", 1.4),
        ("saturation_flux_pu", 0.9),
        ("air_core_reactance_pu", 0.0),
        ("decay_time_constant_s", 0.0),
        ("duration_s", 0.0),
    ):
        with pytest.raises(ValidationError):
            event_of("transformer_energisation", **KEYS | {key: value})
