"""RMS current of a non-linear resistor: against quadrature, by hand, and its limit."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import quad

from montecarlo.relays.nonlinear import limited_peak, rms_current


@pytest.mark.parametrize("beta", [0.02, 0.1, 0.2, 0.25, 0.5, 0.7, 1.0])
def test_the_current_is_the_rms_of_the_waveform(beta: float) -> None:
    volts, c = 100.0, 150.0

    def square(angle: float) -> float:
        return float((np.sqrt(2) * volts * np.sin(angle) / c) ** (2 / beta))

    mean = quad(square, 0, np.pi / 2, epsabs=0, epsrel=1e-11)[0] / (np.pi / 2)
    assert float(rms_current(volts, c, beta)) == pytest.approx(np.sqrt(mean), rel=1e-9)


def test_a_quarter_by_hand() -> None:
    """RMS of sin^4 is root of 35/128; 141.42 V over 450 V, to the fourth, a peak of 9.7546 mA."""
    by_hand = (100 * 2**0.5 / 450) ** 4 * (35 / 128) ** 0.5
    assert by_hand == pytest.approx(5.1008e-3, rel=1e-4)
    assert float(rms_current(100.0, 450.0, 0.25)) == pytest.approx(by_hand, rel=1e-12)


def test_no_voltage_no_current_and_no_overflow() -> None:
    assert float(rms_current(0.0, 450.0, 0.25)) == 0
    assert float(rms_current(1e6, 1.0, 0.01)) == np.inf


def test_the_limited_peak_is_the_characteristic() -> None:
    assert float(limited_peak(8 / 2**0.5, 450.0, 1 / 3)) == pytest.approx(900.0)
