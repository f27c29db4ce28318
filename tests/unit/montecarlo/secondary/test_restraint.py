"""What biased elements compare with their pick-up, and what the two solutions make of it."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
from numpy.typing import NDArray

from montecarlo.quantities import Array
from montecarlo.relays.schemes import build_scheme
from montecarlo.secondary import steady, transient
from montecarlo.secondary.circuit import CtBank
from montecarlo.secondary.measurement import Measurement
from montecarlo.secondary.restraint import (
    GREATER_OF,
    NO_BIAS,
    SUM,
    Bias,
    Form,
    bias_current,
    operating_quantity,
)
from montecarlo.secondary.steady import Steady
from tests.made.secondary_cases import FREQUENCY_HZ, OMEGA, random_bank

SCHEME = build_scheme("biased")
BIAS = tuple(element.bias for element in SCHEME.elements)
SENSES = ((1.0, -1.0),) * len(BIAS)
# of two ends a residual pair is the mean of them
KINDS = ("mean", "sum", "largest", "vector_mean", "scalar_product", "residual_pair")


# --- the formula --------------------------------------------------------------


def test_two_slopes_meet_at_the_break() -> None:
    form = Bias(0.1, 0.5, 2.0).form(SUM)
    bias = np.array([0.0, 1.0, 2.0 - 1e-9, 2.0, 2.0 + 1e-9, 4.0])
    restraint = 10.0 - operating_quantity(np.full(6, 10.0), bias, form)
    assert restraint == pytest.approx([0.0, 0.1, 0.2, 0.2, 0.2, 1.2], abs=1e-8)


def test_equal_slopes_are_one_slope() -> None:
    bias, difference = np.random.default_rng(1).uniform(0, 5, (2, 100))
    for which in (SUM, GREATER_OF):
        one = operating_quantity(difference, bias, Bias(0.3).form(which))
        assert np.array_equal(
            one, operating_quantity(difference, bias, Bias(0.3, 0.3, 1.5).form(which))
        )


def test_the_forms_at_zero_slope_are_the_difference() -> None:
    bias, difference = np.random.default_rng(2).uniform(0, 5, (2, 100))
    for form in (NO_BIAS, Bias(0.0).form(SUM), Bias(0.0).form(GREATER_OF)):
        assert np.array_equal(operating_quantity(difference, bias, form), difference)


def test_greater_of_is_all_or_nothing_and_never_below_the_sum() -> None:
    bias, difference = np.random.default_rng(3).uniform(0, 5, (2, 1000))
    slopes = Bias(0.4, 0.9, 2.0)
    either = operating_quantity(difference, bias, slopes.form(GREATER_OF))
    restraint = 0.4 * bias + 0.5 * np.maximum(bias - 2.0, 0.0)
    assert np.array_equal(either, np.where(difference > restraint, difference, 0.0))
    assert np.all(either >= operating_quantity(difference, bias, slopes.form(SUM)))


def test_scaling_currents_and_break_scales_the_quantity() -> None:
    bias, difference = np.random.default_rng(4).uniform(0, 5, (2, 100))
    for which in (SUM, GREATER_OF):
        plain = operating_quantity(difference, bias, Bias(0.2, 0.6, 1.5).form(which))
        assert operating_quantity(
            3 * difference, 3 * bias, Bias(0.2, 0.6, 4.5).form(which)
        ) == pytest.approx(3 * plain)


def test_not_a_number_stays() -> None:
    bad = np.array([np.nan, 1.0])
    for which in (SUM, GREATER_OF):
        assert np.isnan(operating_quantity(bad, bad[::-1].copy(), Bias(0.2).form(which))).all()


def test_mean_sum_and_largest() -> None:
    ends = np.array([[3.0, 1.0], [0.0, 2.0]])
    assert bias_current(ends, "mean") == pytest.approx([2.0, 1.0])
    assert bias_current(ends, "sum") == pytest.approx([4.0, 2.0])
    assert bias_current(ends, "largest") == pytest.approx([3.0, 2.0])


@pytest.mark.parametrize(
    ("kind", "expected"),
    [
        ("mean", 0.7),
        ("sum", 1.4),
        ("largest", 1.0),
        ("vector_mean", 1.56**0.5 / 2),
        ("scalar_product", 0.2**0.5),
        ("residual_pair", 0.7),
    ],
)
def test_two_ends_of_which_one_turns(kind: str, expected: float) -> None:
    """1 A and 0.4 A at 60 degrees: |I1 + I2|² = 1.56, |I1 - I2|² = 0.76, product 0.2 (by hand)."""
    ends = np.zeros((1, 6), complex)
    ends[0, [0, 3]] = 1.0, 0.4 * np.exp(1j * np.pi / 3)
    legs = ends[:, :3] - ends[:, 3:]
    wanted = Measurement(
        legs=SCHEME.watch,
        bias=BIAS,
        senses=SENSES,
        bias_current=(kind,) * len(BIAS),
        forms=(NO_BIAS, Bias(1.0).form(SUM)),
    )
    difference, margin = Steady(legs, ends, 0 * ends).quantities(wanted)[0, 0]
    assert difference == pytest.approx(0.76**0.5)
    assert difference - margin == pytest.approx(expected)


@pytest.mark.parametrize("kind", KINDS)
def test_bias_of_currents_that_one_end_feeds_alone(kind: str) -> None:
    fed = {"sum": 1.0, "largest": 1.0, "scalar_product": 0.0}
    assert bias_current(np.array([[1.0, 0.0]]), kind) == pytest.approx([fed.get(kind, 0.5)])
    through = {"sum": 2.0}.get(kind, 1.0)
    assert bias_current(np.array([[1.0, 1.0]]), kind) == pytest.approx([through])


# --- through the solutions ----------------------------------------------------


def internal_faults(n: int, seed: int) -> NDArray[np.complex128]:
    """Load of 0.3-1 A secondary and another current in one phase's neutral end; (n, 6) primary RMS
    at 1000/1."""
    rng = np.random.default_rng(seed)
    load = 1000 * rng.uniform(0.3, 1.0, (n, 1)) * np.exp(2j * np.pi * rng.random((n, 1)))
    current = load * np.tile(np.exp(-2j * np.pi / 3 * np.arange(3)), 2)
    current[np.arange(n), np.arange(n) % 3] += (
        1000 * rng.uniform(0.1, 3.0, n) * np.exp(2j * np.pi * rng.random(n))
    )
    return current


def settled(
    bank: CtBank, primary: NDArray[np.complex128], wanted: Measurement
) -> tuple[Array, Array]:
    """The quantities by phasors, and what the transient solution sustains over a long delay: (n,
    elements, forms)."""
    ohm, n = np.full((len(bank), 3), 0.5), len(bank)
    solved = steady.solve(SCHEME.table, ohm, bank, primary, OMEGA)
    window = transient.Window(FREQUENCY_HZ, 0.2)
    wave = np.sqrt(2) * (primary[..., None] * np.exp(1j * OMEGA * window.times())).real
    response = transient.solve(
        SCHEME.table, ohm, bank, transient.Source(wave, np.arange(6)), window, solved.flux, wanted
    )
    assert response.pickup.shape == (n, *wanted.shape)
    return solved.quantities(wanted), response.pickup[..., 0]


FORMS: tuple[Form, ...] = (
    NO_BIAS,
    Bias(0.2).form(SUM),
    Bias(0.1, 0.8, 0.5).form(SUM),
    Bias(0.3).form(GREATER_OF),
    Bias(0.2, 1.0, 0.4).form(GREATER_OF),
)


@pytest.mark.parametrize(("kind", "quantity"), list(product(KINDS, ("rms", "fundamental"))))
def test_a_lasting_current_settles_to_the_quantity_of_phasors(kind: str, quantity: str) -> None:
    n = 64
    bank = random_bank(np.random.default_rng(5), n, remanence=0.0)
    wanted = Measurement(
        legs=SCHEME.watch,
        bias=BIAS,
        senses=SENSES,
        bias_current=(kind,) * len(BIAS),
        forms=FORMS,
        quantity=quantity,
        delays_s=(0.1,),
    )
    by_phasors, in_time = settled(bank, internal_faults(n, 6), wanted)
    harmonics = (
        2e-3 if quantity == "rms" else 0.0
    )  # of the load's exciting currents, not in phasors
    differs = np.abs(in_time - by_phasors) > 1e-4 + harmonics + 2e-3 * np.abs(by_phasors)
    assert not differs[..., :3].any()
    # the few whose difference sits at the restraint itself
    assert differs[..., 3:].mean() < 0.02


def test_ideal_cts_give_the_formula_of_the_primary_currents() -> None:
    n = 32
    bank = random_bank(np.random.default_rng(7), n)
    bank = CtBank(
        np.full((n, 6), 1000.0),
        bank.series_ohm,
        bank.knee_flux_wb,
        0 * bank.knee_current_a,
        bank.coefficients,
        bank.exponent,
        bank.remanence,
    )
    primary = internal_faults(n, 8)
    for kind in KINDS:
        wanted = Measurement(
            legs=SCHEME.watch,
            bias=BIAS,
            senses=SENSES,
            bias_current=(kind,) * len(BIAS),
            forms=FORMS,
        )
        by_phasors, in_time = settled(bank, primary, wanted)
        difference = np.abs(primary[:, :3] - primary[:, 3:]) / 1000
        ends = np.abs(primary.reshape(n, 2, 3)) / 1000
        one, other = primary[:, :3] / 1000, primary[:, 3:] / 1000
        bias = {
            "mean": ends.mean(axis=1),
            "sum": ends.sum(axis=1),
            "largest": ends.max(axis=1),
            "vector_mean": np.abs(one + other) / 2,
            "scalar_product": np.sqrt(np.maximum((one * other.conj()).real, 0.0)),
            "residual_pair": ends.mean(axis=1),
        }[kind]
        for v, form in enumerate(FORMS):
            expected = operating_quantity(difference, bias, form)
            assert by_phasors[..., v] == pytest.approx(expected, abs=1e-12)
            assert in_time[..., v] == pytest.approx(expected, abs=1e-9)


def test_ratio_matching_acts_on_the_bias_too() -> None:
    """CTs of 1000/5 at the line end, matched by 0.2, are those of 1000/1 to a biased element."""
    n, primary, line = 16, internal_faults(16, 9), np.arange(6) >= 3
    one = np.ones((n, 6))
    matched = SCHEME.matched({"line_end": 0.2})
    for kind in KINDS:
        found = []
        for scheme, turns in ((SCHEME, 1000 * one), (matched, np.where(line, 200.0, 1000.0) * one)):
            bank = CtBank(turns, one, one, 0 * one, np.zeros((4, n, 6)), np.full(6, 15), 0 * one)
            wanted = Measurement(
                legs=scheme.watch,
                bias=BIAS,
                senses=SENSES,
                matching=scheme.matching,
                bias_current=(kind,) * len(BIAS),
                forms=FORMS,
            )
            ohm = np.full((n, 3), 0.1)
            solved = steady.solve(scheme.table, ohm, bank, primary, OMEGA)
            window = transient.Window(FREQUENCY_HZ, 0.04)
            wave = np.sqrt(2) * (primary[..., None] * np.exp(1j * OMEGA * window.times())).real
            found.append(
                (
                    solved.quantities(wanted),
                    transient.solve(
                        scheme.table,
                        ohm,
                        bank,
                        transient.Source(wave, np.arange(6)),
                        window,
                        0 * solved.flux,
                        wanted,
                    ).pickup,
                )
            )
        assert found[1][0] == pytest.approx(found[0][0], abs=1e-12)
        assert found[1][1] == pytest.approx(found[0][1], abs=1e-9)
