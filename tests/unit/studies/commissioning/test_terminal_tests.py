"""Tests at a relay's terminals: operating times against the compiled measuring, slopes that cannot
be reached."""

from __future__ import annotations

import numpy as np
import pytest

from montecarlo.quantities import Array
from montecarlo.secondary import transient
from montecarlo.secondary.chain import Chain
from montecarlo.secondary.judging import QUANTITIES
from montecarlo.secondary.restraint import GREATER_OF, NO_BIAS, SUM, Bias, Form
from studies.commissioning.terminal_tests import (
    ANGLES,
    BiasedElement,
    operating_times_s,
    sampled_times_s,
)
from tests.made.secondary_cases import FREQUENCY_HZ, OMEGA
from tests.unit.montecarlo.secondary.test_measurement import measured

DELAY_S = 0.02


def element(form: Form, current: str = "mean") -> BiasedElement:
    return BiasedElement(form, current, 1.0, 1.0, (True, True), 2)


@pytest.mark.parametrize("quantity", QUANTITIES)
@pytest.mark.parametrize("angle", [0, 5, 11])
def test_times_are_those_of_the_compiled_measuring(quantity: str, angle: int) -> None:
    """The shortest window in which twice the pick-up is sustained for the delay, at 96 steps a
    cycle."""

    def operates(steps: int) -> bool:
        window = transient.Window(FREQUENCY_HZ, steps / 96 / FREQUENCY_HZ, 96)
        t = window.times()
        wave = np.where(t > 0, 2 * np.sqrt(2) * np.sin(OMEGA * t + np.pi * angle / ANGLES), 0.0)
        return bool(measured(wave[None], window, quantity=quantity, delays_s=(DELAY_S,))[0, 0] >= 1)

    low, high = 96, 96 * 3  # no time, and more than is needed, beyond the delay
    assert not operates(low)
    while high - low > 1:
        low, high = (
            (low, (low + high) // 2) if operates((low + high) // 2) else ((low + high) // 2, high)
        )
    (expected,) = operating_times_s(np.array([0.5]), quantity, FREQUENCY_HZ, DELAY_S)
    assert high / 96 / FREQUENCY_HZ == pytest.approx(expected[angle], abs=1.6 / 96 / FREQUENCY_HZ)


def made(length: int, cutoff_hz: float | None = None) -> Chain:
    cutoff = None if cutoff_hz is None else np.array([cutoff_hz / FREQUENCY_HZ])
    return Chain(56, length, None, cutoff, np.zeros(1))


def test_times_through_a_chain() -> None:
    """Whole cycles as without one, on average and but for a sample; half a cycle is
    quicker; a filter delays by its own delay."""
    share = np.array([0.3, 0.6, 0.9])
    plain = operating_times_s(share, "fundamental", FREQUENCY_HZ, DELAY_S).mean(axis=1)
    sample_s = 1 / 56 / FREQUENCY_HZ

    def times(chain: Chain) -> Array:
        found = sampled_times_s(share, chain, FREQUENCY_HZ, DELAY_S)
        return np.asarray(found.mean(axis=1))

    whole, half = times(made(56)), times(made(28))
    assert whole == pytest.approx(plain, abs=sample_s)
    assert (half < whole - sample_s).all()
    assert (half <= DELAY_S + 0.5 / FREQUENCY_HZ + sample_s).all()
    filtered = times(made(56, 400.0)) - whole
    assert filtered == pytest.approx(np.full(3, 0.566e-3), abs=0.1e-3)


def test_a_peak_that_starts_at_a_zero_counts_when_half_of_it_has_come() -> None:
    """sin = 1/2 after a twelfth of a cycle."""
    (times,) = operating_times_s(np.array([0.5]), "peak", FREQUENCY_HZ, 0.0)
    assert times[0] == pytest.approx(1 / 12 / FREQUENCY_HZ, abs=1 / 256 / FREQUENCY_HZ)


def test_times_grow_as_the_current_comes_near_the_pick_up() -> None:
    shares = np.array([0.1, 0.3, 0.5, 0.7, 0.9])
    for quantity in ("rms", "fundamental", "peak"):
        times = operating_times_s(shares, quantity, FREQUENCY_HZ, 0.0)
        assert np.all(np.diff(times, axis=0) >= 0)
        assert np.all(times <= 1 / FREQUENCY_HZ)


def test_without_bias_there_is_no_slope() -> None:
    assert element(NO_BIAS).points(0.1, 1.0) == []
    assert element(Bias(0.0).form(SUM)).points(0.1, 1.0) == []


def test_a_slope_that_two_currents_cannot_reach_has_no_point() -> None:
    """Largest current as bias: above a slope of 1 the bias grows with what is raised, or faster."""
    assert element(Bias(1.5).form(SUM), "largest").points(0.1, 1.0) == []
    steep = element(Bias(0.2, 1.5, 1.5).form(SUM), "largest").points(0.1, 1.0)
    assert {point.part for point in steep} == {"first slope"}


def test_the_flat_part_of_greater_of_ends_where_the_bias_reaches_the_pick_up() -> None:
    """0.1 A / 0.2 = 0.5 A; with a turning point before it, 0.3 A + (0.1 - 0.2·0.3)/0.5 = 0.38 A."""
    one = element(Bias(0.2).form(GREATER_OF)).parts(0.1, 1.0)
    assert [(part.name, part.high_a) for part in one] == [
        ("below the slopes", pytest.approx(0.5)),
        ("first slope", pytest.approx(2.0)),
    ]
    two = element(Bias(0.2, 0.5, 0.3).form(GREATER_OF)).parts(0.1, 1.0)
    assert [part.name for part in two] == ["below the slopes", "below the slopes", "second slope"]
    assert two[1].high_a == pytest.approx(0.38)


def test_only_the_held_side_restrains() -> None:
    """x - h = 0.1 + 0.2 h where the held end alone is the bias."""
    alone = BiasedElement(Bias(0.2).form(SUM), "mean", 1.0, 1.0, (False, True), 1)
    held = np.array([0.0, 0.5, 1.0])
    assert alone.operates_at(held, np.full(3, 0.1)) == pytest.approx(0.1 + 1.2 * held, rel=1e-6)
