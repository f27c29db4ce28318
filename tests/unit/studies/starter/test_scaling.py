"""What follows from the name-plate, by hand and against the study that is read from it."""

from __future__ import annotations

import cmath
import math

import pytest

from montecarlo.formulas.handcalc import stabilising_resistance, stabilising_voltage
from studies.starter.plate import Plate
from studies.starter.scaling import Scaled

HYDRO = Scaled(Plate(mva=25, kv=11, primary_a=1500))


def test_the_starter_s_own_machine() -> None:
    """Its resistance is 0.0058 pu, its T_a X2/(w R)."""
    own = Scaled(Plate())
    assert own.growth == 1
    assert own.armature_s == pytest.approx(0.22 / (314.159 * 0.0058), rel=1e-4)
    assert own.stator_f == pytest.approx(0.1e-6)
    assert own.earthing_ohm == pytest.approx(6600 / 3**0.5 / 200)


def test_sixteen_times_the_rating_halves_the_losses_and_doubles_the_time_constant() -> None:
    small, large = Scaled(Plate(mva=10)), Scaled(Plate(mva=160))
    assert large.growth == pytest.approx(small.growth / 2)
    assert large.armature_s == pytest.approx(2 * small.armature_s)
    assert large.stator_f == pytest.approx(4 * small.stator_f)
    assert Scaled(Plate(mva=10, hz=60)).armature_s == pytest.approx(small.armature_s / 1.2)


def test_earth_faults_by_hand() -> None:
    """U/sqrt(3) over R + j(X1 + X2 + X0)/3."""
    loop = 0.17 * 121 / 25
    assert HYDRO.earth_fault_a == pytest.approx(
        6350.85 / abs(cmath.rect(31.754, 0) + 1j * loop), rel=1e-4
    )
    assert HYDRO.solid_a == pytest.approx(3 / 0.51 * 1312.16, rel=1e-4)
    charging = 3 * 2 * math.pi * 50 * 1.75 * HYDRO.stator_f * 6350.85
    assert HYDRO.capacitive_a == pytest.approx(charging, rel=1e-4)


def test_a_5_a_ct_has_thicker_wire_and_less_voltage() -> None:
    other = Scaled(Plate(mva=25, kv=11, primary_a=1500, secondary_a=5))
    assert HYDRO.ct_ohm == pytest.approx(3.5 * 1.5**0.7)
    assert other.ct_ohm == pytest.approx(HYDRO.ct_ohm / 2 * 0.2**0.7)
    assert other.knee_v < HYDRO.knee_v / 2
    assert other.knee_a == pytest.approx(5 * HYDRO.knee_a)
    assert other.burden_ohm == pytest.approx(HYDRO.burden_ohm / 25)
    assert other.step_a == pytest.approx(5 * HYDRO.step_a)


def test_the_knee_is_four_fifths_of_the_e_m_f_of_its_class() -> None:
    assert HYDRO.knee_v == pytest.approx(0.8 * 20 * 1 * (HYDRO.ct_ohm + 15))


def test_resistors_are_those_of_the_hand_formula() -> None:
    fault_a = 1312.16 / 0.22 / 1500
    volts = float(stabilising_voltage(fault_a, HYDRO.ct_ohm, 0.74))
    for ohm, setting_a in ((HYDRO.phase_ohm, 0.15), (HYDRO.earth_ohm, 0.05)):
        assert ohm == pytest.approx(
            float(stabilising_resistance(volts, setting_a, relay_ohm=0.0)), rel=0.05
        )


@pytest.mark.parametrize(
    ("earthing_a", "secondary_a", "step_a"),
    [(200, 1, 0.01), (200, 5, 0.05), (5, 1, 0.005), (1000, 1, 0.04), (1000, 5, 0.2)],
)
def test_the_earth_grid_follows_the_earth_fault_in_whole_steps(
    earthing_a: float, secondary_a: float, step_a: float
) -> None:
    """200 A on 1500/1 A are 0.133 A; two fifths in five steps: 0.0107, rounded to 0.01."""
    plate = Plate(mva=25, kv=11, primary_a=1500, secondary_a=secondary_a, earthing_a=earthing_a)
    assert Scaled(plate).earth_step_a == pytest.approx(step_a)
