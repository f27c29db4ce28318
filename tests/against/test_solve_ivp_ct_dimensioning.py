"""CT dimensioning against the flux equation of a linear CT, integrated by scipy: a fully offset
current, an ohmic burden, the core's inductance constant."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

from montecarlo.formulas.ct_dimensioning import (
    greatest_transient_factor,
    saturation_time,
    transient_factor,
)


def flux(
    t: NDArray[np.float64], omega: float, primary_s: float, secondary_s: float
) -> NDArray[np.float64]:
    """Over its peak without offset: d psi/dt = w(e^(-t/T_p) - cos wt) - psi/T_s."""
    out = solve_ivp(
        lambda when, psi: (
            omega * (np.exp(-when / primary_s) - np.cos(omega * when)) - psi / secondary_s
        ),
        (0.0, float(t[-1])),
        [0.0],
        method="Radau",
        t_eval=t,
        rtol=1e-9,
        atol=1e-10,
    )
    return np.asarray(out.y[0])


@pytest.mark.parametrize(
    ("primary", "secondary", "hertz", "t", "integrated", "greatest"),
    [
        (0.06, 3.0, 50, 0.02, 5.462, 18.403),
        (0.06, 3.0, 50, 0.1, 15.704, 18.403),
        (0.1, 1.0, 50, 0.04, 10.340, 25.327),
        (0.2, 10.0, 50, 0.1, 24.830, 59.011),
        (0.18, 5.0, 60, 0.05, 16.490, 60.934),
    ],
)
def test_dimensioning_factor(
    primary: float, secondary: float, hertz: float, t: float, integrated: float, greatest: float
) -> None:
    omega = 2 * np.pi * hertz
    last = round(1.2 * np.log(secondary / primary) / (1 / primary - 1 / secondary), 2)
    when = np.unique(np.append(np.linspace(0.0, last, int(last * hertz * 400)), t))
    psi = flux(when, omega, primary, secondary)
    asked = psi[when <= t].max()  # of a core that lasts until t
    assert asked == pytest.approx(integrated, abs=1e-3)
    envelope = transient_factor(when, omega, primary, secondary)
    assert asked < transient_factor(t, omega, primary, secondary) < 1.16 * asked
    assert np.all(psi <= envelope + 0.01)
    most = greatest_transient_factor(omega, primary, secondary)
    assert psi.max() == pytest.approx(greatest, abs=3e-3)
    assert most == pytest.approx(psi.max(), rel=3e-4)


@pytest.mark.parametrize("factor", [1.5, 3.0, 10.0, 13.9, 14.6])
def test_time_to_saturation(factor: float) -> None:
    omega, ratio = 100 * np.pi, 14.0

    def reached(when: float, psi: NDArray[np.float64]) -> float:
        return float(psi[0]) - factor

    reached.terminal = True  # type: ignore[attr-defined]
    reached.direction = 1  # type: ignore[attr-defined]
    out = solve_ivp(
        lambda when, psi: [omega * (np.exp(-when * omega / ratio) - np.cos(omega * when))],
        (0.0, 1.0),
        [0.0],
        events=reached,
        rtol=1e-10,
        atol=1e-10,
        max_step=5e-4,
    )
    assert saturation_time(factor, ratio, omega) == pytest.approx(out.t_events[0][0], rel=1e-6)
