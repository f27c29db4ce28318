"""Neutral earthing against the zone's capacitance: NPTEL, Power System Protection and Switchgear, lecture 29."""

import numpy as np
import pytest

from montecarlo.estimates.handcalc import capacitive_limit_ohm
from montecarlo.plant.earthing import return_admittance
from montecarlo.plant.internal import earth_fault

OMEGA, CAPACITANCE, PHASE_V = 100 * np.pi, 0.25e-6, 15750 / np.sqrt(3)      # 15.75 kV, 0.25 uF a phase, 50 Hz


def test_largest_resistance_is_the_capacitive_reactance():
    limit = capacitive_limit_ohm(OMEGA, CAPACITANCE)
    assert limit == pytest.approx(4244.1, abs=0.1)              # R = 1/(6 pi f C), exact
    assert limit == pytest.approx(4246, rel=6e-4)               # as printed, with pi = 3.14
    assert PHASE_V / limit == pytest.approx(2.14, abs=0.005)
    assert capacitive_limit_ohm(OMEGA, 0.0) == np.inf


def test_at_the_limit_both_return_currents_are_equal():
    limit = capacitive_limit_ohm(OMEGA, CAPACITANCE)
    admittance = return_admittance(limit, np.inf, CAPACITANCE, OMEGA)
    assert admittance.real == pytest.approx(admittance.imag)
    fault = earth_fault(1.0, 0, PHASE_V, 0.0, 0.0, neutral_ohm=limit, other_neutrals_ohm=np.inf,
                        stator_capacitance_f=CAPACITANCE, terminal_capacitance_f=0.0, external_capacitance_f=0.0,
                        omega=OMEGA, infeed_share=0.0)
    assert abs(fault.residual_a) == pytest.approx(2.14, abs=0.005)                          # the resistor's
    assert abs(fault.fault_current_a) == pytest.approx(np.sqrt(2) * 2.1426, abs=1e-3)       # and the capacitive one


def test_neutrals_stand_in_parallel():
    assert return_admittance(20.0, 30.0, 0.0, OMEGA) == pytest.approx(1 / 12)
    assert return_admittance(20.0, np.inf, 0.0, OMEGA) == 0.05
