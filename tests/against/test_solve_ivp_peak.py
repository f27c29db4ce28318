"""The simulated peak voltage against scipy.integrate.solve_ivp (Radau, tight): one phase, two
cores, written anew.

Single-valued core i = I_k m^15, both ends' CTs in parallel across the leg, the fault fed from the
neutral end, offset that decays. Flux linkages of both cores in webers; the voltage from the
solution's own dense output."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from montecarlo.secondary import peak
from tests.made.secondary_cases import FREQUENCY_HZ, OMEGA
from tests.unit.studies.nominal.test_peak import KNEE_V, PER_PHASE, SERIES_OHM, bank, neutral_end

END_S = peak.CYCLES / FREQUENCY_HZ


def rival(current_a: float, angle: float, decay_s: float, leg_ohm: float, knee_a: float) -> float:
    """Highest leg voltage of the first cycles. [V]"""
    knee_wb, crest = np.sqrt(2) * KNEE_V / OMEGA, np.sqrt(2) * current_a

    def leg(t: np.ndarray, flux: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        source = crest * (np.cos(OMEGA * t + angle) - np.cos(angle) * np.exp(-t / decay_s))
        near, far = source - knee_a * (flux[0] / knee_wb) ** 15, -knee_a * (flux[1] / knee_wb) ** 15
        return near, far, (near - far) * leg_ohm

    def rates(t: float, flux: np.ndarray) -> list[float]:
        near, far, volts = leg(np.asarray(t), flux)
        return [SERIES_OHM * near + volts, SERIES_OHM * far - volts]

    answer = solve_ivp(
        rates, (0.0, END_S), [0.0, 0.0], "Radau", rtol=1e-8, atol=1e-10, dense_output=True
    )
    assert answer.success
    t = np.linspace(0.0, END_S, 60_001)
    return float(np.abs(leg(t, answer.sol(t))[2]).max())


@pytest.mark.parametrize("ratio", [0.5, 1.5, 4.0, 20.0])
@pytest.mark.parametrize(("leg_ohm", "decay_s"), [(50.0, 0.1), (2000.0, 0.1), (2000.0, 0.003)])
def test_the_peak_agrees(ratio: float, leg_ohm: float, decay_s: float) -> None:
    current, angle = ratio * KNEE_V / (leg_ohm + SERIES_OHM), 0.4 + ratio
    knee_a = 0.03
    core = bank(1, knee_a=knee_a, steep=15)
    out = peak.simulate(
        PER_PHASE.table,
        np.full((1, 3), leg_ohm),
        core,
        neutral_end(np.array([current]), np.array([np.exp(1j * angle), 0, 0])),
        np.array([decay_s]),
        np.ones(3, bool),
        FREQUENCY_HZ,
    )
    assert out.max() == pytest.approx(rival(current, angle, decay_s, leg_ohm, knee_a), rel=0.01)
