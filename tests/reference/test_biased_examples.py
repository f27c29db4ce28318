"""Worked examples of biased elements: two forms of threshold are taught, and they disagree.

i_d = |i1 - i2|, i_b = (i1 + i2)/2. Greater-of: i_d > I_0 and i_d > s i_b; sum: i_d > I_0 + s i_b.
The examples, with their sources, stand in `studies/verify/published/relaying.py`. Each three
times: the formula by itself, through the phasor solution and through the transient one, with ideal
CTs."""

from __future__ import annotations

import numpy as np
import pytest

from montecarlo.relays.schemes import build_scheme
from montecarlo.secondary import steady, transient
from montecarlo.secondary.circuit import CtBank
from montecarlo.secondary.measurement import Measurement
from montecarlo.secondary.restraint import operating_quantity
from studies.verify.published.relaying import BIASED
from studies.verify.published.relaying import BiasedExample as Example
from tests.made.secondary_cases import FREQUENCY_HZ, OMEGA

FORMS = ("sum", "greater_of")
EXAMPLES = [pytest.param(one, id=f"{one.source}, {one.place}") for one in BIASED]
every_example = pytest.mark.parametrize("example", EXAMPLES)
both_forms = pytest.mark.parametrize("which", FORMS)


def ideal(turns: float) -> CtBank:
    """Six ideal CTs, (1, 6)."""
    one = np.ones((1, 6))
    return CtBank(
        turns * one, 2.0 * one, one, 0.0 * one, np.zeros((4, 1, 6)), np.full(6, 15), 0.0 * one
    )


@both_forms
@every_example
def test_the_formula(example: Example, which: str) -> None:
    one, other = (current / example.ratio for current in example.ends_a)
    assert (one - other, (one + other) / 2) == pytest.approx((example.difference_a, example.bias_a))
    quantity = operating_quantity(
        np.array([one - other]), np.array([(one + other) / 2]), example.form(which)
    )
    assert (quantity[0] > example.pickup_a) == example.trips[which]
    if which == "sum":  # i_d against the threshold I_0 + s i_b
        threshold = example.pickup_a + example.slope * example.bias_a
        assert quantity[0] - example.pickup_a == pytest.approx(example.difference_a - threshold)


def test_the_threshold_that_is_printed() -> None:
    (wadhwa,) = (one for one in BIASED if one.threshold_a is not None)
    assert wadhwa.pickup_a + wadhwa.slope * wadhwa.bias_a == pytest.approx(wadhwa.threshold_a)


def _primary(example: Example) -> np.ndarray:
    """The example in L2, which is as good as another; the other phases idle. (1, 6) RMS."""
    current = np.zeros((1, 6), complex)
    current[0, [1, 4]] = example.ends_a
    return current * np.exp(0.7j)


def _measurement(example: Example, which: str) -> Measurement:
    scheme = build_scheme("biased")
    return Measurement(
        legs=scheme.watch,
        bias=tuple(element.bias for element in scheme.elements),
        forms=(example.form(which),),
    )


@both_forms
@every_example
def test_through_the_phasor_solution(example: Example, which: str) -> None:
    scheme = build_scheme("biased")
    solved = steady.solve(
        scheme.table, np.full((1, 3), 0.1), ideal(example.ratio), _primary(example), OMEGA
    )
    quantity = solved.quantities(_measurement(example, which))[0, :, 0]
    assert (quantity > example.pickup_a).tolist() == [False, example.trips[which], False]


@both_forms
@every_example
def test_through_the_transient_solution(example: Example, which: str) -> None:
    scheme, window = build_scheme("biased"), transient.Window(FREQUENCY_HZ, 0.1)
    wave = np.sqrt(2) * (_primary(example)[..., None] * np.exp(1j * OMEGA * window.times())).real
    response = transient.solve(
        scheme.table,
        np.full((1, 3), 0.1),
        ideal(example.ratio),
        transient.Source(wave, np.arange(6)),
        window,
        np.zeros((1, 6), complex),
        _measurement(example, which),
    )
    quantity = response.pickup[0, :, 0, 0]
    assert (quantity > example.pickup_a).tolist() == [False, example.trips[which], False]
    expected = operating_quantity(
        np.array([example.difference_a]), np.array([example.bias_a]), example.form(which)
    )
    assert quantity[1] == pytest.approx(expected[0], abs=1e-9)
