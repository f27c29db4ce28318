"""Stability of circulating-current schemes: V_s, R_st, V_k >= 2 V_s, and the primary operating current."""

import numpy as np
import pytest

from montecarlo.estimates import handcalc


def test_stabilising_voltage_resistance_and_knee():
    # NPTEL, Power System Protection and Switchgear, lecture 28, week 6: 200 MW, 13.8 kV, pf 0.9, 12 times full load,
    # CT 10000/5, R_ct 1.5 ohm, lead 0.3 ohm, setting 10 % of 5 A, relay 1 VA at pick-up.
    through = 12 * 200e6 / (np.sqrt(3) * 13.8e3 * 0.9) / 2000
    voltage = handcalc.stabilising_voltage(through, 1.5, 0.3)
    assert through == pytest.approx(55.78, abs=0.01)
    assert voltage == pytest.approx(100.4, abs=0.1)
    assert handcalc.stabilising_resistance(voltage, 0.5, 1 / 0.5**2) == pytest.approx(196.8, abs=0.1)
    assert handcalc.required_knee(voltage) == pytest.approx(200.8, abs=0.1)


def test_primary_operating_current():
    # Formula N(I_s + n I_exc), common practice, no source; recomputed: 250 A, CT 600/1, I_exc 1 %, n = 4: I_s 0.377 A.
    setting = 250 / 600 - 4 * 0.01
    assert setting == pytest.approx(0.377, abs=5e-4)
    assert handcalc.primary_operating_current(600, setting, 0.01, 4) == pytest.approx(250, rel=1e-12)
    assert handcalc.primary_operating_current(600, 0.377, 0.01, 4) == pytest.approx(250, rel=1e-3)
