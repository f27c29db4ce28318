"""IEC 60909 currents of a generator of the IEC TR 60909-4 network against an open network library's
tests."""

from dataclasses import replace

import numpy as np
import pytest

from montecarlo.formulas import iec60909
from studies.verify.published.machine import G2

# Generator G2 of the example network: 100 MVA, 10.5 kV, x'' 0.16, R 0.005 ohm, cos phi 0.9, p_G
# 7.5 %, U_n 10 kV, as encoded in pandapower's tests (test/shortcircuit/test_iec60909_4.py).
HELD = G2


def test_terminal_fault():
    # the same file: I''k 39.5042 kA, i_p 104.1085 kA, kappa 1.8635, I_b 27.3470 kA at t_min 0.1
    # s.
    initial = iec60909.initial_current(HELD)
    factor = iec60909.peak_factor(HELD)
    assert initial == pytest.approx(39504.2, abs=0.05)
    assert factor == pytest.approx(1.8635, abs=5e-5)
    assert iec60909.peak_current(factor, initial) == pytest.approx(104108.5, abs=0.1)
    assert iec60909.breaking_current(HELD, 0.1) == pytest.approx(27347.0, abs=0.1)


def test_terminal_fault_without_the_held_voltage():
    # Worked by hand: K_G = 10/10.5 x 1.1/(1 + 0.16 sin phi) = 0.9793; 11/(sqrt(3) 0.9793 |0.005
    # + j0.1764|) = 36.75 kA
    plain = replace(G2, operating_voltage_factor=1.0)
    assert plain.correction == pytest.approx(0.9793, abs=1e-4)
    assert iec60909.initial_current(plain) == pytest.approx(36750, abs=5)


def test_fault_beyond_an_impedance():
    # The same file, test_iec_60909_4_3ph_2gen_no_ps_detection: G2 alone on 110 kV through its
    # transformer (100 MVA, 120/10.5 kV, 12 %, 0.5 %; K_T = 0.95 c/(1 + 0.6 x_T)) 1.8460 kA,
    # behind 10 km of line (0.12 + j0.39 ohm/km) more 1.6715 kA. All on the 10.5 kV side here;
    # U_n of 110 kV is 9.625 kV there, while K_G keeps its 10 kV.
    ratio = 120 / 10.5
    short = 0.005 + 1j * np.sqrt(0.12**2 - 0.005**2)
    transformer = 0.95 * 1.1 / (1 + 0.6 * short.imag) * short * 10.5e3**2 / 100e6
    line = 10 * (0.12 + 0.39j) / ratio**2
    current = iec60909.initial_current(HELD, np.array([transformer, transformer + line]))
    assert current * (110 / ratio / 10) / ratio == pytest.approx([1846.0, 1671.5], abs=0.06)


def test_fault_beyond_the_transformer_of_a_power_station_unit():
    # The same file, test_iec_60909_4_3ph_small_gen_only: 1.9755 kA. Worked by hand: K_SO =
    # 110/(10.5 x 1.075) x 10.5/120 x 1.1/(1 + 0.16 x 0.4359) = 0.8768; Z = (120/10.5)^2 (0.005
    # + j0.1764) + 0.72 + j17.265 = 1.373 + j40.306
    ratio, ohm = 120 / 10.5, (0.005 + 1j * np.sqrt(0.12**2 - 0.005**2)) * 120e3**2 / 100e6
    current = iec60909.station_unit_current(HELD, ohm, ratio, 110e3)
    assert current == pytest.approx(1.1 * 110e3 / (np.sqrt(3) * 0.8768 * 40.329), rel=1e-4)
    assert current == pytest.approx(1975.5, abs=0.1)
    # K_SO is one for both, so that the plain path (K_G and K_T each on its own) gives another
    # current: 1.8460 kA
    assert current > 1.05 * 1846.0


def test_a_distant_fault_does_not_decay():
    # 4.5.2.1: mu = 1 where I''k is at most twice the rated current. mu at t_min of the curves:
    # eq. (70) by hand at 4.
    assert (iec60909.breaking_factor([0.5, 2.0], 0.1) == 1).all()
    assert iec60909.breaking_factor(4.0, [0.02, 0.05, 0.1, 0.25, 3.0]) == pytest.approx(
        [0.9319, 0.8636, 0.8202, 0.7656, 0.7656], abs=1e-4
    )
    assert iec60909.breaking_factor(4.0, 0.075) == pytest.approx((0.8636 + 0.8202) / 2, abs=1e-4)
    just_above = iec60909.breaking_factor(
        2.0001, [0.02, 0.05, 0.1, 0.25]
    )  # the curves start at 1 there
    assert just_above == pytest.approx(np.ones(4), abs=0.011)
    assert (just_above < 1).all()
    with pytest.raises(ValueError, match=r"0\.02 s or more"):
        iec60909.breaking_factor(4.0, 0.01)
