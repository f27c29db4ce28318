"""Closing out of phase: the faults that it equals, limits, what is refused."""

import numpy as np
import pytest
from pydantic import ValidationError

from tests.made.events import RATED_A, T, currents_of, event_of, phasor, scene_of

OUTSIDE = {"external_reactance_pu": 0.1, "external_resistance_pu": 0.01}
CYCLE = 0.5 + np.arange(160) / 8000


def test_sixty_degrees_is_the_three_phase_fault_and_opposition_twice_it():
    # 2 sin 30 = 1, 2 sin 90 = 2
    fault = currents_of("three_phase", clearing_time_s=0.1, **OUTSIDE)
    for angle, times in ((60, 1.0), (180, 2.0)):
        out = currents_of("out_of_phase_closing", angle_deg=angle, clearing_time_s=0.1, **OUTSIDE)
        assert out == pytest.approx(times * fault)


def test_two_voltages_at_an_angle_behind_their_reactances():
    lasting = {
        "machine.transient_reactance_pu": 0.2,
        "machine.synchronous_reactance_pu": 0.2,
        "machine.armature_time_constant_s": 1e-3,
    }
    for angle in (10.0, 45.0, 130.0):
        out = currents_of(
            "out_of_phase_closing", lasting, t=CYCLE, angle_deg=angle, external_reactance_pu=0.15
        )[0]
        between = 1.0 - np.exp(1j * np.radians(angle))
        assert abs(phasor(out, CYCLE)) / RATED_A == pytest.approx(
            abs(between) / 0.35 * np.ones(3), rel=1e-6
        )


def test_in_phase_or_far_away_nothing_happens():
    for keys in (
        {"angle_deg": 0, "external_reactance_pu": 0.1},
        {"angle_deg": 180, "external_reactance_pu": 100.0},
    ):
        assert abs(currents_of("out_of_phase_closing", **keys)).max() < 0.06 * RATED_A


def test_nothing_before_continuous_after_and_ends_at_zeros():
    rng = np.random.default_rng(3)
    changes = {"load.current_pu": 0.9, "own.angle_deg": rng.uniform(5, 180, 20)}
    angle, clearing = rng.uniform(0, 6, 20), rng.uniform(0.03, 0.1, 20)
    event = event_of("out_of_phase_closing", angle_deg=90, **OUTSIDE)
    scene = scene_of(event, changes | {"own.clearing_time_s": clearing}, angle=angle)
    out = event.currents(scene, T)
    assert not out[..., T < 0].any()
    assert not event.before(scene).any()
    whole = event.currents(scene_of(event, changes, angle=angle), T)
    assert abs(np.diff(out, axis=-1)).max() <= abs(np.diff(whole, axis=-1)).max()
    assert not out[..., -1].any()
    near = event.currents(scene, np.array([-1e-9, 0.0, 1e-9]))
    assert abs(np.diff(near, axis=-1)).max() < 1e-5 * RATED_A
    assert abs(out.sum(axis=1)[:, T < 0.03]).max() < 1e-9 * RATED_A


def test_by_hand_and_what_is_refused():
    current, words = event_of(
        "out_of_phase_closing",
        angle_deg={"dist": "uniform", "low": 10, "high": 120},
        external_reactance_pu=0.1,
    ).by_hand({"machine.voltage_factor": 1.05, "machine.subtransient_reactance_pu": 0.2})
    assert current == pytest.approx(2 * 1.05 * np.sqrt(3) / 2 / 0.3)
    assert words == "2 x 1.05 x sin(120 deg / 2) / (0.2 + 0.1)"
    for angle in (-1, 181):
        with pytest.raises(ValidationError):
            event_of("out_of_phase_closing", angle_deg=angle, external_reactance_pu=0.1)
