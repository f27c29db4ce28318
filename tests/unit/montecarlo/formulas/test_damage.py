"""Damage as an integral of the current: by hand, against quadrature, limits, and the energy of the
same fault."""

from __future__ import annotations

import os
from itertools import pairwise

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.special import gamma

from montecarlo.formulas.damage import (
    FaultCurrents,
    damage,
    hybrid_damage,
    iron_volume_cm3,
    piece_damage,
    share_after_opening,
)

SEED = int(os.environ.get("STATORODDS_TEST_SEED", "20"))
CASES = 20
FAULT = (400.0, 0.1, 400.0, 1.0)  # I, t, I_a, T
HIGH, LOW = FaultCurrents(10.0, 8.0), FaultCurrents(400.0, 360.0)


def uniform(low: list[float], high: list[float]) -> np.ndarray:
    return np.random.default_rng(SEED).uniform(low, high, (CASES, len(low)))


# --- one resistance -----------------------------------------------------------


def test_a_case_by_hand() -> None:
    """400^1.5 is 8,000: 800 before, and 8,000/1.5 after."""
    assert float(damage(*FAULT, 1.5)) == pytest.approx(800 + 16000 / 3)
    assert share_after_opening(*FAULT, [1.0, 1.5, 2.0]) == pytest.approx([10 / 11, 20 / 23, 5 / 6])
    assert float(damage(10.0, 1.0, 10.0, 1.0, 1.5)) == pytest.approx(52.7, abs=0.05)


def test_damage_against_quadrature() -> None:
    for current, time, after, decay, k in uniform([1, 0, 1, 0.01, 1], [500, 10, 500, 5, 2]):
        tail, _ = quad(lambda s, a=after, d=decay, k=k: (a * np.exp(-s / d)) ** k, 0, 60 * decay)
        steady = current**k * time
        assert float(damage(current, time, after, decay, k)) == pytest.approx(steady + tail)
        share = share_after_opening(current, time, after, decay, k)
        assert float(share) == pytest.approx(tail / (steady + tail))


def test_one_piece_against_quadrature() -> None:
    for start, lasts, decay, k in uniform([1, 0, 0.01, 1], [500, 3, 5, 2]):
        whole, _ = quad(lambda s, i=start, d=decay, k=k: (i * np.exp(-s / d)) ** k, 0, lasts)
        assert float(piece_damage(start, lasts, decay, k)) == pytest.approx(whole)


def test_squared_it_is_the_energy_for_each_ohm() -> None:
    """W/R = I^2 t + I_a^2 T/2 (derived), what the study of earthing multiplies by R."""
    current, time, after, decay = uniform([0, 0, 0, 0], [500, 100, 500, 60]).T
    energy = current**2 * time + after**2 * decay / 2
    np.testing.assert_allclose(damage(current, time, after, decay, 2.0), energy, rtol=1e-12)


@pytest.mark.parametrize("nothing_after", [(0.0, 1.0), (400.0, 0.0), (0.0, 0.0)])
def test_without_current_or_decay_nothing_comes_after(nothing_after: tuple[float, float]) -> None:
    fault = (400.0, 0.1, *nothing_after)
    assert float(damage(*fault, 1.5)) == pytest.approx(800)
    assert float(share_after_opening(*fault, 1.5)) == 0


def test_a_slow_decay_is_a_steady_current_in_the_limit() -> None:
    slow = piece_damage(400.0, 0.5, [1e3, 1e6, 1e12, np.inf], 1.5)
    assert slow == pytest.approx(4000, rel=1e-3)
    assert slow[2:] == pytest.approx(4000, rel=1e-12)


def test_no_fault_no_damage_and_an_endless_one_without_limit() -> None:
    assert float(damage(0.0, np.inf, 0.0, 1.0, 1.5)) == 0
    assert float(share_after_opening(0.0, 1.0, 0.0, 1.0, 1.5)) == 0
    assert float(damage(10.0, np.inf, 10.0, 1.0, 1.5)) == np.inf
    assert float(share_after_opening(10.0, np.inf, 10.0, 1.0, 1.5)) == 0
    assert float(piece_damage(0.0, np.inf, np.inf, 1.5)) == 0


def test_an_unknown_current_or_time_stays_unknown() -> None:
    known = np.array([*FAULT, 1.5])
    for at in range(len(known)):
        one = known.copy()
        one[at] = np.nan
        assert np.isnan(damage(*one))


def test_shapes_broadcast() -> None:
    found = damage(np.full((3, 1), 400.0), 0.1, np.full((3, 2), 400.0), 1.0, [1.0, 2.0])
    assert found.shape == (3, 2)
    assert found[:, 1] == pytest.approx(400**2 * 0.6)


@pytest.mark.parametrize(("k", "part"), [(1.0, 0.90), (1.5, 0.94), (2.0, 1.0)])
def test_of_the_wave_it_is_a_little_less_than_of_the_rms(k: float, part: float) -> None:
    """What the head of the module says of the two."""
    wave, _ = quad(lambda x: (np.sqrt(2) * np.sin(x)) ** k / np.pi, 0, np.pi)
    assert wave == pytest.approx(2 ** (k / 2) * gamma((k + 1) / 2) / gamma(k / 2 + 1) / np.pi**0.5)
    assert wave == pytest.approx(part, abs=0.005)


# --- hybrid earthing ----------------------------------------------------------


def test_the_low_branch_opens_with_the_breaker() -> None:
    high = FaultCurrents(10.0, 10.0)
    found = hybrid_damage(0.02, 0.08, 0.08, LOW, high, 1.0, 1.5)
    assert float(found) == pytest.approx(800 + 10**1.5 / 1.5)
    assert float(found) == pytest.approx(821, abs=0.5)


def test_hybrid_damage_against_quadrature() -> None:
    """The current of every moment from the states of breaker and switch; both orders occur,
    but for one seed in 500,000."""
    low, high = [0, 0, 0, 1, 1, 1, 1, 0.01, 1], [1, 0.5, 0.5, 500, 500, 20, 20, 3, 2]
    cases = uniform(low, high)
    assert 0 < (cases[:, 1] < cases[:, 2]).mean() < 1
    for trip, breaker, switch, i, i_a, i_h, i_ha, decay, k in cases:

        def current(t: float, case=(trip, breaker, switch, i, i_a, i_h, i_ha, decay)) -> float:
            trip, breaker, switch, i, i_a, i_h, i_ha, decay = case
            after = t - trip - breaker
            closed, alone = (i, i_a) if t < trip + switch else (i_h, i_ha)
            return closed if after < 0 else alone * np.exp(-after / decay)

        ends = [0, trip + min(breaker, switch), trip + max(breaker, switch)]
        ends.append(ends[-1] + 60 * decay)
        whole = sum(quad(lambda t, c=current, k=k: c(t) ** k, a, b)[0] for a, b in pairwise(ends))
        found = hybrid_damage(
            trip, breaker, switch, FaultCurrents(i, i_a), FaultCurrents(i_h, i_ha), decay, k
        )
        assert float(found) == pytest.approx(whole, rel=1e-6)


def test_a_switch_that_stays_closed_and_one_that_is_open_from_the_start() -> None:
    """Plain earthing through the low and through the high resistance."""
    stays = hybrid_damage(0.02, 0.08, np.inf, LOW, HIGH, 1.0, 1.5)
    assert float(stays) == pytest.approx(float(damage(400.0, 0.1, 360.0, 1.0, 1.5)))
    at_once = hybrid_damage(0.0, 0.1, 0.0, LOW, HIGH, 1.0, 1.5)
    assert float(at_once) == pytest.approx(float(damage(10.0, 0.1, 8.0, 1.0, 1.5)))


def test_of_two_equal_resistances_the_switch_changes_nothing() -> None:
    switch = np.array([0.0, 0.05, 0.08, 0.5, 3.0, np.inf])
    found = hybrid_damage(0.02, 0.08, switch, LOW, LOW, 1.0, 1.5)
    assert found == pytest.approx(float(damage(400.0, 0.1, 360.0, 1.0, 1.5)))


def test_the_later_the_switch_the_more_damage() -> None:
    found = hybrid_damage(0.02, 0.08, np.linspace(0, 5, 101), LOW, HIGH, 1.0, 1.5)
    assert np.all(np.diff(found) > 0)


@pytest.mark.parametrize(
    ("switch_s", "steady"), [(0.08, 800), (0.5, 800), (0.05, 560 + 0.03 * 10**1.5)]
)
def test_without_decay_nothing_comes_after_the_breaker(switch_s: float, steady: float) -> None:
    found = hybrid_damage(0.02, 0.08, switch_s, LOW, HIGH, 0.0, 1.5)
    assert float(found) == pytest.approx(steady)


# --- iron ---------------------------------------------------------------------


def test_ten_kilojoules_melt_one_cubic_centimetre_at_most() -> None:
    d_1 = damage(200.0, 0.5, 0.0, 0.0, 1.0)
    assert 0.9 < float(iron_volume_cm3(d_1, 100.0)) < 1.0
    assert float(iron_volume_cm3(d_1, 100.0, 0.3)) == pytest.approx(0.3 * 1e4 / 10.2e3, rel=5e-3)
    assert float(iron_volume_cm3(10.2e3, 1.0)) == pytest.approx(1.0, rel=5e-3)
