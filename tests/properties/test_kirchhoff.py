"""What holds for any installation: currents balance, phases are alike, currents do not jump."""

import os

import numpy as np
import pytest

from montecarlo.plant.decrement import Decrement, fault_current_rms
from montecarlo.plant.events.through_fault import through_fault
from montecarlo.plant.internal import EarthReturn, earth_fault, phase_fault, phase_phase_earth
from montecarlo.plant.machine import PHASE_ROTATION, winding_impedance

SEED = int(os.environ.get("STATORODDS_TEST_SEED", "20"))
N, OMEGA = 2000, 100 * np.pi


def draw():
    """N random installations, faults and returns."""
    rng = np.random.default_rng(SEED)
    x = rng.uniform(0, 1, N)
    x[:3] = 0.0, 1.0, 1e-9
    other = np.where(rng.uniform(size=N) < 0.5, np.inf, 10 ** rng.uniform(0, 3, N))
    winding = winding_impedance(x, rng.uniform(0, 0.1, N), rng.uniform(0.1, 3, N), 2)
    infeed = np.where(rng.uniform(size=N) < 0.3, np.inf, 1j * rng.uniform(0.1, 5, N))
    fault = np.where(rng.uniform(size=N) < 0.3, 0.0, 10 ** rng.uniform(-1, 3, N))
    place = {
        "x": x,
        "phase": rng.integers(0, 3, N),
        "emf_v": rng.uniform(1e3, 15e3, N),
        "fault_ohm": fault,
    }
    earth = {
        "neutral_ohm": 10 ** rng.uniform(0, 4, N),
        "other_neutrals_ohm": other,
        "stator_capacitance_f": rng.uniform(0, 5e-7, N),
        "terminal_capacitance_f": rng.uniform(0, 5e-7, N),
        "external_capacitance_f": rng.uniform(0, 5e-6, N),
        "omega": OMEGA,
        "infeed_share": rng.uniform(0, 1, N),
    }
    return place, winding, infeed, earth


def earth_faults(place, winding, infeed, earth):
    yield earth_fault(winding_ohm=winding, **place, back=EarthReturn(**earth))
    yield phase_phase_earth(
        machine_ohm=winding, infeed_ohm=infeed, **place, back=EarthReturn(**earth)
    )


def phase_faults(place, winding, infeed, earth):
    keys = {
        name: earth[name]
        for name in ("stator_capacitance_f", "terminal_capacitance_f", "omega", "infeed_share")
    }
    for kind in ("phase_phase", "three_phase"):
        yield phase_fault(kind, machine_ohm=winding, infeed_ohm=infeed, **place, **keys)


def into_zone(ends):
    return ends[..., :3] - ends[..., 3:]


def test_six_currents_sum_to_the_residual():
    place, winding, infeed, earth = draw()
    for fault in earth_faults(place, winding, infeed, earth):
        total = into_zone(fault.end_currents_a).sum(axis=-1)
        scale = abs(fault.end_currents_a).max(axis=-1) + abs(fault.fault_current_a)
        assert (abs(total - fault.residual_a) <= 1e-12 * scale).all()
        # and each end by itself: the neutral's current comes in, the rest of the return goes
        # out
        neutral = -fault.neutral_voltage_v / earth["neutral_ohm"]
        assert (abs(fault.end_currents_a[:, :3].sum(axis=-1) - neutral) <= 1e-12 * scale).all()
        zone = 3j * OMEGA * (earth["stator_capacitance_f"] + earth["terminal_capacitance_f"])
        assert (
            abs(fault.fault_current_a + zone * fault.neutral_voltage_v - fault.residual_a)
            <= 1e-12 * scale
        ).all()


def test_faults_clear_of_earth_leave_no_residual():
    for ends in phase_faults(*draw()):
        scale = abs(ends).max(axis=-1)
        assert (abs(ends[:, :3].sum(axis=-1)) <= 1e-12 * scale).all()
        assert (abs(ends[:, 3:].sum(axis=-1)) <= 1e-12 * scale).all()


def test_no_phase_is_special():
    """The fault one phase on is the same fault, its places moved by one and turned by 120
    degrees."""
    place, winding, infeed, earth = draw()
    moved = place | {"phase": (place["phase"] + 1) % 3}
    here = [fault.end_currents_a for fault in earth_faults(place, winding, infeed, earth)]
    there = [fault.end_currents_a for fault in earth_faults(moved, winding, infeed, earth)]
    here += [next(iter(phase_faults(place, winding, infeed, earth)))]
    there += [next(iter(phase_faults(moved, winding, infeed, earth)))]
    for one, other in zip(here, there, strict=True):
        turned = np.roll(one.reshape(N, 2, 3), 1, axis=-1).reshape(N, 6) * PHASE_ROTATION[1]
        assert (abs(turned - other) <= 1e-9 * abs(one).max(axis=-1, keepdims=True)).all()


def test_earth_fault_current_never_falls_with_position():
    """k = 2 and |1/Y| >= X, which resistance earthing always has: derived from d(x/|Z|)/dx > 0."""
    rng = np.random.default_rng(SEED)
    x = np.linspace(0, 1, 401)
    reactance = rng.uniform(0.1, 3, (N, 1))
    capacitance = 10 ** rng.uniform(-8, -5.5, (3, N, 1))
    current = earth_fault(
        x,
        0,
        6000.0,
        winding_impedance(x, rng.uniform(0, 0.1, (N, 1)), reactance, 2),
        rng.uniform(0, 20, (N, 1)),
        EarthReturn(
            neutral_ohm=reactance * 10 ** rng.uniform(0.1, 2, (N, 1)),
            stator_capacitance_f=capacitance[0],
            terminal_capacitance_f=capacitance[1],
            external_capacitance_f=capacitance[2],
            omega=OMEGA,
            infeed_share=0.0,
        ),
    ).fault_current_a
    assert (np.diff(abs(current), axis=-1) >= 0).all()


def draw_events():
    rng = np.random.default_rng(SEED + 1)
    first = rng.uniform(0.1, 0.3, N)
    machine = Decrement(
        subtransient_reactance_pu=first,
        transient_reactance_pu=first * rng.uniform(1, 2, N),
        synchronous_reactance_pu=first * rng.uniform(2, 8, N),
        negative_sequence_reactance_pu=rng.uniform(0.1, 0.3, N),
        subtransient_time_constant_s=rng.uniform(0.01, 0.1, N),
        transient_time_constant_s=rng.uniform(0.5, 2, N),
        armature_time_constant_s=rng.uniform(0.02, 0.3, N),
    )
    rest = {
        "external_reactance_pu": rng.uniform(0, 1, N),
        "external_resistance_pu": rng.uniform(0, 0.1, N),
        "voltage_factor": rng.uniform(0.9, 1.1, N),
        "load_current_pu": rng.uniform(0, 1.2, N),
        "power_factor": rng.uniform(0, 1, N),
        "point_on_wave_rad": rng.uniform(0, 2 * np.pi, N),
        "pair": rng.integers(0, 3, N),
        "omega": OMEGA,
        "rated_current_a": 1.0,
    }
    return machine, rest


@pytest.mark.parametrize("kind", ["three_phase", "phase_phase"])
def test_through_currents_sum_to_zero_and_do_not_jump(kind):
    machine, rest = draw_events()
    t = np.array([-0.013, -1e-10, 0.0, 1e-10, 0.004, 0.0171])
    out = through_fault(kind, t, machine, clearing_time_s=1.0, **rest)
    assert abs(out.sum(axis=1)).max() < 1e-12
    # 1e-10 s at the steepest fault (some 15 pu, plus the DC component's decay) is 1e-6 pu
    assert abs(np.diff(out[..., 1:4], axis=-1)).max() < 1e-5


def test_ac_component_only_falls_and_the_pair_lies_below_three_phases_where_x2_is_no_smaller():
    machine, rest = draw_events()
    columns = Decrement(**{name: value[:, None] for name, value in vars(machine).items()})
    t, outside = np.linspace(0, 3, 40), rest["external_reactance_pu"][:, None]
    three = fault_current_rms("three_phase", t, 1.0, columns, outside)
    pair = fault_current_rms("phase_phase", t, 1.0, columns, outside)
    assert (np.diff(three, axis=-1) <= 0).all()
    assert (np.diff(pair, axis=-1) <= 0).all()
    larger = machine.negative_sequence_reactance_pu >= machine.subtransient_reactance_pu
    assert (pair[larger, 0] <= np.sqrt(3) / 2 * three[larger, 0] * (1 + 1e-12)).all()
