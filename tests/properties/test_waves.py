"""The compiled pass over the waveforms of external events against their plain formula."""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from montecarlo.plant.decrement import Decrement
from montecarlo.plant.events import through_fault, waves
from montecarlo.plant.events.wave_kernel import write
from montecarlo.plant.events.waves import Fading, sinusoids
from montecarlo.plant.machine import PHASE_ROTATION
from montecarlo.plant.states import load_phasor
from montecarlo.quantities import Array, Complex, Index
from montecarlo.secondary.transient import Window

SEED = int(os.environ.get("STATORODDS_TEST_SEED", "20"))
OMEGA = 100 * np.pi
N = 40
GRIDS: dict[str, Array] = {
    "window": Window(50.0, 0.3).times(),
    "long window": Window(50.0, 5.0, 36, 3).times(),
    "ends of steps": Window(50.0, 0.3).times()[::2],
    "fine": Window(50.0, 0.1, 1024).times(),
    "uneven": np.sort(np.random.default_rng(SEED).uniform(-0.02, 0.3, 700)),
    "few": np.array([-0.01, 0.0, 0.1]),
    "before": np.arange(-20, 0) / 1000,
    "after": np.arange(1, 200) / 1000,
    "none": np.empty(0),
}
every_grid = pytest.mark.parametrize("t", GRIDS.values(), ids=GRIDS)


def plain(wave: Fading, t: Array, clearing_s: Array, follows: Index | None = None) -> Array:
    """What a wave is, term by term and point by point."""
    first, second, last = (stage[..., None] for stage in wave.stages)
    before, beside = (np.asarray(part)[..., None] for part in (wave.before, wave.beside))
    fast, slow = (np.exp(-t / time_s[:, None, None]) for time_s in (wave.fast_s, wave.slow_s))
    turn = np.exp(1j * OMEGA * t)
    during = (((first - second) * fast + (second - last) * slow + last) * turn).real
    direct = (before - first).real if wave.direct is None else wave.direct[..., None]
    during += direct * np.exp(-t / wave.direct_s[:, None, None])
    out = np.where(t < 0, (before * turn).real, during)
    for s in range(len(out)):
        if follows is None:
            interrupted(out[s], t, clearing_s[s])
        else:
            out[s, :, first_zero(out[s, follows[s]], t, clearing_s[s])[0] :] = 0.0
    return np.asarray(out + (beside * turn).real)


def interrupted(three: Array, t: Array, clearing_s: float) -> None:
    """The first to pass 0 ends; then the other two carry half their difference to its zero."""
    zeros = [first_zero(wave, t, clearing_s) for wave in three]
    ended = min(range(3), key=lambda c: zeros[c][1])
    point, at_s = zeros[ended]
    one, other = (ended + 1) % 3, (ended + 2) % 3
    half = (three[one] - three[other]) / 2
    last, _ = first_zero(half, t, at_s, or_at_it=True)
    three[ended, point:] = 0.0
    three[one, point:], three[other, point:] = half[point:], -half[point:]
    if point < t.size:
        three[:, last:] = 0.0


def first_zero(
    current: Array, t: Array, after_s: float, or_at_it: bool = False
) -> tuple[int, float]:
    """The point after the first zero that comes after a time, and when that is."""
    for i in range(1, t.size):
        ahead, behind = current[i - 1], current[i]
        if ahead * behind <= 0:
            gone = ahead / (ahead - behind) if ahead != behind else 0.0
            at_s = t[i - 1] + gone * (t[i] - t[i - 1])
            if at_s > after_s or (or_at_it and at_s == after_s):
                return i, at_s
    return t.size, np.inf


def random_wave(rng: np.random.Generator, n: int = N, **changes: Any) -> Fading:
    def phasors() -> Complex:
        return 1e4 * (rng.normal(size=(n, 3)) + 1j * rng.normal(size=(n, 3)))

    whole = Fading(
        stages=[phasors() for _ in range(3)],
        fast_s=10 ** rng.uniform(-3, 0, n),
        slow_s=10 ** rng.uniform(-2, 1, n),
        direct_s=10 ** rng.uniform(-4, 0.5, n),
        direct=1e4 * rng.normal(size=(n, 3)),
        before=phasors(),
        beside=phasors(),
    )
    return replace(whole, **changes)


@every_grid
@pytest.mark.parametrize("changes", [{}, {"before": 0.0}, {"beside": 0.0}, {"direct": None}])
@pytest.mark.parametrize("path", [False, True])
def test_a_wave_is_its_plain_formula(t: Array, changes: dict[str, Any], path: bool) -> None:
    rng = np.random.default_rng(SEED)
    wave, clearing_s = random_wave(rng, **changes), rng.uniform(0.02, 0.2, N)
    follows = rng.integers(0, 3, N) if path else None
    made, ends = wave.at(t, OMEGA, clearing_s, follows)
    wanted = plain(wave, t, clearing_s, follows)
    assert np.abs(made - wanted).max(initial=0.0) < 1e-12 * 1e4
    alone = sinusoids(np.broadcast_to(wave.beside, (N, 3)).astype(complex), OMEGA * t)
    gone = np.arange(t.size) >= ends[:, None]
    assert (made == alone).transpose(0, 2, 1)[gone].all()


def decrement(rng: np.random.Generator) -> Decrement:
    low_high = {
        "subtransient_reactance_pu": (0.1, 0.25),
        "transient_reactance_pu": (0.26, 0.4),
        "synchronous_reactance_pu": (0.8, 2.0),
        "negative_sequence_reactance_pu": (0.1, 0.3),
        "subtransient_time_constant_s": (0.01, 0.06),
        "transient_time_constant_s": (0.3, 2.0),
        "armature_time_constant_s": (0.02, 0.3),
    }
    return Decrement(**{key: rng.uniform(*ends, N) for key, ends in low_high.items()})


@pytest.mark.parametrize("kind", ["three_phase", "phase_phase"])
def test_a_through_fault_is_its_plain_formula(kind: Any) -> None:
    """E = U + jX I_load behind each reactance; of two phases half their difference of load turns
    into the fault current, and the healthy phase's load returns by both."""
    rng, t = np.random.default_rng(SEED), GRIDS["window"]
    machine, outside = decrement(rng), rng.uniform(0.0, 0.2, N)
    voltage, angle = rng.uniform(0.9, 1.1, N), rng.uniform(0, 2 * np.pi, N)
    healthy, carried = rng.integers(0, 3, N), rng.uniform(0, 1, N)
    clearing_s = rng.uniform(0.06, 0.15, N)
    made = through_fault.through_fault(
        kind,
        t,
        machine,
        external_reactance_pu=outside,
        external_resistance_pu=0.01,
        voltage_factor=voltage,
        load_current_pu=carried,
        power_factor=0.9,
        point_on_wave_rad=angle,
        pair=healthy,
        clearing_time_s=clearing_s,
        omega=OMEGA,
        rated_current_a=1000.0,
    )
    seen, turn = machine.outside_pu(kind, outside), np.sqrt(2) * 1000.0 * np.exp(1j * angle)
    load = load_phasor(carried, 0.9)
    phases = (load * turn)[:, None] * PHASE_ROTATION
    stages = [
        ((voltage + 1j * x * load) / (1j * (x + seen)) * turn)[:, None] * PHASE_ROTATION
        for x in machine.reactances_pu
    ]
    if kind == "phase_phase":
        for s, p in enumerate(healthy):
            ahead, behind = (p + 1) % 3, (p + 2) % 3
            for stage in stages:
                fault = stage[s, ahead] - stage[s, behind]
                stage[s, ahead], stage[s, behind] = fault, -fault
                stage[s, [ahead, behind]] -= phases[s, p] / 2
                stage[s, p] = phases[s, p]
    fast_s, slow_s = machine.decay_times_s(seen)
    direct_s = machine.direct_current_time_s(outside, 0.01, OMEGA)
    wave = Fading(stages=stages, fast_s=fast_s, slow_s=slow_s, direct_s=direct_s, before=phases)
    assert np.abs(made - plain(wave, t, clearing_s)).max() < 1e-12 * np.abs(made).max()


def test_a_wave_ends_no_later_than_it_is_told() -> None:
    rng, t = np.random.default_rng(SEED), GRIDS["window"]
    wave, told = random_wave(rng, beside=0.0), rng.integers(0, t.size + 1, N)
    made, ends = wave.at(t, OMEGA, ends=told)
    whole, _ = wave.at(t, OMEGA)
    assert (ends == told).all()
    assert (made == np.where(np.arange(t.size) < told[:, None, None], whole, 0.0)).all()


@every_grid
def test_a_wave_does_not_hang_on_its_neighbours(t: Array) -> None:
    rng = np.random.default_rng(SEED)
    wave, clearing_s = random_wave(rng), rng.uniform(0.02, 0.2, N)
    whole, _ = wave.at(t, OMEGA, clearing_s)

    def of(rows: slice) -> Array:
        def cut(part: Any) -> Any:
            return part[rows]

        own = {key: cut(value) for key, value in vars(wave).items() if key != "stages"}
        few = Fading(stages=[cut(stage) for stage in wave.stages], **own)
        return few.at(t, OMEGA, clearing_s[rows])[0]

    for rows in (slice(7, 8), slice(3, 20)):
        assert (of(rows) == whole[rows]).all()


@pytest.mark.parametrize("per_cycle", [28, 36, 1024])
@pytest.mark.parametrize("frequency_hz", [16.7, 50.0, 60.0])
def test_the_steps_of_every_window_repeat(frequency_hz: float, per_cycle: int) -> None:
    """Else each point would cost three exponentials."""
    for after_s in (0.06, 0.23, 1.0, 10.0):
        t = Window(frequency_hz, after_s, per_cycle).times()
        for grid in (t[t >= 0], t[t >= 0][::2]):
            every, span_s = waves._repeats(grid)
            assert every < 8 + np.sqrt(grid.size)
            assert span_s == pytest.approx(grid[every], rel=1e-15)


def test_one_form_is_compiled_whatever_arrays_come() -> None:
    rng = np.random.default_rng(SEED)
    wave = random_wave(rng)
    t = GRIDS["fine"]
    read_only = np.broadcast_to(0.05, N)
    calls: list[Callable[[], Any]] = [
        lambda: wave.at(t[::2], OMEGA, read_only),
        lambda: wave.at(np.broadcast_to(t, (2, t.size))[0], OMEGA),
        lambda: wave.at(t, OMEGA, ends=np.full(2 * N, 9)[::2]),
        lambda: sinusoids(np.asfortranarray(wave.stages[0]), OMEGA * t[::3]),
    ]
    for call in calls:
        call()
    assert len(write.signatures) == 1
