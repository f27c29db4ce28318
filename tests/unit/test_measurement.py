"""What an element measures, and what delay and early stop make of it: known waves through ideal CTs."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from montecarlo.quantities import Array
from montecarlo.secondary import transient
from montecarlo.secondary.circuit import CtBank
from montecarlo.secondary.measurement import Measurement
from tests.secondary_cases import FREQUENCY_HZ, OMEGA, random_circuits

CYCLE_S = 1 / FREQUENCY_HZ
TURNS = 100.0


def measured(waves: Array, window: transient.Window, *, settle: float = 0.0, loop_from: int = -1,
             **wanted: Any) -> NDArray[np.float64]:
    """Pick-ups (n, delays) of one ideal CT that drives one leg of 50 ohm; waves (n, points) in secondary amperes;
    `wanted` of the `Measurement`."""
    ones = np.ones((len(waves), 1))
    bank = CtBank(TURNS * ones, 2.0 * ones, ones, 0.0 * ones, np.zeros((4, len(waves), 1)), np.array([15]), 0.0 * ones)
    source = transient.Source(TURNS * waves[:, None], np.array([0]), loop_from)
    return transient.solve(np.ones((1, 1)), 50.0 * ones, bank, source, window, np.zeros((len(waves), 1), complex),
                           Measurement(legs=(0,), **wanted), settle=settle).pickup[:, 0, 0]


# --- one cycle --------------------------------------------------------------------------------------------


@pytest.mark.parametrize("per_cycle", [16, 32, 64])
def test_rms_of_waves_that_last(per_cycle: int) -> None:
    window = transient.Window(FREQUENCY_HZ, 0.05, per_cycle)
    angle = OMEGA * window.times()
    waves = np.stack([np.full(angle.size, -3.0), np.sqrt(2) * np.sin(angle + 0.3),
                      2 + np.sqrt(2) * (3 * np.cos(angle) + 1.5 * np.sin(5 * angle + 1)), np.zeros(angle.size)])
    assert measured(waves, window)[:, 0] == pytest.approx([3.0, 1.0, np.sqrt(4 + 9 + 2.25), 0.0], rel=1e-12)


@pytest.mark.parametrize("per_cycle", [16, 32, 64])
def test_fundamental_of_waves_that_last(per_cycle: int) -> None:
    window = transient.Window(FREQUENCY_HZ, 0.05, per_cycle)
    angle = OMEGA * window.times()
    waves = np.stack([np.full(angle.size, -3.0), np.sqrt(2) * np.sin(angle + 0.3),
                      2 + np.sqrt(2) * (3 * np.cos(angle) + 1.5 * np.sin(3 * angle + 1) + 2 * np.cos(7 * angle))])
    assert measured(waves, window, quantity="fundamental")[:, 0] == pytest.approx([0.0, 1.0, 3.0], abs=1e-12)


@pytest.mark.parametrize("frequency_hz", [45.0, 55.0, 250.0, 320.0])
def test_off_the_rated_frequency(frequency_hz: float) -> None:
    """The largest over a window of one cycle, against the integrals over a fine grid of windows."""
    window = transient.Window(FREQUENCY_HZ, 0.2)
    wave = np.sqrt(2) * np.sin(2 * np.pi * frequency_hz * window.times() + 0.4)
    ends = window.times()[2::2]
    inside = np.linspace(-CYCLE_S, 0.0, 2001)[:, None] + ends[ends > 1e-9]
    fine = np.sqrt(2) * np.sin(2 * np.pi * frequency_hz * inside + 0.4)
    rms = np.sqrt(np.trapezoid(fine**2, dx=1 / 2000, axis=0)).max()
    turned = np.abs(np.trapezoid(fine * np.exp(-1j * OMEGA * inside), dx=1 / 2000, axis=0)).max() * np.sqrt(2)
    assert measured(wave[None], window)[0, 0] == pytest.approx(rms, rel=5e-3)
    assert measured(wave[None], window, quantity="fundamental")[0, 0] == pytest.approx(turned, abs=5e-3)


def test_a_pulse_shorter_than_a_step_counts_by_its_area() -> None:
    """Pulses wherever they fall in a step: on the mean their square's area, within a few per cent each."""
    window = transient.Window(FREQUENCY_HZ, 0.04)
    starts = 0.01 + np.linspace(0, window.step_s, 41)[:-1]
    waves = np.exp(-0.5 * ((window.times() - starts[:, None]) / (0.4 * window.step_s)) ** 2)
    area = np.sqrt(np.sqrt(np.pi) * 0.4 * window.step_s / CYCLE_S)
    rms = measured(waves, window)[:, 0]
    assert rms == pytest.approx(area, rel=0.15)
    assert np.mean(rms**2) == pytest.approx(area**2, rel=0.01)


# --- delay ------------------------------------------------------------------------------------------------


def test_a_delay_asks_for_a_value_held_throughout() -> None:
    """Against max of the sliding minimum over a history that the same pass gives, one cut-off window at a time."""
    rng = np.random.default_rng(5)
    window = transient.Window(FREQUENCY_HZ, 0.3)
    angle = OMEGA * window.times()
    size = np.interp(window.times(), np.linspace(-0.02, 0.3, 17), rng.uniform(0, 2, 17))
    wave = (size * np.sin(angle))[None]
    history = np.empty(window.steps - window.per_cycle)
    for k in range(history.size):                          # what a window that ends k steps later adds
        cut = transient.Window(FREQUENCY_HZ, (k + 1) * window.step_s)
        history[k] = measured(wave[:, :2 * cut.steps + 1], cut)[0, 0]
    running = np.maximum.accumulate(history)
    assert np.array_equal(history, running)                # the largest so far
    steps = np.array([0, 1, 5, 16, 40, 100])
    pickup = measured(wave, window, delays_s=tuple(steps * window.step_s))[0]
    i = measured_history(wave[0], window)
    assert pickup == pytest.approx([sliding_window_view(i, hold + 1).min(axis=-1).max() for hold in steps], rel=1e-9)
    assert pickup[0] == pytest.approx(running[-1], rel=1e-12)


def measured_history(wave: Array, window: transient.Window) -> Array:
    """One-cycle RMS at every step after t = 0, written down a second time: parabola through a step's three points."""
    inner = (2 - np.sqrt(2)) * window.step_s
    node = np.array([0.0, inner, window.step_s]) / window.step_s
    weights = np.linalg.solve(np.vander(node, 3, increasing=True).T, [1, 1 / 2, 1 / 3])
    square = wave**2
    steps = weights[0] * square[0:-2:2] + weights[1] * square[1::2] + weights[2] * square[2::2]
    mean = sliding_window_view(steps, window.per_cycle).mean(axis=-1)
    return np.asarray(np.sqrt(mean[1:]))


def test_a_burst_operates_only_delays_shorter_than_itself() -> None:
    window = transient.Window(FREQUENCY_HZ, 0.4)
    t = window.times()
    wave = np.where((t >= 0) & (t < 5 * CYCLE_S), np.sqrt(2) * np.sin(OMEGA * t), 0.0)[None]
    pickup = measured(wave, window, delays_s=(0.0, 3.9 * CYCLE_S, 5.9 * CYCLE_S, 6.1 * CYCLE_S, 1.0))[0]
    assert pickup[:2] == pytest.approx([1.0, 1.0], abs=0.01)           # full value from the first cycle's end on
    assert 0 < pickup[2] < 0.4                                         # the window's rise and fall counted in
    assert pickup[3] == pytest.approx(0.0, abs=1e-6)                   # beyond burst and window
    assert pickup[4] == 0.0                                            # beyond the time simulated


# --- repetition and early stop ----------------------------------------------------------------------------


def test_a_source_that_repeats_is_one_that_was_written_out() -> None:
    window = transient.Window(FREQUENCY_HZ, 0.3)
    written = np.sqrt(2) * np.sin(OMEGA * window.times() + 0.7)
    written[:65] = 0.0
    short = written[:4 * window.per_cycle + 1]             # one cycle before, one after t = 0
    delays = (0.0, 0.1)
    looped = measured(short[None], window, delays_s=delays, loop_from=2 * window.per_cycle + 1)
    assert looped == pytest.approx(measured(written[None], window, delays_s=delays), rel=1e-12)


def test_an_early_stop_gives_the_full_run_within_its_tolerance() -> None:
    """Internal faults in L1, from rest or load, with remanence; what the faulted phase's leg and the earth leg show.

    A change that dies out slowly goes on after a stop: a few times the tolerance in one leg of a hundred."""
    circuits = random_circuits(11, 256, "two_phase_one_earth")
    fault = circuits.load_a.copy()
    fault[:, 0] += 1000.0 * np.random.default_rng(12).permutation(np.geomspace(0.02, 2.0, 256))
    circuits = replace(circuits, fault_a=fault, decay_s=np.full(256, 1e-3))
    full = circuits.solve(0.5, delays_s=(0.0, 0.06, 0.3)).pickup[:, [0, 3]]
    for settle in (1e-3, 1e-4):
        early = circuits.solve(0.5, delays_s=(0.0, 0.06, 0.3), settle=settle).pickup[:, [0, 3]]
        change = np.abs(early - full) / (full + 1e-3)
        assert 0 < np.quantile(change, 0.99) < 5 * settle
        assert change.max() < 30 * settle


def test_a_value_is_held_from_the_early_stop_to_the_window_s_end() -> None:
    """Ideal CTs settle at once; a delay nearly as long as the window is judged all the same."""
    window = transient.Window(FREQUENCY_HZ, 0.5)
    wave = np.sqrt(2) * np.sin(OMEGA * window.times())[None]
    assert measured(wave, window, delays_s=(0.48, 0.52), settle=1e-3)[0] == pytest.approx([1.0, 0.0], rel=1e-12)
