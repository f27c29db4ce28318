"""The residual current of three CTs against a neutral CT's: difference, bias and release, of
currents that are known and of CTs that are ideal or saturate."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from montecarlo.quantities import Array, Complex
from montecarlo.relays.places import carried
from montecarlo.relays.schemes import build_scheme
from montecarlo.secondary import steady, transient
from montecarlo.secondary.circuit import CtBank
from montecarlo.secondary.gates import BLOCK, Gate, Levels
from montecarlo.secondary.lanes import LANES
from montecarlo.secondary.measurement import Measurement
from montecarlo.secondary.restraint import NO_BIAS, SUM, Bias
from tests.made.secondary_cases import FREQUENCY_HZ, OMEGA, random_bank

SCHEME = build_scheme("biased_restricted_earth_fault")
WINDOW = transient.Window(FREQUENCY_HZ, 0.2)
TURNS = 1000.0
KINDS = ("largest", "residual_pair")
SIDE = (0.0, 0.0, 0.0, 1.0)
# unbiased; slope 1 in the sum form leaves I_d - I_b; and both behind the gate
FORMS = (NO_BIAS, Bias(1.0).form(SUM), (*NO_BIAS[:4], 1), Bias(1.0).form(SUM, 1))


def release(start_a: Array) -> Gate:
    """Of a neutral CT's current above start_a. [A RMS]"""
    levels = {key: np.zeros(start_a.size) for key in Levels.__dataclass_fields__}
    levels |= {"start_a": np.sqrt(2) * start_a, "stays_steps": np.ones(start_a.size)}
    levels["longest_steps"] = np.full(start_a.size, np.inf)
    return Gate("no_neutral_current", "none", True, BLOCK, False, Levels(**levels))


def wanted(kind: str, start_a: Array, **changes: Any) -> Measurement:
    ends = SCHEME.elements[0].bias
    values: dict[str, Any] = {
        "legs": SCHEME.watch,
        "bias": (ends,),
        "senses": (tuple(SCHEME.table[0, list(ends)].tolist()),),
        "bias_current": (kind,),
        "forms": FORMS,
        "quantity": "fundamental",
        "gates": (release(start_a),),
        "sides": (SIDE,),
        "phases": 0,
    }
    return Measurement(**(values | changes))


def ideal(n: int) -> CtBank:
    ones = np.ones((n, 4))
    curve = np.zeros((4, n, 4))
    return CtBank(TURNS * ones, 2.0 * ones, ones, 0.0 * ones, curve, np.full(4, 15), 0.0 * ones)


def by_phasors(bank: CtBank, primary_a: Complex, measurement: Measurement) -> Array:
    """(n, forms) of currents at the two ends, (n, 6)."""
    at_cts = carried(primary_a, SCHEME.places)
    ohm = np.full((len(bank), len(SCHEME.legs)), 0.02)
    solved = steady.solve(SCHEME.table, ohm, bank, at_cts, OMEGA)
    return solved.quantities(measurement)[:, 0]


def in_time(bank: CtBank, wave: Array, measurement: Measurement) -> Array:
    """(n, forms) of waves at the two ends, (n, 6, points)."""
    n = len(bank)
    channels = np.concatenate([wave[:, 3:], wave[:, :3].sum(axis=1, keepdims=True)], axis=1)
    source = transient.Source(np.ascontiguousarray(channels), np.arange(4))
    ohm, none = np.full((n, len(SCHEME.legs)), 0.02), np.zeros((n, 4), complex)
    solved = transient.solve(SCHEME.table, ohm, bank, source, WINDOW, none, measurement)
    return solved.pickup[:, 0, :, 0]


def earth_fault(n: int, primary_a: float) -> Complex:
    """L1 to earth outside: in by the neutral, out at the terminals."""
    phases = np.zeros((n, 3), complex)
    phases[:, 0] = primary_a
    return np.hstack([phases, phases])


# --- by hand ------------------------------------------------------------------


@pytest.mark.parametrize("kind", KINDS)
def test_an_earth_fault_outside_leaves_nothing_and_restrains_with_its_whole_current(
    kind: str,
) -> None:
    """I_d = 0 and I_b = I_N in both forms, so that I_d - I_b is -I_N."""
    found = by_phasors(ideal(2), earth_fault(2, 400.0), wanted(kind, np.array([0.1, 0.5])))
    assert found[:, :2] == pytest.approx(np.array([[0.0, -0.4]] * 2), abs=1e-9)


@pytest.mark.parametrize(("kind", "ratio"), [("largest", 1.0), ("residual_pair", 2.0)])
def test_an_internal_fault_fed_by_the_neutral_alone(kind: str, ratio: float) -> None:
    """The breaker is open: I_d = I_N, and I_d/I_b is 1 or 2. It is released above the start."""
    currents = earth_fault(2, 400.0)
    currents[:, 3:] = 0.0
    found = by_phasors(ideal(2), currents, wanted(kind, np.array([0.3, 0.5])))
    assert found[:, 0] == pytest.approx(0.4, abs=1e-9)
    assert found[:, 1] == pytest.approx(0.4 - 0.4 / ratio, abs=1e-9)
    assert found[:, 2] == pytest.approx([0.4, 0.0], abs=1e-9)
    assert found[1, 3] <= 0.0


def test_three_phases_restrain_by_their_largest_and_not_by_their_residual() -> None:
    turn = np.exp(-2j * np.pi * np.arange(3) / 3)
    currents = 900.0 * np.tile(turn, (1, 2))
    for kind, bias_a in (("largest", 0.9), ("residual_pair", 0.0)):
        found = by_phasors(ideal(1), currents, wanted(kind, np.array([0.1])))
        assert found[0, 0] - found[0, 1] == pytest.approx(bias_a, abs=1e-9)


def test_a_factor_on_the_neutral_ct_counts_in_difference_bias_and_release() -> None:
    """A neutral CT of half the ratio, times 0.5."""
    scheme = SCHEME.matched({"neutral_conductor": 0.5})
    assert np.array_equal(scheme.table[0], [-1.0, -1.0, -1.0, 0.5])
    bank = ideal(1)
    bank.turns[:, 3] = TURNS / 2
    at_cts = carried(earth_fault(1, 400.0), scheme.places)
    solved = steady.solve(scheme.table, np.full((1, len(scheme.legs)), 0.02), bank, at_cts, OMEGA)
    side = ((0.0, 0.0, 0.0, 0.5),)
    measurement = wanted("residual_pair", np.array([0.3]), matching=scheme.matching, sides=side)
    found = solved.quantities(measurement)[0, 0]
    assert found[:2] == pytest.approx([0.0, -0.4], abs=1e-9)


# --- phasors and time ---------------------------------------------------------


@pytest.mark.parametrize("kind", KINDS)
def test_phasors_and_time_agree_on_difference_bias_and_release(kind: str) -> None:
    """Lasting currents of any size at both ends, CTs far from their knee."""
    n = 2 * LANES + 3
    rng = np.random.default_rng(8)
    primary = rng.uniform(0, 150, (n, 6)) * np.exp(2j * np.pi * rng.random((n, 6)))
    bank = random_bank(rng, n, cts=4)
    bank.turns[:] = TURNS
    bank.knee_flux_wb[:] = 2.0
    bank.remanence[:] = 0.0
    neutral_a = np.abs(primary[:, :3].sum(axis=1)) / TURNS
    start = neutral_a * rng.choice([0.7, 1.3], n)
    measurement = wanted(kind, start)
    steadily = by_phasors(bank, primary, measurement)
    wave = np.sqrt(2) * (primary[..., None] * np.exp(1j * OMEGA * WINDOW.times())).real
    timed = in_time(bank, wave, measurement)
    held = start > neutral_a
    assert steadily[~held, 2:] == pytest.approx(steadily[~held, :2], abs=1e-12)
    assert (steadily[held, 2:] <= 0.0).all()
    assert timed[:, [0, 2]] == pytest.approx(np.maximum(steadily[:, [0, 2]], 0.0), abs=2e-3)
    margin = np.maximum(steadily[~held, 1], 0.0)
    assert np.maximum(timed[~held, 3], 0.0) == pytest.approx(margin, abs=2e-3)


def test_cts_that_saturate_cannot_release_what_is_clear_of_earth() -> None:
    """Three phases outside, fully offset: the residual current is a spill, and none flows in the
    neutral."""
    n = 2 * LANES
    rng = np.random.default_rng(9)
    bank = random_bank(rng, n, cts=4)
    times = WINDOW.times()
    angle = rng.uniform(0, 2 * np.pi, (n, 1, 1)) - 2 * np.pi * np.arange(3)[:, None] / 3
    offset = np.cos(angle) * np.exp(-np.maximum(times, 0.0) / 0.2)
    phases = np.where(times <= 0, 0.0, 9000 * (np.cos(OMEGA * times + angle) - offset))
    phases[:, 2] = -phases[:, 0] - phases[:, 1]
    wave = np.concatenate([phases, phases], axis=1)
    found = in_time(bank, wave, wanted("largest", np.full(n, 0.02)))
    assert (found[:, 0] > 0.05).mean() > 0.5
    assert (found[:, 2:] <= 0.0).all()
