"""Time to saturation whatever the numbers: it solves its equation, and for the first time; what a
larger core, more remanence and a slower DC component do to it."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from montecarlo.formulas.ct_dimensioning import (
    saturation_factor,
    saturation_time,
    saturation_time_by_formula,
)

ratios = st.floats(0.05, 300.0)
shares = st.floats(0.0, 0.999)  # of 1 + X/R, from which on no core saturates


def flux(angle: np.ndarray, ratio: float) -> np.ndarray:
    return np.asarray(-ratio * np.expm1(-angle / ratio) - np.sin(angle))


@given(ratios, shares)
@settings(deadline=None)
def test_it_solves_its_equation_for_the_first_time(ratio: float, share: float) -> None:
    factor = share * (1 + ratio)
    angle = float(saturation_time(factor, ratio, 1.0))
    assert np.isfinite(angle)
    assert abs(flux(np.array(angle), ratio) - factor) < 1e-9 * (1 + ratio)
    before = flux(np.linspace(0.0, angle, 2001)[:-1], ratio)
    assert np.all(before <= factor + 1e-9 * (1 + ratio))


@given(ratios, shares)
@settings(deadline=None)
def test_the_formula_is_early_by_less_than_a_cycle(ratio: float, share: float) -> None:
    factor = share * (1 + ratio)
    formula = float(saturation_time_by_formula(factor, ratio, 1.0))
    angle = float(saturation_time(factor, ratio, 1.0))
    assert formula <= angle <= formula + 2 * np.pi + 1e-9


@given(ratios, st.floats(0.01, 500.0), st.floats(0.0, 1.0), st.floats(0.0, 1.0))
@settings(deadline=None)
def test_more_remanence_is_never_later(
    ratio: float, knee_v: float, one: float, other: float
) -> None:
    less, more = saturation_factor(knee_v, 10.0, sorted((one, other)))
    for time in (saturation_time, saturation_time_by_formula):
        early, late = time([more, less], ratio, 314.0)
        assert early <= late


@given(st.floats(0.2, 0.9))
@settings(deadline=None)
def test_the_formula_comes_near_for_large_cores(share: float) -> None:
    errors = []
    for ratio in (20.0, 200.0, 2000.0):
        factor = share * (1 + ratio)
        formula = float(saturation_time_by_formula(factor, ratio, 1.0))
        errors.append(float(saturation_time(factor, ratio, 1.0)) / formula - 1)
    assert errors[2] < 0.015
    assert errors[2] <= errors[0] + 0.015
