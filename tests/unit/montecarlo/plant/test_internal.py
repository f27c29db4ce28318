"""Internal faults as phasors: limits, the split over the ends, and small networks solved by nodal
equations."""

import numpy as np
import pytest

from montecarlo.plant.internal import (
    EarthReturn,
    charging_currents,
    earth_fault,
    phase_fault,
    phase_phase_earth,
)
from montecarlo.plant.machine import (
    PHASE_ROTATION,
    earth_fault_reactance_pu,
    phase_fault_reactance_pu,
    winding_impedance,
)
from montecarlo.plant.states import load_currents

OMEGA, EMF = 100 * np.pi, 6350.9
NO_CAPACITANCE = {
    "stator_capacitance_f": 0.0,
    "terminal_capacitance_f": 0.0,
    "external_capacitance_f": 0.0,
}
CAPACITANCE = {
    "stator_capacitance_f": 0.3e-6,
    "terminal_capacitance_f": 0.2e-6,
    "external_capacitance_f": 0.5e-6,
}
CLEAR = {
    "stator_capacitance_f": 0.0,
    "terminal_capacitance_f": 0.0,
    "omega": OMEGA,
    "infeed_share": 0.0,
}


def earth(
    x,
    phase=0,
    winding=0.5j,
    fault=0.0,
    neutral=20.0,
    other=np.inf,
    share=0.0,
    capacitance=NO_CAPACITANCE,
):
    return earth_fault(
        x,
        phase,
        EMF,
        winding,
        fault,
        EarthReturn(
            neutral_ohm=neutral,
            other_neutrals_ohm=other,
            omega=OMEGA,
            infeed_share=share,
            **capacitance,
        ),
    )


def into_zone(ends):
    return ends[..., :3] - ends[..., 3:]


# --- winding and load ---------------------------------------------------------


def test_winding_impedance():
    assert winding_impedance(0.5, 0.2, 4.0, 2) == 0.1 + 1j
    assert winding_impedance(0.5, 0.2, 4.0, 1) == 0.1 + 2j
    assert winding_impedance([0.0, 1.0], 0.2, 4.0, 2).tolist() == [0, 0.2 + 4j]


@pytest.mark.parametrize("x", [-1e-9, 1.000001, np.nan, [0.5, np.nan]])
def test_position_outside_the_winding_is_refused(x):
    with pytest.raises(ValueError, match=r"0 \.\.\. 1"):
        winding_impedance(x, 0.1, 1.0, 2)


@pytest.mark.parametrize("phase", [-1, 3, [0, 1, 5]])
def test_phase_that_does_not_exist_is_refused(phase):
    with pytest.raises(ValueError, match="phase"):
        earth(0.5, phase)


def test_fault_reactances():
    assert earth_fault_reactance_pu(0.2, 0.22, 0.09) == pytest.approx(0.17)
    assert phase_fault_reactance_pu([0.2, 0.3], 0.22) == pytest.approx([0.21, 0.26])


def test_load_flows_through_both_ends_and_lags():
    ends = load_currents(0.5, 0.8, 1000.0)
    assert ends[:3] == pytest.approx(ends[3:])
    assert ends[0] == pytest.approx(500 * (0.8 - 0.6j))
    assert ends[1] == pytest.approx(ends[0] * np.exp(-2j * np.pi / 3))
    assert load_currents([0.0, 0.7], 1.0, 1000.0).shape == (2, 6)


# --- earth faults -------------------------------------------------------------


def test_bolted_fault_without_capacitance_is_the_textbook_loop():
    fault = earth(0.4, phase=1, winding=0.0)
    assert fault.fault_current_a == pytest.approx(0.4 * EMF / 20 * PHASE_ROTATION[1])
    assert fault.neutral_voltage_v == pytest.approx(-0.4 * EMF * PHASE_ROTATION[1])
    assert earth(0.0).fault_current_a == 0


@pytest.mark.parametrize("share", [0.0, 0.3, 1.0])
def test_split_of_a_plain_fault(share):
    # derived: the neutral's current in the faulted phase, less what the network takes of its
    # two other sequences
    fault = earth(0.4, phase=2, share=share)
    neutral = -fault.neutral_voltage_v / 20
    expected = neutral * np.array([share / 3, share / 3, 1 - share + share / 3])
    assert fault.end_currents_a[:3] == pytest.approx(expected)
    assert fault.end_currents_a[3:] == pytest.approx(expected - neutral * np.array([0, 0, 1]))


def test_breaker_open_nothing_passes_the_line_end():
    ends = earth(
        0.3, capacitance=CAPACITANCE | {"external_capacitance_f": 0.0}, fault=5.0
    ).end_currents_a
    assert abs(ends[3:]).max() < 1e-12 * abs(ends[:3]).max()


def test_other_neutrals_feed_all_phases_alike():
    # an earthing transformer on the bus: zero sequence only, a third of its current in each
    # phase
    fault = earth(0.6, other=30.0)
    other = -fault.neutral_voltage_v / 30
    assert fault.end_currents_a[3:].sum() == pytest.approx(-other)
    assert fault.end_currents_a[3:] == pytest.approx(-other / 3 * np.ones(3))


def test_charging_current_is_the_fault_free_limit():
    for share in (0.0, 0.4):
        limit = earth(0.0, share=share, capacitance=CAPACITANCE).end_currents_a
        assert charging_currents(EMF, 0.3e-6, 0.2e-6, OMEGA, share) == pytest.approx(limit)
    supplied = charging_currents(EMF, 0.3e-6, 0.2e-6, OMEGA)
    assert supplied[:3].tolist() == [0, 0, 0]
    assert -supplied[3:] == pytest.approx(1j * OMEGA * EMF * (0.15e-6 + 0.2e-6) * PHASE_ROTATION)


def test_earth_fault_broadcasts():
    x, phase = np.linspace(0, 1, 4), np.array([[0], [2]])
    many = earth(
        x, phase, winding=winding_impedance(x, 0.1, 2.0, 2), capacitance=CAPACITANCE, share=0.2
    )
    assert many.end_currents_a.shape == (2, 4, 6)
    for i, j in np.ndindex(2, 4):
        one = earth(
            x[j],
            phase[i, 0],
            winding=winding_impedance(x[j], 0.1, 2.0, 2),
            capacitance=CAPACITANCE,
            share=0.2,
        )
        assert many.end_currents_a[i, j] == pytest.approx(one.end_currents_a)
        assert many.residual_a[i, j] == pytest.approx(one.residual_a)


# --- faults between phases ----------------------------------------------------


def test_without_infeed_the_machine_alone_feeds():
    machine = winding_impedance(0.3, 0.05, 1.5, 2)
    for infeed in (np.inf, complex(0, np.inf), complex(np.nan, np.inf)):
        ends = phase_fault("phase_phase", 0.3, 0, EMF, machine, infeed, 0.7, **CLEAR)
        assert abs(ends[1]) == pytest.approx(np.sqrt(3) * 0.3 * EMF / abs(2 * machine + 0.7))
        assert ends[2] == pytest.approx(-ends[1])
        assert abs(ends[[0, 3, 4, 5]]).max() == 0
    ends = phase_fault("three_phase", 0.3, 0, EMF, machine, np.inf, 0.7, **CLEAR)
    assert ends[:3] == pytest.approx(0.3 * EMF / (machine + 0.7) * PHASE_ROTATION)
    assert abs(ends[3:]).max() == 0


@pytest.mark.parametrize("kind", ["phase_phase", "three_phase"])
@pytest.mark.parametrize("infeed", [2j, np.inf])
@pytest.mark.parametrize("exponent", [1, 2])
def test_nothing_flows_at_the_neutral(kind, infeed, exponent):
    machine = winding_impedance(np.array([0.0, 0.2]), 0.0, 1.5, exponent)
    ends = phase_fault(kind, np.array([0.0, 0.2]), 1, EMF, machine, infeed, 0.0, **CLEAR)
    assert np.isfinite(ends).all()
    assert abs(ends[0]).max() == 0
    assert abs(into_zone(ends[1])).max() > 0


@pytest.mark.parametrize("phase", [0, 1, 2])
def test_phase_phase_fault_with_infeed_solves_the_network(phase):
    """Unknown: network star point and three fault points against the machine's neutral; healthy
    phase uncut."""
    x, machine, infeed, resistance, healthy = 0.35, 0.03 + 0.2j, 0.05 + 1.1j, 0.4, 0.1 + 2.4j
    first, second = (phase + 1) % 3, (phase + 2) % 3
    emf = EMF * PHASE_ROTATION
    system, right = np.zeros((3, 3), complex), np.zeros(3, complex)  # star point, first, second
    for node, p, other in ((1, first, 2), (2, second, 1)):
        system[node, node] = 1 / machine + 1 / infeed + 1 / resistance
        system[node, other] = -1 / resistance
        system[node, 0] = -1 / infeed
        # both sides: x E (network at E)
        right[node] = x * emf[p] / machine + x * emf[p] / infeed
        system[0, 0] += 1 / infeed
        system[0, node] = -1 / infeed
        right[0] -= x * emf[p] / infeed
    system[0, 0] += 1 / healthy  # E against E: no drive
    star, v_first, v_second = np.linalg.solve(system, right)
    ends = phase_fault("phase_phase", x, phase, EMF, machine, infeed, resistance, **CLEAR)
    assert ends[first] == pytest.approx((x * emf[first] - v_first) / machine)
    assert ends[second] == pytest.approx((x * emf[second] - v_second) / machine)
    assert ends[3 + first] == pytest.approx(-(star + x * emf[first] - v_first) / infeed)
    assert ends[3 + second] == pytest.approx(-(star + x * emf[second] - v_second) / infeed)
    assert ends[phase] == ends[3 + phase] == 0
    assert abs(star) < 1e-9 * EMF


@pytest.mark.parametrize("phase", [0, 1, 2])
@pytest.mark.parametrize("resistance", [0.01, 30.0])
def test_phase_phase_earth_solves_the_network(phase, resistance):
    """Breaker open. Unknown: neutral and fault point against earth; capacitances hang on ideal
    windings."""
    x, machine, neutral = 0.6, 0.02 + 0.9j, 15.0
    first, second = (phase + 1) % 3, (phase + 2) % 3
    emf, c = EMF * PHASE_ROTATION, CAPACITANCE
    inside = c["stator_capacitance_f"], c["terminal_capacitance_f"]
    admittance = 1 / neutral + 3j * OMEGA * sum(inside)
    drawn = 1j * OMEGA * (inside[0] / 2 + inside[1]) * emf  # with the neutral at earth
    system = np.array(
        [[admittance + 2 / machine, -2 / machine], [-2 / machine, 2 / machine + 1 / resistance]]
    )
    drive = x * (emf[first] + emf[second]) / machine
    v_neutral, v_fault = np.linalg.solve(system, np.array([-drive - drawn.sum(), drive]))
    expected = drawn + 1j * OMEGA * sum(inside) * v_neutral
    for p in (first, second):
        expected[p] += (v_neutral + x * emf[p] - v_fault) / machine
    fault = phase_phase_earth(
        x,
        phase,
        EMF,
        machine,
        np.inf,
        resistance,
        EarthReturn(
            neutral_ohm=neutral,
            omega=OMEGA,
            infeed_share=0.0,
            **c | {"external_capacitance_f": 0.0},
        ),
    )
    assert fault.neutral_voltage_v == pytest.approx(v_neutral, rel=1e-9)
    assert fault.fault_current_a == pytest.approx(v_fault / resistance, rel=1e-9)
    assert into_zone(fault.end_currents_a) == pytest.approx(expected, rel=1e-9)
    assert fault.end_currents_a[:3] == pytest.approx(
        expected, rel=1e-9
    )  # nothing comes through the line end


def test_phase_phase_earth_without_earth_is_the_bolted_phase_phase_fault():
    none = NO_CAPACITANCE | {
        "omega": OMEGA,
        "infeed_share": 0.3,
        "neutral_ohm": 1e15,
        "other_neutrals_ohm": np.inf,
    }
    fault = phase_phase_earth(0.5, 1, EMF, 0.4j, 1.7j, 0.0, EarthReturn(**none))
    clear = phase_fault("phase_phase", 0.5, 1, EMF, 0.4j, 1.7j, 0.0, **CLEAR)
    assert fault.end_currents_a == pytest.approx(clear, rel=1e-9)
    at_neutral = phase_phase_earth(0.0, 1, EMF, 0.0, np.inf, 0.0, EarthReturn(**none))
    assert abs(at_neutral.end_currents_a).max() == 0


def test_healthy_charging_is_added_to_phase_faults():
    capacitive = {
        "stator_capacitance_f": 0.3e-6,
        "terminal_capacitance_f": 0.2e-6,
        "omega": OMEGA,
        "infeed_share": 0.4,
    }
    clear = CLEAR | {"infeed_share": 0.4}
    for kind in ("phase_phase", "three_phase"):
        with_c, without = (
            phase_fault(kind, 0.5, 2, EMF, 0.4j, 1.7j, 0.1, **keys) for keys in (capacitive, clear)
        )
        assert with_c - without == pytest.approx(
            charging_currents(EMF, 0.3e-6, 0.2e-6, OMEGA, 0.4), abs=1e-9
        )
