"""A phase to earth outside the zone: against nodal equations of phases, capacitive currents,
limits, waveform."""

from dataclasses import replace

import numpy as np
import pytest

from montecarlo.plant.internal import EarthReturn, earth_fault
from montecarlo.plant.machine import PHASE_ROTATION
from tests.made.events import BASE_OHM, OMEGA, PHASE_V, T, currents_of, event_of, phasor, scene_of

A = np.exp(2j * np.pi / 3)
SEQUENCES = np.array([[1, 1, 1], [1, A**2, A], [1, A, A**2]])
LASTING = {
    "machine.transient_reactance_pu": 0.2,
    "machine.synchronous_reactance_pu": 0.2,  # no decrement to look at
    "machine.armature_time_constant_s": 1e-3,
}
CYCLE = 0.5 + np.arange(160) / 8000  # the DC part is gone


def phase_matrix(zero, positive, negative):
    """Impedances between phases from those of the sequences."""
    return SEQUENCES @ np.diag([zero, positive, negative]) @ np.linalg.inv(SEQUENCES)


def nodal(phase, *, own, network, neutral, other, capacitance, path, fault):
    """Currents of the machine with an earth fault: nodes and branches of all phases, no sequences
    put together.

    own, network: (Z0, Z1, Z2), network None without one. Unknown: voltages of N, M, three
    terminals, currents of three machine phases, of three network phases (if any), of the fault."""
    emf = PHASE_V * PHASE_ROTATION
    size = 12 if network is not None else 9
    matrix, right = np.zeros((size, size), complex), np.zeros(size, complex)
    neutral_node, terminals, machine = 0, slice(1, 4), slice(4, 7)
    matrix[0, neutral_node], matrix[0, machine] = 1 / neutral, 1  # what leaves N adds to zero
    matrix[1:4, terminals] = 1j * OMEGA * capacitance * np.eye(3)
    matrix[1:4, machine] = -np.eye(3)
    matrix[4:7, neutral_node], matrix[4:7, terminals] = 1, -np.eye(3)
    matrix[4:7, machine] = -phase_matrix(*own)
    right[4:7] = -emf
    flow = 7  # the fault's current
    matrix[1 + phase, flow] = 1
    matrix[flow, 1 + phase], matrix[flow, flow] = 1, -(fault + path)
    matrix[8, 8] = 1
    if network is not None:
        star, feed = 8, slice(9, 12)
        matrix[8, 8], matrix[8, feed] = 1 / other, 1
        matrix[1:4, feed] = -np.eye(3)
        matrix[9:12, star], matrix[9:12, terminals] = 1, -np.eye(3)
        matrix[9:12, feed] = -phase_matrix(*network)
        right[9:12] = -emf
    solution = np.linalg.solve(matrix, right)
    return solution[machine]


@pytest.mark.parametrize("phase", [0, 1, 2])
@pytest.mark.parametrize(
    ("changes", "keys"),
    [
        ({}, {}),
        ({"earthing.resistance_ohm": 0.5}, {"fault_resistance_ohm": 0.3}),
        ({"network.external_capacitance_f": 3e-6}, {}),
        (
            {"network.reactance_pu": 0.4, "earthing.other_neutrals_ohm": 20.0},
            {"external_reactance_pu": 0.05},
        ),
        (
            {
                "network.reactance_pu": 0.1,
                "earthing.other_neutrals_ohm": 1e9,
                "network.external_capacitance_f": 1e-6,
                "earthing.resistance_ohm": 2.0,
            },
            {"fault_resistance_ohm": 5.0},
        ),
    ],
)
def test_against_nodal_equations_of_the_phases(phase, changes, keys):
    out = currents_of("phase_earth", LASTING | changes, t=CYCLE, angle=0.0, phase=phase, **keys)[0]
    network = changes.get("network.reactance_pu")
    bus = {
        "own": tuple(1j * BASE_OHM * x for x in (0.1, 0.2, 0.21)),
        "network": (
            None if network is None else (0.0, 1j * BASE_OHM * network, 1j * BASE_OHM * network)
        ),
        "neutral": changes.get("earthing.resistance_ohm", 31.8),
        "other": changes.get("earthing.other_neutrals_ohm", np.inf),
        "capacitance": changes.get("network.external_capacitance_f", 0.0),
        "path": 1j * BASE_OHM * keys.get("external_reactance_pu", 0.0),
    }
    added = nodal(phase, fault=keys.get("fault_resistance_ohm", 0.0), **bus) - nodal(
        phase, fault=1e12, **bus
    )
    # the model's capacitances lie in the zero sequence only: wCX of 3 uF is 1e-3 in the others
    rough = 3e-3 if bus["capacitance"] else 1e-7
    assert phasor(out[:3], CYCLE) == pytest.approx(added, abs=rough * abs(added).max())
    assert out[3:] == pytest.approx(out[:3], abs=1e-9)  # nothing flows into the zone


def test_an_earthing_transformers_reactance_against_nodal_equations():
    event, ohm = event_of("phase_earth"), np.array([3.0 + 4.0j])
    scene = replace(scene_of(event, LASTING, angle=0.0), neutral_ohm=ohm)
    bus = {
        "own": tuple(1j * BASE_OHM * x for x in (0.1, 0.2, 0.21)),
        "network": None,
        "neutral": ohm[0],
        "other": np.inf,
        "capacitance": 0.0,
        "path": 0.0,
    }
    added = nodal(0, fault=0.0, **bus)
    assert phasor(event.currents(scene, 2 + CYCLE)[0, :3], CYCLE) == pytest.approx(
        added, abs=1e-6 * abs(added).max()
    )


def test_three_e_over_the_series_of_sequences():
    out = currents_of(
        "phase_earth", LASTING | {"earthing.resistance_ohm": 0.7}, t=CYCLE, angle=0.0
    )[0]
    expected = 3 * PHASE_V / (1j * BASE_OHM * (0.2 + 0.21 + 0.1) + 3 * 0.7)
    assert phasor(out[0], CYCLE) == pytest.approx(expected, rel=1e-7)
    assert abs(phasor(out[1:3], CYCLE)).max() < 1e-6 * abs(expected)


@pytest.mark.parametrize(("terminal_f", "amperes"), [(0.0, 1.20), (0.45e-6, 3.89)])
def test_the_zone_itself_feeds_its_capacitive_current(terminal_f, amperes):
    # 3w(C_s + C_z)E by hand: 11 kV, 0.2 uF, and 0.45 uF of surge capacitors inside the zone
    changes = {"machine.stator_capacitance_f": 0.2e-6, "machine.terminal_capacitance_f": terminal_f}
    out = currents_of("phase_earth", LASTING | changes, t=CYCLE, angle=0.0)[0]
    into = phasor(out[:3] - out[3:], CYCLE)
    assert abs(into.sum()) == pytest.approx(amperes, abs=5e-3)
    # by phase, the model of internal faults: half the EMF over the winding, the whole at the
    # terminals, V_N = -E_a
    expected = (
        1j
        * OMEGA
        * PHASE_V
        * (0.2e-6 * (-1 + PHASE_ROTATION / 2) + terminal_f * (-1 + PHASE_ROTATION))
    )
    assert into == pytest.approx(expected, abs=0.01 * amperes)
    assert abs(into[0]) < 0.51 * abs(into[1])  # faulted phase: half the winding


def test_a_neutral_without_current_shifts_by_nothing_where_the_fault_is_far():
    far = currents_of(
        "phase_earth",
        {"machine.stator_capacitance_f": 0.2e-6, "load.current_pu": 0.7},
        fault_resistance_ohm=1e6,
        phase=2,
    )[0]
    quiet = currents_of(
        "phase_earth",
        {"machine.stator_capacitance_f": 0.2e-6, "load.current_pu": 0.7},
        fault_resistance_ohm=1e6,
        clearing_time_s=1e-3,
        phase=2,
    )[0]
    assert far == pytest.approx(quiet, abs=0.02)
    assert abs(phasor((far[:3] - far[3:])[:, T >= 0][:, :160], T[T >= 0][:160]).sum()) < 1e-3


def test_before_the_fault_load_and_healthy_charging():
    changes = {
        "machine.stator_capacitance_f": 0.2e-6,
        "machine.terminal_capacitance_f": 0.1e-6,
        "load.current_pu": 0.7,
        "network.reactance_pu": 0.3,
    }
    event = event_of("phase_earth")
    scene = scene_of(event, changes, angle=0.3)
    before = T < 0
    assert phasor(event.currents(scene, T)[0][:, before], T[before]) == pytest.approx(
        event.before(scene)[0], abs=1e-9
    )
    into = event.before(scene)[0][:3] - event.before(scene)[0][3:]
    assert into == pytest.approx(
        1j * OMEGA * 0.2e-6 * PHASE_V * PHASE_ROTATION * np.exp(0.3j), rel=1e-9
    )


def test_through_current_is_continuous_and_only_the_capacitive_one_jumps():
    changes = {
        "machine.stator_capacitance_f": 0.2e-6,
        "load.current_pu": 0.7,
        "earthing.resistance_ohm": 0.5,
    }
    t = np.array([-1e-9, 0.0, 1e-9])
    out = currents_of(
        "phase_earth", changes, t=t, angle=np.linspace(0, 6, 9), phase=np.arange(9) % 3
    )
    assert abs(np.diff(out[:, :3])).max() < 1e-2
    assert abs(np.diff(out[:, 3:])).max() < 2 * np.sqrt(2) * OMEGA * 0.2e-6 * PHASE_V


def test_decrement_of_a_solidly_earthed_machine_starts_and_ends_where_it_should():
    solid = {"earthing.resistance_ohm": 1e-6, "machine.armature_time_constant_s": 1e-4}
    for decay, t, x in ((1e9, CYCLE, 0.2), (1e-5, 2 + CYCLE, 1.1)):
        changes = solid | {
            f"machine.{name}_time_constant_s": decay for name in ("subtransient", "transient")
        }
        out = currents_of("phase_earth", changes, t=t, angle=0.0)[0]
        assert abs(phasor(out[0], t)) == pytest.approx(
            3 * PHASE_V / (BASE_OHM * (x + 0.21 + 0.1)), rel=1e-4
        )


def test_the_fault_ends_at_zeros_and_load_goes_on():
    rng = np.random.default_rng(4)
    angle, clearing, phase = (
        rng.uniform(0, 6, 30),
        rng.uniform(0.03, 0.1, 30),
        rng.integers(0, 3, 30),
    )
    changes = {
        "machine.stator_capacitance_f": 0.2e-6,
        "load.current_pu": 0.7,
        "earthing.resistance_ohm": 5.0,
        "network.reactance_pu": 0.3,
    }
    cut = currents_of(
        "phase_earth", changes | {"own.clearing_time_s": clearing}, angle=angle, phase=phase
    )
    whole = currents_of("phase_earth", changes, angle=angle, phase=phase)
    load = currents_of(
        "phase_earth", changes | {"own.fault_resistance_ohm": 1e12}, angle=angle, phase=phase
    )
    step = abs(np.diff(whole[:, :3], axis=-1)).max()
    assert abs(np.diff(cut[:, :3], axis=-1)).max() <= step  # no chop
    assert cut[..., -160:] == pytest.approx(load[..., -160:], abs=1e-4)
    before = T <= 0.03
    assert cut[..., before] == pytest.approx(whole[..., before])


# --- the machine's neutral ----------------------------------------------------

NEUTRAL = {
    "machine.stator_capacitance_f": 0.2e-6,
    "machine.terminal_capacitance_f": 0.1e-6,
    "load.current_pu": 0.7,
    "earthing.resistance_ohm": 5.0,
    "network.reactance_pu": 0.3,
    "earthing.other_neutrals_ohm": 8.0,
}


def test_the_neutral_carries_what_the_three_phases_bring_it_until_the_fault_ends():
    event, angle = event_of("phase_earth"), np.linspace(0, 6, 12)
    scene = scene_of(
        event, NEUTRAL | {"own.clearing_time_s": 0.08}, angle=angle, phase=np.arange(12) % 3
    )
    neutral, phases = event.neutral_current(scene, T), event.currents(scene, T)[:, :3].sum(axis=1)
    assert neutral[:, T <= 0.08] == pytest.approx(
        phases[:, T <= 0.08], abs=1e-9 * abs(phases).max()
    )
    assert not neutral[:, T > 0.08 + 0.011].any()  # half a cycle to its zero
    assert abs(np.diff(neutral)).max() <= 1.01 * abs(np.diff(neutral[:, T < 0.08])).max()


@pytest.mark.parametrize("ohm", [31.8, 3.0 + 4.0j])
def test_its_voltage_drives_what_the_zones_capacitance_takes(ohm):
    event = event_of("phase_earth")
    scene = replace(scene_of(event, LASTING | NEUTRAL, angle=0.0), neutral_ohm=np.array([ohm]))
    out = event.currents(scene, 2 + CYCLE)[0]
    voltage = -ohm * phasor(event.neutral_current(scene, 2 + CYCLE)[0], CYCLE)  # V_N = -Z_N I_N
    into = phasor((out[:3] - out[3:]).sum(axis=0), CYCLE)
    assert into == pytest.approx(3j * OMEGA * 0.3e-6 * voltage, rel=1e-6)


def test_a_fault_at_the_terminals_lifts_the_neutral_alike_inside_and_outside_the_zone():
    event, ohm = event_of("phase_earth"), 200.0
    outside = event.neutral_current(
        scene_of(event, LASTING | {"earthing.resistance_ohm": ohm}, angle=0.0), CYCLE
    )[0]
    inside = earth_fault(
        1.0, 0, PHASE_V, 0.0, 0.0, EarthReturn(neutral_ohm=ohm, omega=OMEGA, infeed_share=0.0)
    )
    assert abs(phasor(outside, CYCLE)) == pytest.approx(
        abs(inside.neutral_voltage_v) / ohm, rel=1e-3
    )


def test_an_event_clear_of_earth_has_no_neutral_current():
    event = event_of("three_phase", external_reactance_pu=0.1)
    assert event.neutral_current(scene_of(event), T) is None
