"""Neutral earthing against the zone's capacitance: NPTEL, Power System Protection and Switchgear,
lecture 29."""

import numpy as np
import pytest

from montecarlo.formulas.handcalc import capacitive_limit_ohm
from montecarlo.plant.earthing import Earthing, neutral_ohm, return_admittance
from montecarlo.plant.internal import EarthReturn, earth_fault
from montecarlo.quantities import Distribution, number

OMEGA, CAPACITANCE, PHASE_V = (
    100 * np.pi,
    0.25e-6,
    15750 / np.sqrt(3),
)  # 15.75 kV, 0.25 uF a phase, 50 Hz


def test_largest_resistance_is_the_capacitive_reactance():
    limit = capacitive_limit_ohm(OMEGA, CAPACITANCE)
    assert limit == pytest.approx(4244.1, abs=0.1)  # R = 1/(6 pi f C), exact
    assert limit == pytest.approx(4246, rel=6e-4)  # as printed, with pi = 3.14
    assert PHASE_V / limit == pytest.approx(2.14, abs=0.005)
    assert capacitive_limit_ohm(OMEGA, 0.0) == np.inf


def test_at_the_limit_both_return_currents_are_equal():
    limit = capacitive_limit_ohm(OMEGA, CAPACITANCE)
    admittance = return_admittance(limit, np.inf, CAPACITANCE, OMEGA)
    assert admittance.real == pytest.approx(admittance.imag)
    fault = earth_fault(
        1.0,
        0,
        PHASE_V,
        0.0,
        0.0,
        EarthReturn(
            neutral_ohm=limit, stator_capacitance_f=CAPACITANCE, omega=OMEGA, infeed_share=0.0
        ),
    )
    assert abs(fault.residual_a) == pytest.approx(2.14, abs=0.005)  # the resistor's
    assert abs(fault.fault_current_a) == pytest.approx(
        np.sqrt(2) * 2.1426, abs=1e-3
    )  # and the capacitive one


def test_neutrals_stand_in_parallel():
    assert return_admittance(20.0, 30.0, 0.0, OMEGA) == pytest.approx(1 / 12)
    assert return_admittance(20.0, np.inf, 0.0, OMEGA) == 0.05


def resistance(earthing: Earthing, phase_v: float = PHASE_V) -> complex:
    samples = {
        f"earthing.{name}": value.centre()
        for name, value in vars(earthing).items()
        if isinstance(value, Distribution)
    }
    return complex(neutral_ohm(earthing, samples, phase_v))


@pytest.mark.parametrize(
    ("coefficient", "hot"),
    [
        (0.001, 14.08),  # stainless steel; both coefficients from memory
        (0.00012, 8.73),  # aluminium-chromium steel
    ],
)
def test_a_hot_resistor_has_grown_by_its_alloy(coefficient, hot):
    # Rise of 760 K: 10 s and 60 s duty of IEEE Std 32-1972, as quoted in secondary sources.
    earthing = Earthing(
        resistance_ohm=number(8),
        temperature_rise_k=number(760),
        temperature_coefficient_per_k=number(coefficient),
    )
    assert resistance(earthing) == pytest.approx(hot, abs=0.005)


@pytest.mark.parametrize(
    "rise", [760.0, 610.0, 385.0, 375.0]
)  # the same standard: short, extended, continuous duty
def test_heating_of_an_aluminium_chromium_resistor_stays_within_its_tolerance(rise):
    # Resistance tolerance +-10 % (IEEE Std 32-1972, secondary quotation): 0.00012/K does,
    # 0.001/K does not.
    for coefficient, within in ((0.00012, True), (0.001, False)):
        hot = resistance(
            Earthing(
                resistance_ohm=number(1),
                temperature_rise_k=number(rise),
                temperature_coefficient_per_k=number(coefficient),
            )
        )
        assert (abs(hot - 1) <= 0.1) is within


def test_a_limit_in_amperes_and_a_transformer_are_the_resistor_that_they_stand_for():
    # Example of an earthing transformer: 13.8 kV, ratio 7970/240 = 33.2, 0.5 ohm: R n^2
    # (textbook; derived here).
    assert resistance(Earthing(current_limit_a=number(200)), 11e3 / np.sqrt(3)) == pytest.approx(
        31.754, abs=1e-3
    )
    transformer = Earthing(transformer_ratio=33.2, secondary_resistance_ohm=number(0.5))
    assert resistance(transformer) == pytest.approx(551.12)
    own = transformer.model_copy(
        update={
            "transformer_resistance_ohm": number(20),
            "transformer_reactance_ohm": number(60),
            "temperature_rise_k": number(100),
            "temperature_coefficient_per_k": number(0.001),
        }
    )
    # the resistor alone is hot
    assert resistance(own) == pytest.approx(551.12 * 1.1 + 20 + 60j)


def test_another_earthed_neutral_adds_its_current_and_the_line_end_sees_it():
    """Kirchhoff, ideal: 6 kV over 30 ohm gives 200 A; with 20 ohm elsewhere on the bus 300 A more
    return past the line-end CTs, and the neutral end still carries 200 A."""

    def fault(other):
        return earth_fault(
            1.0,
            0,
            6000.0,
            0.0,
            0.0,
            EarthReturn(neutral_ohm=30.0, other_neutrals_ohm=other, omega=OMEGA, infeed_share=0.5),
        )

    for other, total in ((np.inf, 200), (20.0, 500)):
        found = fault(other)
        ends = found.end_currents_a
        assert abs(found.fault_current_a) == pytest.approx(total)
        assert abs(found.residual_a) == pytest.approx(total)
        assert abs(ends[:3].sum()) == pytest.approx(200)
        assert abs(ends[3:].sum()) == pytest.approx(total - 200)


def test_the_side_of_the_surge_capacitors_decides_what_the_cts_see():
    """0.45 uF a phase at the terminals of an 11 kV machine earthed through 5 kohm: inside the zone
    its return current never passes the CTs; outside it does (I_res = -V_N(1/Z_N + 3jwC_e),
    derived)."""
    emf, resistor, surge = 11e3 / np.sqrt(3), 5000.0, 0.45e-6

    def seen(inside, outside):
        found = earth_fault(
            1.0,
            0,
            emf,
            0.0,
            0.0,
            EarthReturn(
                neutral_ohm=resistor,
                terminal_capacitance_f=inside,
                external_capacitance_f=outside,
                omega=OMEGA,
                infeed_share=0.0,
            ),
        )
        ends = found.end_currents_a
        return abs((ends[:3] - ends[3:]).sum()), abs(found.fault_current_a)

    within, total = seen(surge, 0.0)
    beyond, same = seen(0.0, surge)
    assert total == pytest.approx(same)  # the fault does not care
    assert within == pytest.approx(emf / resistor)  # 1.27 A
    assert beyond == pytest.approx(emf * abs(1 / resistor + 3j * OMEGA * surge))  # 2.98 A
