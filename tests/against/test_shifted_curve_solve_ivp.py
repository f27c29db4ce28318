"""The shifted curve in the transient solution against scipy.integrate.solve_ivp (Radau), on random
circuits.

The rival integrates flux linkages with i_m = I_k (f(m) - f(m_r)) written out, from rest at the
remanent flux; the small loop of the foot is left out (tests/against/test_solve_ivp.py has loops).
Circuits and coefficients are shared, nothing else."""

from __future__ import annotations

import os
from dataclasses import replace

import numpy as np
from scipy.integrate import solve_ivp

from montecarlo.quantities import Array
from montecarlo.secondary.remanence import coefficients_of
from tests.made.secondary_cases import EXPONENT, FREQUENCY_HZ, OMEGA, Circuits, random_circuits

SEED = int(os.environ.get("STATORODDS_TEST_SEED", "20"))
N, AFTER_S, PER_CYCLE = 24, 0.05, 512


def rival(circuits: Circuits, k: int, times: Array) -> Array:
    """(legs, times) [A] of circuit k; `times` begin at 0, when the fault does."""
    bank, table = circuits.bank, circuits.scheme.table
    a, b = bank.coefficients[:2, k]
    ohm = np.diag(bank.series_ohm[k]) + table.T @ np.diag(circuits.leg_ohm[k]) @ table
    knee_wb, knee_a, rest, fault = (
        bank.knee_flux_wb[k],
        bank.knee_current_a[k],
        bank.remanence[k],
        circuits.fault_a[k],
    )

    def f(m: Array) -> Array:
        return a * m + b * m**EXPONENT

    def secondary(t: float, m: Array) -> Array:
        source = (fault * np.exp(1j * OMEGA * t)).real - fault.real * np.exp(
            -t / circuits.decay_s[k]
        )
        return np.asarray(np.sqrt(2) * source / bank.turns[k] - knee_a * (f(m) - f(rest)))

    def rates(t: float, m: Array) -> Array:
        return ohm @ secondary(t, m) / knee_wb

    def jacobian(t: float, m: Array) -> Array:
        return -(ohm * (knee_a * (a + EXPONENT * b * m ** (EXPONENT - 1)))) / knee_wb[:, None]

    answer = solve_ivp(
        rates,
        (0.0, times[-1]),
        rest,
        "Radau",
        t_eval=times,
        jac=jacobian,
        rtol=1e-7,
        atol=1e-8,
        first_step=1e-7,
    )
    assert answer.success
    return np.stack(
        [table @ secondary(t, m) for t, m in zip(times, answer.y.T, strict=True)], axis=1
    )


def test_it_is_the_shifted_curve_that_is_integrated() -> None:
    circuits = random_circuits(SEED, N, "two_phase_one_earth")
    curve = coefficients_of("shifted_curve", 80.0, EXPONENT, np.full((N, 6), 0.2))
    curve[2] = 0.0
    circuits = replace(
        circuits,
        load_a=np.zeros_like(circuits.load_a),
        bank=replace(circuits.bank, coefficients=curve, remanence_model="shifted_curve"),
    )
    assert np.abs(circuits.bank.remanence).max() > 0.7
    trace = circuits.solve(AFTER_S, PER_CYCLE, trace=True).trace[..., PER_CYCLE - 1 :]
    times = np.arange(trace.shape[-1]) / (FREQUENCY_HZ * PER_CYCLE)
    for k in range(N):
        truth = rival(circuits, k, times)
        peak = np.abs(truth).max(axis=-1)
        seen = peak > 1e-3
        assert seen.sum() >= 3
        assert (np.abs(trace[k] - truth).max(axis=-1) / peak)[seen].max() < 0.005
