"""Phasor solutions against scipy: the describing function by quadrature, the circuit's equations by
a dense solver."""

from __future__ import annotations

import os
from dataclasses import dataclass

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.integrate import quad
from scipy.optimize import root

from montecarlo.quantities import Array
from montecarlo.relays.schemes import BUILT_IN, build_scheme
from montecarlo.secondary import steady
from montecarlo.secondary.circuit import CtBank, take
from montecarlo.secondary.excitation import (
    YIELDS,
    excitation_table,
    one_stop_table,
    sine_power_fundamental,
)
from tests.made.secondary_cases import OMEGA, log_uniform

Complex = NDArray[np.complex128]
SEED = int(os.environ.get("STATORODDS_TEST_SEED", "20"))
TOP_FLUX = 1.3
RETURNS = ("neutral_end", "line_end")
TABLES = {
    **{kind: build_scheme(kind).table for kind in BUILT_IN},
    "return cores": build_scheme("two_phase_one_earth").with_return_cores(RETURNS).table,
    "matched": (
        build_scheme("biased").with_return_cores(RETURNS).matched({"neutral_end": 1.37}).table
    ),
    "one CT, one leg": np.ones((1, 1)),
    "seven CTs on one leg": np.array([[1.0, -1.0, 1.0, 0.8, 1.0, -1.0, 0.0]]),
    "three parallel legs": np.ones((3, 2)),
    "twenty by twenty": np.random.default_rng(5).choice([0.0, 0.0, 0.0, 1.0, -1.0, 1.2], (20, 20)),
}


@dataclass(frozen=True, eq=False)
class Networks:
    """n circuits of one table. leg_ohm (n, legs); primary_a (n, ct)."""

    table: Array
    leg_ohm: Array
    bank: CtBank
    primary_a: Complex

    def pick(self, index: object) -> Networks:
        return Networks(
            self.table, self.leg_ohm[index], take(self.bank, index), self.primary_a[index]
        )

    def solve(self) -> steady.Steady:
        return steady.solve(self.table, self.leg_ohm, self.bank, self.primary_a, OMEGA)


def networks(seed: int, n: int, table: Array, *, saturation: float = 1.0) -> Networks:
    """CTs of every ankle, exponent and both remanence models, one in ten ideal; legs 0.05-3000 ohm,
    one in eight without resistance; currents up to 10 A secondary times `saturation`, in every
    second circuit all but balanced."""
    rng = np.random.default_rng(seed)
    legs, places = table.shape
    exponent = rng.choice([9, 11, 15, 25], places)
    coefficients = np.empty((4, n, places))
    for c, power in enumerate(exponent):
        curve = (
            excitation_table(80.0, int(power)) if rng.random() < 0.7 else one_stop_table(int(power))
        )
        low, high = curve.ankle_range
        coefficients[:, :, c] = curve.at(rng.uniform(low, high, n))
    knee_a = log_uniform(rng, 0.01, 0.06, (n, places)) * (rng.random((n, places)) > 0.1)
    bank = CtBank(
        1000.0 * (1 + rng.uniform(-0.01, 0.01, (n, places))),
        rng.uniform(1.0, 10.0, (n, places)),
        np.sqrt(2) * log_uniform(rng, 100.0, 500.0, (n, places)) / OMEGA,
        knee_a,
        coefficients,
        exponent,
        np.zeros((n, places)),
    )
    leg_ohm = log_uniform(rng, 0.05, 3000.0, (n, legs)) * (rng.random((n, legs)) > 0.125)
    amplitude = saturation * 1000.0 * log_uniform(rng, 0.01, 10.0, (n, 1))
    current = rng.standard_normal((n, places)) + 1j * rng.standard_normal((n, places))
    through = np.linalg.pinv(table) @ table  # what drives the legs
    current[::2] -= 0.98 * current[::2] @ through.T
    return Networks(table, leg_ohm, bank, amplitude * current)


# --- the rival ----------------------------------------------------------------


def exciting(m: Complex, coefficients: Array, exponent: NDArray[np.int64]) -> Complex:
    """Exciting current over the knee current, at fluxes m (ct,), with the tangent above TOP_FLUX by
    differences."""
    out = np.empty(m.shape, np.complex128)
    for c, each in enumerate(m):

        def current(peak: float, c: int = c) -> complex:
            y = steady.describing_function(np.array(peak), coefficients[:, c], int(exponent[c]))
            return complex(y * peak)

        peak = max(abs(each), 1e-12)
        value = current(min(peak, TOP_FLUX))
        if peak > TOP_FLUX:
            near, far = (
                (current(TOP_FLUX + h) - current(TOP_FLUX - h)) / (2 * h) for h in (1e-3, 2e-3)
            )
            nearer = (current(TOP_FLUX + 5e-4) - current(TOP_FLUX - 5e-4)) / 1e-3
            once, again = (4 * near - far) / 3, (4 * nearer - near) / 3
            value += (16 * again - once) / 15 * (peak - TOP_FLUX)
        out[c] = value * each / peak
    return out


def rival_flux(case: Networks) -> Complex:
    """The flux of a single circuit by Powell's hybrid method on 2·ct real unknowns, with the
    currents raised to their value step by step."""
    bank = case.bank
    knee_v = OMEGA * bank.knee_flux_wb[0] / np.sqrt(2)
    ohm = np.diag(bank.series_ohm[0]) + case.table.T @ (case.leg_ohm[0][:, None] * case.table)

    def off(x: Array, share: float) -> Array:
        m = x[::2] + 1j * x[1::2]
        source = share * case.primary_a[0] / bank.turns[0]
        current = source - bank.knee_current_a[0] / np.sqrt(2) * exciting(
            m, bank.coefficients[:, 0], bank.exponent
        )
        return (1j * m - ohm @ current / knee_v).view(float)

    x = np.zeros(2 * len(knee_v))
    for share in (0.05, 0.2, 0.4, 0.6, 0.8, 1.0):
        found = root(off, x, args=(share,), tol=1e-13)
        x = found.x
    assert np.abs(off(x, 1.0)).max() < 1e-9, found.message
    return np.asarray(x[::2] + 1j * x[1::2])


# --- tests --------------------------------------------------------------------


@pytest.mark.parametrize("peak", [0.01, 0.0301, 0.1, 0.399, 0.401, 0.8, 1.25])
def test_describing_function_is_the_loop_s_fundamental(peak: float) -> None:
    """The falling branch of each stop integrated over half a cycle, the limit given to the
    quadrature as a corner."""
    coefficients = excitation_table(80.0, 15).at(0.3)

    def falling(angle: float, k: int) -> float:
        top = min(1.0, peak / YIELDS[k])
        return float(coefficients[2 + k] * max(-top, top - peak * (1 - np.cos(angle)) / YIELDS[k]))

    expected = coefficients[0] + coefficients[1] * sine_power_fundamental(15) * peak**14 + 0j
    for k, limit in enumerate(YIELDS):
        corner = [float(np.arccos(1 - 2 * limit / peak))] if peak > limit else None
        for turn, unit in ((np.cos, 1.0), (np.sin, -1j)):
            part, _ = quad(
                lambda t, k=k, turn=turn: falling(t, k) * turn(t),
                0,
                np.pi,
                points=corner,
                epsabs=1e-13,
            )
            expected += unit * 2 / np.pi * part / peak
    assert complex(steady.describing_function(np.array(peak), coefficients, 15)) == pytest.approx(
        expected, rel=1e-9
    )


@pytest.mark.parametrize("name", TABLES)
def test_circuits_against_powell_s_method(name: str) -> None:
    case = networks(SEED + 60, 4 if name == "twenty by twenty" else 24, TABLES[name])
    solved = case.solve()
    for k in range(len(case.bank)):
        assert solved.flux[k] == pytest.approx(rival_flux(case.pick([k])), rel=1e-8, abs=1e-9)
    currents = case.primary_a / case.bank.turns - case.bank.knee_current_a / np.sqrt(2) * np.stack(
        [
            exciting(m, case.bank.coefficients[:, k], case.bank.exponent)
            for k, m in enumerate(solved.flux)
        ]
    )
    assert solved.cts == pytest.approx(currents, rel=1e-8, abs=1e-9)
    assert solved.legs == pytest.approx(solved.cts @ case.table.T, rel=1e-12, abs=1e-14)


def test_the_circuits_reach_from_the_foot_to_deep_saturation() -> None:
    largest = np.concatenate(
        [
            np.abs(networks(SEED + 60, 24, table).solve().flux).max(axis=1)
            for table in TABLES.values()
        ]
    )
    assert np.mean(largest < 0.4) > 0.1
    assert np.mean(largest > TOP_FLUX) > 0.1
