"""Part of the winding that an earth-fault element leaves unprotected, against worked examples of
textbooks.

The examples, with their sources, stand in `studies/verify/published/winding.py`. Every one is
put to the hand formula and to the fault model."""

import numpy as np
import pytest

from montecarlo.formulas.handcalc import resistance_for_fraction, unprotected_fraction
from montecarlo.plant.internal import EarthFault, EarthReturn, earth_fault
from montecarlo.plant.machine import winding_impedance
from studies.verify.published.winding import EXAMPLES

OMEGA = 100 * np.pi


def bolted(x, line_v, resistor, reactance=0.0, resistance=0.0) -> EarthFault:
    return earth_fault(
        x,
        0,
        line_v / np.sqrt(3),
        winding_impedance(x, resistance, reactance, 1),
        0.0,
        EarthReturn(neutral_ohm=resistor, omega=OMEGA, infeed_share=0.0),
    )


FRACTIONS, RESISTORS = (
    [pytest.param(one, id=f"{one.source}, {one.place}") for one in EXAMPLES if one.asked == asked]
    for asked in ("percent", "resistor")
)


def test_no_example_was_lost():
    assert (len(FRACTIONS), len(RESISTORS)) == (9, 6)


@pytest.mark.parametrize("one", FRACTIONS)
def test_unprotected_fraction(one):
    x = unprotected_fraction(
        one.pickup_a, one.resistor_ohm, one.phase_v, winding_resistance_ohm=one.winding_ohm
    )
    assert 100 * x == pytest.approx(one.percent, abs=one.digit)
    # the fault model at that place carries the pick-up exactly, and at the printed place within
    # its last digit
    fault = bolted(x, one.line_v, one.resistor_ohm, resistance=one.winding_ohm)
    assert abs(fault.residual_a) == pytest.approx(one.pickup_a, rel=1e-12)
    at_print = abs(
        bolted(
            one.percent / 100, one.line_v, one.resistor_ohm, resistance=one.winding_ohm
        ).residual_a
    )
    assert at_print == pytest.approx(one.pickup_a, rel=one.digit / one.percent)


@pytest.mark.parametrize("one", RESISTORS)
def test_resistance_for_fraction(one):
    fraction, ohm = one.percent / 100, one.reactance_ohm
    resistor = resistance_for_fraction(
        fraction, one.pickup_a, one.phase_v, winding_reactance_ohm=ohm
    )
    assert resistor == pytest.approx(one.resistor_ohm, abs=one.digit)
    again = unprotected_fraction(one.pickup_a, resistor, one.phase_v, winding_reactance_ohm=ohm)
    assert again == pytest.approx(fraction)
    assert abs(bolted(fraction, one.line_v, resistor, ohm).residual_a) == pytest.approx(
        one.pickup_a, rel=1e-12
    )
    at_print = abs(bolted(fraction, one.line_v, one.resistor_ohm, ohm).residual_a)
    assert at_print == pytest.approx(one.pickup_a, rel=one.digit / one.resistor_ohm)


# Exact identities (derived): 6.6 kV, 6 ohm, 150 A primary, bolted, position uniform: x0 =
# 0.236189.
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
    assert abs(bolted(x, 6600, resistor).residual_a) == pytest.approx(
        np.broadcast_to(pickup, (8, 8))
    )
