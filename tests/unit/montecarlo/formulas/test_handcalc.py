"""Desk formulas beyond the published examples: limits, inverses, and the derived spill of a
balancing resistance."""

import numpy as np
import pytest

from montecarlo.formulas import handcalc


def test_primary_operating_current_by_hand() -> None:
    # worked by hand: 1500 (0.1 + 2 x 0.006) = 168 A; ideal CTs leave N I_set
    assert handcalc.primary_operating_current(1500, 0.1, 0.006, 2) == pytest.approx(168)
    assert handcalc.primary_operating_current(1500, 0.1, 0.0, 6) == pytest.approx(150)


def test_general_fraction_solves_its_equation():
    x = handcalc.unprotected_fraction(
        200.0, 3.0, 3000.0, winding_reactance_ohm=2.0, winding_resistance_ohm=0.7
    )
    assert x * 3000 == pytest.approx(200 * abs(3.0 + x * (0.7 + 2.0j)), rel=1e-12)


def test_fraction_is_not_clipped_and_inf_where_nothing_helps():
    out = handcalc.unprotected_fraction([2000.0, 10.0], 3.0, 3000.0, winding_reactance_ohm=2.0)
    assert out[0] == np.inf
    assert handcalc.unprotected_fraction(10.0, 600.0, 3000.0) == pytest.approx(2.0)
    assert handcalc.unprotected_fraction(100.0, 1.0, 3000.0, winding_resistance_ohm=30.0) == np.inf


def test_arrays_equal_numbers():
    pickup, resistor = np.array([[10.0], [50.0]]), np.array([5.0, 20.0, 100.0])
    out = handcalc.unprotected_fraction(pickup, resistor, 3810.0, winding_reactance_ohm=1.0)
    for i, j in np.ndindex(2, 3):
        assert out[i, j] == handcalc.unprotected_fraction(
            pickup[i, 0], resistor[j], 3810.0, winding_reactance_ohm=1.0
        )


def test_peak_voltage_is_continuous_at_twice_the_knee():
    below, above = handcalc.peak_voltage(200.0, np.array([400.0, 400.0 + 1e-9]))
    assert below == pytest.approx(np.sqrt(2) * 400)
    assert above == pytest.approx(below)
    assert handcalc.peak_voltage(300.0, 5000.0) == pytest.approx(
        2 * np.sqrt(600 * 4700)
    )  # from memory
    assert handcalc.peak_voltage(300.0, 100.0) == pytest.approx(100 * np.sqrt(2))


def star_with_earth_leg(sources, exciting, legs, earth):
    """Leg currents of three current sources, each across half an exciting impedance, into a
    star."""
    half = exciting / 2
    system = np.diag(1 + np.asarray(legs) / half) + earth / half
    return np.linalg.solve(system, np.asarray(sources, complex))


@pytest.mark.parametrize("exciting", [400.0, 300j, 200 + 250j])
@pytest.mark.parametrize("balanced", [False, True])
def test_balancing_spill_is_the_earth_leg_of_the_solved_star(exciting, balanced):
    leg, balancing, earth, spill = 10.0, 35.0, 120.0, 0.8
    sources = spill * np.exp(-2j * np.pi / 3 * np.arange(3)) if balanced else [0.0, -spill, spill]
    legs = star_with_earth_leg(sources, exciting, [leg, balancing, leg], earth)
    out = handcalc.balancing_spill(spill, leg, balancing, earth, exciting)
    assert out == pytest.approx(abs(legs.sum()), rel=1e-12)


def test_balancing_spill_vanishes_with_equal_legs_and_with_ideal_cts():
    assert handcalc.balancing_spill(1.0, 10.0, 10.0, 50.0, 300.0) == 0
    assert handcalc.balancing_spill(1.0, 10.0, 40.0, 50.0, np.inf) == 0
    large = handcalc.balancing_spill(1.0, 10.0, 40.0, 500.0, 1e5)
    assert large == pytest.approx(30 / (5e4 + 1500), rel=2e-3)


def test_a_displacement_pickup_of_five_per_cent_leaves_five_per_cent_of_the_winding():
    # textbook rule; a neutral current element is the same with V = I R_N, and so the
    # differential's formula
    assert handcalc.displacement_fraction(0.05 * 6350.9, 6350.9) == pytest.approx(0.05)
    assert handcalc.displacement_fraction(20 * 31.8, 6350.9) == pytest.approx(
        handcalc.unprotected_fraction(20, 31.8, 6350.9), rel=1e-12
    )


def test_what_a_cycle_reads_of_a_fully_offset_sinusoid() -> None:
    """The fundamental's largest overshoot, over the time constant in cycles, whatever the point on
    wave; worked out independently elsewhere to four digits."""
    t = np.arange(6 * 512) / 512
    turn = np.exp(-2j * np.pi * t)

    def overshoot(cycles: float, angle: float) -> float:
        wave = np.cos(2 * np.pi * t + angle) - np.cos(angle) * np.exp(-t / cycles)
        sums = np.cumsum(wave * turn)
        return float(np.abs(2 / 512 * (sums[512:] - sums[:-512])).max())

    expected = {0.5: 1.1606, 0.655: 1.1662, 1.0: 1.1551, 2.0: 1.1102, 5.0: 1.0549, 10.0: 1.0295}
    angles = np.linspace(0, np.pi / 2, 25)
    found = {cycles: max(overshoot(cycles, angle) for angle in angles) for cycles in expected}
    assert found == pytest.approx(expected, abs=5e-4)
    assert max(found.values()) <= handcalc.OFFSET_READING["fundamental"]
