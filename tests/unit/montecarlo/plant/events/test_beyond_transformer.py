"""Faults beyond the star-delta transformer: against equations of windings and phases, patterns,
limits, waveform."""

import numpy as np
import pytest

from montecarlo.plant.machine import PHASE_ROTATION
from tests.made.events import RATED_A, T, currents_of, event_of, phasor, scene_of

A = np.exp(2j * np.pi / 3)
SEQUENCES = np.array([[1, 1, 1], [1, A**2, A], [1, A, A**2]])
LASTING = {
    "machine.transient_reactance_pu": 0.2,
    "machine.synchronous_reactance_pu": 0.2,
    "machine.armature_time_constant_s": 1e-3,
}
CYCLE = 0.5 + np.arange(160) / 8000
TRANSFORMER = {"transformer_reactance_pu": 0.12}
EARTH, PAIR = "phase_earth_beyond_transformer", "phase_phase_beyond_transformer"
KEYS = {EARTH: TRANSFORMER | {"zero_sequence_reactance_pu": 0.1}, PAIR: TRANSFORMER}


def phase_matrix(zero, positive, negative):
    return SEQUENCES @ np.diag([zero, positive, negative]) @ np.linalg.inv(SEQUENCES)


def windings(kind, phase, grid, line=0.0):
    """What the fault adds to the machine's phases, RMS pu: a delta of three cores, the star's
    phases, a fault.

    By superposition, with U at the fault alone. The delta takes i_a = (I_A - I_C)/sqrt(3), its
    cores give the star (v_a - v_b)/sqrt(3); the transformer's impedance stands on the star side.
    The star's neutral and the grid's zero sequence in parallel are one zero-sequence reactance of
    the grid here."""
    core = (np.eye(3) - np.roll(np.eye(3), 1, axis=1)) / np.sqrt(
        3
    )  # (v_a - v_b)/sqrt(3) for A, ...
    turned = PHASE_ROTATION * np.exp(1j * np.pi / 6)  # voltage of the star's phases
    own = -1j * phase_matrix(0.0, 0.2, 0.21)
    # star: v = core @ (own @ i) - 0.12j I, with i = core.T @ I; so V = star @ I
    star = core @ own @ core.T - 0.12j * np.eye(3)
    zero, one = (0.1, grid) if kind == EARTH else (1e3, grid)
    project = np.eye(3) - np.ones((3, 3)) / 3  # the delta passes no zero sequence
    admit_star = project @ np.linalg.inv(-star + np.ones((3, 3))) @ project
    admit_grid = np.linalg.inv(1j * phase_matrix(zero, one, one))
    bus = np.linalg.inv(admit_star + admit_grid)  # V = -bus @ J, J into the fault
    series = bus + 1j * line * np.eye(3)
    fault = np.zeros(3, complex)
    if kind == EARTH:
        fault[phase] = turned[phase] / series[phase, phase]
    else:
        one_phase, other = (phase + 1) % 3, (phase + 2) % 3
        pair = np.eye(3)[one_phase] - np.eye(3)[other]
        between = pair @ series @ pair
        fault[one_phase] = (turned[one_phase] - turned[other]) / between
        fault[other] = -fault[one_phase]
    return core.T @ (admit_star @ (bus @ fault))


@pytest.mark.parametrize("phase", [0, 1, 2])
@pytest.mark.parametrize("grid", [0.05, 0.5, 1e6])
@pytest.mark.parametrize("line", [0.0, 0.07])
@pytest.mark.parametrize("kind", [EARTH, PAIR])
def test_against_windings_and_phases(kind, phase, grid, line):
    keys = (
        KEYS[kind]
        | {"external_reactance_pu": line}
        | ({"grid_reactance_pu": grid} if grid <= 100 else {})
    )
    out = currents_of(kind, LASTING, t=CYCLE, angle=0.0, phase=phase, **keys)[0]
    assert phasor(out, CYCLE) / RATED_A == pytest.approx(
        windings(kind, phase, grid, line), abs=2e-6
    )


def test_patterns_without_a_grid():
    earth = (
        phasor(currents_of(EARTH, LASTING, t=CYCLE, angle=0.0, **KEYS[EARTH])[0], CYCLE) / RATED_A
    )
    pair = phasor(currents_of(PAIR, LASTING, t=CYCLE, angle=0.0, **KEYS[PAIR])[0], CYCLE) / RATED_A
    # per-unit current of the fault: 3E/(X1 + X2 + X0), sqrt(3)E/(X1 + X2)
    fault = 3 / (0.32 + 0.33 + 0.1)
    assert abs(earth) == pytest.approx(fault * np.array([1, 1, 0]) / np.sqrt(3), abs=1e-6)
    assert earth[1] == pytest.approx(-earth[0], rel=1e-6)
    fault = np.sqrt(3) / (0.32 + 0.33)
    assert abs(pair) == pytest.approx(fault * np.array([1, 1, 2]) / np.sqrt(3), rel=1e-6)
    assert pair[:2] / pair[2] == pytest.approx([-0.5, -0.5], abs=1e-6)


@pytest.mark.parametrize("kind", [EARTH, PAIR])
def test_a_fault_far_into_a_strong_grid_and_one_very_far_away_leave_the_load(kind):
    load = {"load.current_pu": 0.8}
    for keys in (
        {"grid_reactance_pu": 1e-3, "external_reactance_pu": 0.5},
        {"external_reactance_pu": 100.0},
    ):
        out = currents_of(kind, load | LASTING, t=CYCLE, angle=0.0, **KEYS[kind] | keys)[0]
        assert abs(abs(phasor(out, CYCLE)) / RATED_A - 0.8).max() < 0.03


@pytest.mark.parametrize("kind", [EARTH, PAIR])
def test_waveform_is_continuous_sums_to_zero_decays_and_ends_at_zeros(kind):
    rng = np.random.default_rng(5)
    angle, phase, clearing = (
        rng.uniform(0, 6, 20),
        rng.integers(0, 3, 20),
        rng.uniform(0.03, 0.1, 20),
    )
    load = {"load.current_pu": 0.8}
    near = currents_of(
        kind, load, t=np.array([-1e-9, 0.0, 1e-9]), angle=angle, phase=phase, **KEYS[kind]
    )
    assert abs(np.diff(near, axis=-1)).max() < 1e-5 * RATED_A
    whole = currents_of(kind, load, angle=angle, phase=phase, **KEYS[kind])
    assert abs(whole.sum(axis=1)).max() < 1e-9 * RATED_A
    cut = currents_of(
        kind, load | {"own.clearing_time_s": clearing}, angle=angle, phase=phase, **KEYS[kind]
    )
    assert abs(np.diff(cut, axis=-1)).max() <= abs(np.diff(whole, axis=-1)).max()
    assert abs(cut[..., T > 0.16]).max() <= np.sqrt(2) * 0.8 * RATED_A * (1 + 1e-9)
    late = currents_of(kind, {}, t=4 + CYCLE, angle=0.0, **KEYS[kind] | {"clearing_time_s": 5.0})[0]
    early = currents_of(kind, LASTING, t=CYCLE, angle=0.0, **KEYS[kind])[0]
    assert abs(phasor(late, CYCLE)).max() < 0.6 * abs(phasor(early, CYCLE)).max()


def test_by_hand_is_the_first_cycle():
    centre = {
        f"machine.{name}_reactance_pu": x
        for name, x in (("subtransient", 0.2), ("negative_sequence", 0.21))
    }
    for kind, lines in (
        (EARTH, "sqrt(3) x 1 / (0.2 + 0.21 + 2 x 0.12 + 0.1 + 3 x 0)"),
        (PAIR, "2 x 1 / (0.2 + 0.21 + 2 x 0.12 + 2 x 0)"),
    ):
        event = event_of(kind, **KEYS[kind])
        current, words = event.by_hand(centre | {"machine.voltage_factor": 1.0})
        out = event.currents(scene_of(event, LASTING, angle=0.0), CYCLE)[0]
        assert current == pytest.approx(abs(phasor(out, CYCLE)).max() / RATED_A, rel=1e-6)
        assert words == lines
    assert (
        event_of(EARTH, grid_reactance_pu=0.3, **KEYS[EARTH]).by_hand(
            centre | {"machine.voltage_factor": 1}
        )
        is None
    )
