"""Gates on currents that are known: against the same rules written sample by sample, and against
what follows from them by hand."""

from __future__ import annotations

import math
from dataclasses import fields
from typing import Any

import numpy as np
import pytest

from montecarlo.quantities import Array
from montecarlo.relays.schemes import build_scheme
from montecarlo.secondary import transient
from montecarlo.secondary.circuit import CtBank
from montecarlo.secondary.gates import BLOCK, HOLDS, STARTS, Gate, Levels, judge_gate, turns
from montecarlo.secondary.lanes import LANES
from montecarlo.secondary.measurement import Measurement
from montecarlo.secondary.restraint import GREATER_OF, NO_BIAS, SUM, Bias, operating_quantity
from tests.made.secondary_cases import FREQUENCY_HZ, OMEGA, random_bank

N = 28
LEVELS: dict[str, Any] = {
    "start_a": 0.5,
    "ratio": 0.3,
    "floor_a": 0.05,
    "wait_steps": 4,
    "above": 0.2,
    "least_a": 0.1,
    "hold_above": 0.15,
    "stays_steps": 20,
    "longest_steps": np.inf,
}


def gate(
    start: str = "time_difference",
    hold: str = "none",
    n: int = LANES,
    *,
    on_change: bool = True,
    slope: float = BLOCK,
    together: bool = False,
    **levels: Any,
) -> Gate:
    values = {key: np.zeros(n) + value for key, value in (LEVELS | levels).items()}
    return Gate(start, hold, on_change, slope, together, Levels(**values))


def judged(one: Array, other: Array, of: Gate) -> Array:
    """Whether the gate is on, (steps, LANES), of currents of that shape."""
    now = np.ascontiguousarray(np.concatenate([one, one - other]))
    on = np.zeros(one.shape)
    levels = np.ascontiguousarray(of.levels.rows())
    judge_gate(now, levels, turns(N), on, len(one), N, of.what)
    return on


def by_rules(one: Array, other: Array, of: Gate) -> Array:
    """The same for one lane, as a person would write it down."""
    level = {field.name: float(getattr(of.levels, field.name)[0]) for field in fields(Levels)}
    d, steps = one - other, one.size
    clock, suspect, quiet, left, length = 0, False, 0, 0.0, 0
    on = np.zeros(steps)
    turn = np.exp(-2j * np.pi * np.arange(steps) / N)
    for s in range(N, steps):
        cycle = slice(s - N + 1, s + 1)
        phasors = [np.sqrt(2) / N * np.sum(x[cycle] * turn[cycle]) for x in (one, other)]
        direct = max(
            abs(np.mean(x[cycle])) / (np.sqrt(2) * max(abs(phasor), level["least_a"]))
            for x, phasor in zip((one, other), phasors, strict=True)
        )
        was_on, declared = left > 0, False
        if of.start in ("time_difference", "repeated"):
            back = N if of.start == "time_difference" and of.on_change else 0
            a, b, c = ((x[s] - x[s - back]) if back else x[s] for x in (one, other, d))
            r = (abs(a) + abs(b)) / 2
            above, inside = r > level["start_a"], abs(c) > level["ratio"] * r + level["floor_a"]
            if of.start == "repeated":
                clock = clock + 1 if above and not inside else 0
                declared = clock > level["wait_steps"]
            else:
                quiet = 0 if above else quiet + 1
                suspect = suspect and quiet <= N
                active = (above or clock > 0) and not suspect and not was_on
                clock = clock + 1 if active else 0
                if active and inside:
                    suspect, clock = True, 0
                if clock > level["wait_steps"]:
                    declared, clock = True, 0
        elif of.start == "angle":
            product = (phasors[0] * phasors[1].conjugate()).real
            large = all(abs(phasor) > level["least_a"] for phasor in phasors)
            declared = large and product > level["above"] * abs(phasors[0]) * abs(phasors[1])
        elif of.start == "direct_current":
            declared = direct > level["above"]
        elif of.start == "no_neutral_current":
            declared = not abs(phasors[0]) > level["start_a"] / np.sqrt(2)
        else:
            sums = (np.sum(d[cycle] * turn[cycle] ** k) for k in (1, 2))
            first, second = (np.sqrt(2) / N * abs(one) for one in sums)
            declared = second > level["above"] * max(first, 1e-3 * level["least_a"])
        holds = {
            "none": False,
            "direct_current": direct > level["hold_above"],
            "current": (abs(one[s]) + abs(other[s])) / 2 > level["start_a"],
        }[of.hold]
        left = max(left - 1, 0)
        if declared or (was_on and holds):
            left = level["stays_steps"]
        length = length + 1 if left > 0 else 0
        if length > level["longest_steps"]:
            left, suspect = 0, True
        on[s] = left > 0
    return on


def offset_fault(cycles: int = 8, decay: float = 5.0) -> Array:
    """A load, then a fully offset sinusoid from step N on. [A]"""
    t = (np.arange(cycles * N) - N) / N
    during = 5 * (np.cos(2 * np.pi * t) - np.exp(-t / decay))
    return np.where(t < 0, 0.1 * np.sin(2 * np.pi * t), during)


@pytest.mark.parametrize("hold", HOLDS)
@pytest.mark.parametrize("start", STARTS)
@pytest.mark.parametrize("on_change", [True, False])
def test_every_gate_goes_by_its_rules(start: str, hold: str, on_change: bool) -> None:
    rng = np.random.default_rng(5)
    some = 0.0
    for longest in (np.inf, 40.0):
        of = gate(start, hold, on_change=on_change, longest_steps=longest)
        one = np.stack([offset_fault(decay=decay) for decay in rng.uniform(0.5, 8, LANES)], axis=1)
        one *= rng.uniform(0.1, 2, LANES)
        t = np.arange(len(one))[:, None]
        # a CT that goes silent in a part of every cycle, at one of the ends, sooner or later
        silent = (t % N < rng.uniform(0, N, LANES)) & (t > N + rng.uniform(0, 2 * N, LANES))
        other = np.where(silent & (t < 6 * N), 0.1 * one, one)
        found = judged(one, other, of)
        for lane in range(LANES):
            assert np.array_equal(found[:, lane], by_rules(one[:, lane], other[:, lane], of))
        some += found.sum()
    assert some > 0


def test_a_sound_external_fault_starts_it_after_the_wait() -> None:
    wave = offset_fault()
    one = np.repeat(wave[:, None], LANES, axis=1)
    waits = np.arange(LANES)
    found = judged(one, one, gate("time_difference", wait_steps=waits))
    change = wave.copy()
    change[N:] -= wave[:-N]
    change[:N] = 0.0
    first = int(np.argmax(np.abs(change) > 0.5))
    assert np.array_equal(found.argmax(axis=0), first + waits)


def test_a_ct_that_goes_silent_is_seen_through_only_before_the_wait_has_ended() -> None:
    one = np.repeat(offset_fault()[:, None], LANES, axis=1)
    silent_from = N + 2 + np.arange(LANES)  # above the start from N + 2 on
    other = np.where(np.arange(len(one))[:, None] >= silent_from, 0.0, one)
    found = judged(one, other, gate("time_difference", wait_steps=3)).any(axis=0)
    start = int(np.argmax(np.abs(one[:, 0]) > 0.5))
    assert np.array_equal(found, silent_from > start + 3)
    assert found.any()
    assert not found.all()


@pytest.mark.parametrize("start", ["time_difference", "repeated"])
def test_an_internal_fault_starts_none(start: str) -> None:
    """Both ends feed the fault: d = 2 r from the first step on."""
    one = np.repeat(np.where(np.arange(8 * N) < N, 0.0, offset_fault())[:, None], LANES, axis=1)
    assert not judged(one, -one, gate(start)).any()
    assert not judged(one, 0 * one, gate(start)).any()


def test_a_start_out_of_reach_is_no_gate() -> None:
    one = np.repeat(offset_fault()[:, None], LANES, axis=1)
    for start in ("time_difference", "repeated"):
        assert not judged(one, one, gate(start, "direct_current", start_a=np.inf)).any()


@pytest.mark.parametrize(("cycles", "mean"), [(3.0, 0.85041), (10.0, 0.95163)])
def test_the_mean_of_a_decay_over_its_first_cycle(cycles: float, mean: float) -> None:
    """T/T0 (1 - exp(-T0/T)) for T of 3 and of 10 cycles (exact); the DC component over the peak of
    the fundamental is that much of a sinusoid of peak 1 with an offset of 1."""
    assert cycles * (1 - math.exp(-1 / cycles)) == pytest.approx(mean, abs=5e-6)
    t = np.arange(3 * N) / N - 1
    one = np.where(t <= 0, 0.0, np.sin(2 * np.pi * t) + np.exp(-t / cycles))
    steps = np.exp(-np.arange(1, N + 1) / N / cycles).mean()  # what steps make of the mean
    turn = np.exp(-2j * np.pi * np.arange(N + 1, 2 * N + 1) / N)
    share = steps / abs(2 / N * np.sum(one[N + 1 : 2 * N + 1] * turn))
    levels = share + np.linspace(-0.02, 0.02, LANES)
    one = np.repeat(one[:, None], LANES, axis=1)
    found = judged(one, one, gate("direct_current", above=levels))
    assert np.array_equal(found[2 * N] > 0, levels < share)
    assert steps == pytest.approx(mean, abs=0.02)


# --- through the solution in time ---------------------------------------------


SCHEME = build_scheme("biased")
WINDOW = transient.Window(FREQUENCY_HZ, 0.2)
FORMS = (
    NO_BIAS,
    Bias(0.2).form(SUM),
    Bias(0.2).form(SUM, 1),
    Bias(0.2).form(GREATER_OF),
    Bias(0.2).form(GREATER_OF, 1),
    Bias(0.2).form(GREATER_OF, 2),
)


def solved(
    bank: CtBank, wave: Array, gates: tuple[Gate, ...], *, keep_trace: bool = False
) -> transient.Response:
    """Currents that pass through the zone, for all `FORMS` or those without a gate."""
    n = len(bank)
    wanted = Measurement(
        legs=SCHEME.watch,
        bias=tuple(element.bias for element in SCHEME.elements),
        forms=FORMS if gates else FORMS[:2],
        quantity="fundamental",
        gates=gates,
        sides=tuple(tuple(np.maximum(row, 0.0).tolist()) for row in SCHEME.table),
    )
    source = transient.Source(wave, np.tile(np.arange(3), 2))
    none, ohm = np.zeros((n, 6), complex), np.full((n, 3), 0.1)
    return transient.solve(
        SCHEME.table, ohm, bank, source, WINDOW, none, wanted, keep_trace=keep_trace
    )


def through_fault(n: int) -> Array:
    times = WINDOW.times()
    phase = 2 * np.pi * np.arange(3) / 3
    angle = np.random.default_rng(3).uniform(0, 2 * np.pi, (n, 1, 1)) - phase[:, None]
    ac = np.cos(OMEGA * times + angle)
    decay = np.cos(angle) * np.exp(-np.maximum(times, 0.0) / 0.2)
    return np.where(times <= 0, 0.0, 9000 * (ac - decay))


def test_gates_lower_what_elements_sustain_and_ideal_cts_leave_nothing() -> None:
    n = 3 * LANES + 1
    bank = random_bank(np.random.default_rng(2), n)
    wave = through_fault(n)
    block = gate("time_difference", "direct_current", n, start_a=2.0, stays_steps=56)
    steeper = gate("time_difference", "direct_current", n, start_a=2.0, slope=1.5)
    found = solved(bank, wave, (block, steeper)).pickup[..., 0]
    assert np.isfinite(found).all()
    for free, gated in ((1, 2), (3, 4), (3, 5)):
        assert (found[..., gated] <= found[..., free] + 1e-12).all()
    assert (found[..., 4] < found[..., 3]).any()
    without = solved(bank, wave, ()).pickup[..., 0]
    assert np.array_equal(found[..., :2], without)


def test_the_gate_of_one_phase_may_hold_back_all() -> None:
    n = LANES
    bank, wave = random_bank(np.random.default_rng(4), n), through_fault(n)
    wave[:, 2] = 0.0  # L3 carries nothing, and no gate of its own starts
    alone = gate("time_difference", "current", n, start_a=2.0, stays_steps=56)
    all_three = gate("time_difference", "current", n, start_a=2.0, stays_steps=56, together=True)
    found = solved(bank, wave, (alone, all_three)).pickup[..., 0]
    assert (found[..., 5] <= found[..., 4] + 1e-12).all()


def test_what_a_trace_tells_of_gates_is_what_the_pass_has_gone_by() -> None:
    """The quantity made of the traced currents and gates sustains the critical pick-up."""
    n = LANES
    bank, wave = random_bank(np.random.default_rng(6), n), through_fault(n)
    block = gate("time_difference", "current", n, start_a=2.0, stays_steps=56)
    steeper = gate("repeated", n=n, start_a=2.0, slope=1.5, stays_steps=30)
    response = solved(bank, wave, (block, steeper), keep_trace=True)
    assert response.on.shape == (n, 2, 3, WINDOW.steps)
    for v, form in enumerate(FORMS):
        least = np.zeros(response.difference.shape)
        if form[4]:
            slope = (BLOCK, 1.5)[form[4] - 1]
            least = np.where(response.on[:, form[4] - 1] > 0, slope, 0.0)
            assert (least > 0).any()
        quantity = operating_quantity(response.difference, response.bias, form, least)
        best = quantity[..., WINDOW.lead :].max(axis=-1)
        assert response.pickup[..., v, 0] == pytest.approx(best, abs=1e-9)
