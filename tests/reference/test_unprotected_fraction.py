"""Part of the winding that an earth-fault element leaves unprotected, against worked examples of textbooks.

"Companion": the answer was read from a public solutions companion of the named book. Three formulas occur, x counted
from the neutral: x = IR/V; with a linear winding reactance x^2 V^2 = I^2[R^2 + (xX)^2]; with a linear winding
resistance x = IR/(V - I R_w). Every row is put to the hand formula and to the fault model.
"""

import numpy as np
import pytest

from montecarlo.estimates.handcalc import resistance_for_fraction, unprotected_fraction
from montecarlo.plant.internal import EarthFault, earth_fault
from montecarlo.plant.machine import winding_impedance

OMEGA = 100 * np.pi


def bolted(x, line_v, resistor, reactance=0.0, resistance=0.0) -> EarthFault:
    return earth_fault(x, 0, line_v / np.sqrt(3), winding_impedance(x, resistance, reactance, 1), 0.0,
                       neutral_ohm=resistor, other_neutrals_ohm=np.inf, stator_capacitance_f=0.0,
                       terminal_capacitance_f=0.0, external_capacitance_f=0.0, omega=OMEGA, infeed_share=0.0)


def rated(power_va, line_v):
    return power_va / (np.sqrt(3) * line_v)


# source; line voltage, primary pick-up, resistor, winding resistance; printed per cent, its last digit
FRACTIONS = [
    pytest.param(6600, 0.5 * 200, 7.5, 0.0, 19.68, 0.01, id="Mehta & Mehta Ex 22.2 (companion)"),
    pytest.param(6600, 0.75 * 200, 6.0, 0.0, 23.62, 0.01, id="Mehta & Mehta Ex 22.3 (companion)"),
    pytest.param(11000, 0.75 * 240, 3.0, 0.0, 8.50, 0.01, id="Chakrabarti et al. III Ex 8.2, 3 ohm (companion)"),
    pytest.param(11000, 0.75 * 240, 6.0, 0.0, 17.01, 0.01, id="Chakrabarti et al. III Ex 8.2, 6 ohm (companion)"),
    pytest.param(11000, 0.75 * 240, 12.0, 0.0, 34.01, 0.01, id="Chakrabarti et al. III Ex 8.2, 12 ohm (companion)"),
    pytest.param(6600, 0.3 * rated(5e6, 6600), 6.5, 0.5, 22.8, 0.1, id="Chakrabarti et al. III Ex 8.3 (companion)"),
    pytest.param(10000, 1.0 * 200, 10.0, 0.0, 34.64, 0.01, id="Rao Ex 33.2 (companion)"),
    pytest.param(11000, 0.2 * rated(10e6, 11000), 7.0, 0.0, 11.57, 0.01, id="Rao Ex 33.3 (companion)"),
]


@pytest.mark.parametrize(("line_v", "pickup", "resistor", "winding", "printed", "digit"), FRACTIONS)
def test_unprotected_fraction(line_v, pickup, resistor, winding, printed, digit):
    x = unprotected_fraction(pickup, resistor, line_v / np.sqrt(3), winding_resistance_ohm=winding)
    assert 100 * x == pytest.approx(printed, abs=digit)
    # the fault model at that place carries the pick-up exactly, and at the printed place within its last digit
    assert abs(bolted(x, line_v, resistor, resistance=winding).residual_a) == pytest.approx(pickup, rel=1e-12)
    at_print = abs(bolted(printed / 100, line_v, resistor, resistance=winding).residual_a)
    assert at_print == pytest.approx(pickup, rel=digit / printed)


# source; line voltage, primary pick-up, winding reactance, unprotected fraction; printed resistor
RESISTORS = [
    pytest.param(6600, 175.0, 0.1 * 6600**2 / 10e6, 0.10, 2.177, 0.001, id="Mehta & Mehta Ex 22.1 (companion)"),
    pytest.param(6600, 0.75 * 200, 0.0, 0.10, 2.54, 0.01, id="Mehta & Mehta Ex 22.3 (companion)"),
    pytest.param(6600, 0.2 * rated(10e6, 6600), 0.0, 0.15, 3.27, 0.01, id="Mehta & Mehta Ex 22.4 (companion)"),
    pytest.param(11000, 500.0, 0.1 * 11000**2 / 125e6, 0.10, 1.27, 0.01,
                 id="Chakrabarti et al. III Ex 8.8 (companion)"),
    pytest.param(10000, 1.0 * 200, 0.0, 0.10, 2.887, 0.001, id="Rao Ex 33.2 (companion)"),
    pytest.param(11000, 200.0, 0.15 * 11000 / (np.sqrt(3) * 200), 0.10, 3.14, 0.01, id="Rao Ex 33.5 (companion)"),
]


@pytest.mark.parametrize(("line_v", "pickup", "reactance", "fraction", "printed", "digit"), RESISTORS)
def test_resistance_for_fraction(line_v, pickup, reactance, fraction, printed, digit):
    phase_v = line_v / np.sqrt(3)
    resistor = resistance_for_fraction(fraction, pickup, phase_v, winding_reactance_ohm=reactance)
    assert resistor == pytest.approx(printed, abs=digit)
    assert unprotected_fraction(pickup, resistor, phase_v, winding_reactance_ohm=reactance) == pytest.approx(fraction)
    assert abs(bolted(fraction, line_v, resistor, reactance).residual_a) == pytest.approx(pickup, rel=1e-12)
    at_print = abs(bolted(fraction, line_v, printed, reactance).residual_a)
    assert at_print == pytest.approx(pickup, rel=digit / printed)


# Exact identities (derived): 6.6 kV, 6 ohm, 150 A primary, bolted, position uniform: x0 = 0.236189.
X0 = 150 * 6 / (6600 / np.sqrt(3))


def test_uniform_position_misses_the_unprotected_fraction():
    n = 50_000
    x = (np.arange(n) + 0.5) / n
    missed = np.mean(np.abs(bolted(x, 6600, 6.0).residual_a) < 150)
    assert pytest.approx(0.236189, abs=5e-7) == X0
    assert missed == pytest.approx(X0, abs=1 / n)


def test_symmetrical_independent_tolerances_leave_the_mean():
    nodes, weights = np.polynomial.legendre.leggauss(8)
    resistor, pickup = 6.0 * (1 + 0.10 * nodes[:, None]), 150 * (1 + 0.05 * nodes)
    x = unprotected_fraction(pickup, resistor, 6600 / np.sqrt(3))
    assert weights @ x @ weights / 4 == pytest.approx(X0, rel=1e-12)
    assert abs(bolted(x, 6600, resistor).residual_a) == pytest.approx(np.broadcast_to(pickup, (8, 8)))
