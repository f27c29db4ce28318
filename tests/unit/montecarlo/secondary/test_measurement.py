"""What an element measures, and what delay and early stop make of it: known waves through ideal
CTs."""

from __future__ import annotations

from dataclasses import replace
from typing import Any, get_args

import numpy as np
import pytest
from numba import njit
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray
from scipy.integrate import trapezoid

from montecarlo.quantities import Array
from montecarlo.relays.elements import Relay
from montecarlo.secondary import transient
from montecarlo.secondary.circuit import CtBank
from montecarlo.secondary.judging import QUANTITIES, sustained
from montecarlo.secondary.lanes import LANES, store
from montecarlo.secondary.measurement import Measurement
from tests.made.secondary_cases import FREQUENCY_HZ, OMEGA, random_circuits

CYCLE_S = 1 / FREQUENCY_HZ
TURNS = 100.0


def measured(
    waves: Array,
    window: transient.Window,
    *,
    settle: float = 0.0,
    loop_from: int = -1,
    jumps: bool = False,
    **wanted: Any,
) -> NDArray[np.float64]:
    """Pick-ups (n, delays) of one ideal CT that drives one leg of 50 ohm; waves (n, points) in
    secondary amperes; `wanted` of the `Measurement`."""
    ones = np.ones((len(waves), 1))
    bank = CtBank(
        TURNS * ones,
        2.0 * ones,
        ones,
        0.0 * ones,
        np.zeros((4, len(waves), 1)),
        np.array([15]),
        0.0 * ones,
    )
    source = transient.Source(TURNS * waves[:, None], np.array([0]), loop_from, jumps)
    return transient.solve(
        np.ones((1, 1)),
        50.0 * ones,
        bank,
        source,
        window,
        np.zeros((len(waves), 1), complex),
        Measurement(legs=(0,), **wanted),
        settle=settle,
    ).pickup[:, 0, 0]


# --- what holds whatever is measured ------------------------------------------


def test_every_word_of_a_study_is_measured() -> None:
    assert get_args(Relay.model_fields["measure"].annotation) == tuple(QUANTITIES)


@pytest.mark.parametrize("quantity", QUANTITIES)
def test_what_holds_of_everything_that_is_measured(quantity: str) -> None:
    """Zero in, zero out; a sinusoid reads its RMS, as the solution by phasors has it; twice the
    current reads twice as much; a longer delay never raises a pick-up."""
    window = transient.Window(FREQUENCY_HZ, 0.1)
    t = window.times()
    sine = np.sqrt(2) * np.sin(OMEGA * t + 0.3)
    wave = np.where(t < 0, 0.0, (1 + 2 * np.exp(-t / 0.03)) * sine + np.sin(3 * OMEGA * t))
    waves = np.stack([0 * wave, sine, wave, -2 * wave])
    zero, one, some, twice = measured(
        waves, window, quantity=quantity, delays_s=(0.0, 0.02, 0.05, 0.08)
    )
    assert not zero.any()
    assert one == pytest.approx(1.0, rel=3e-3)
    assert twice == pytest.approx(2 * some, rel=1e-12)
    assert np.all(np.diff(some) <= 0)
    assert some[0] > some[-1] > 0


# --- one cycle ----------------------------------------------------------------


@pytest.mark.parametrize("per_cycle", [16, 32, 64])
def test_rms_of_waves_that_last(per_cycle: int) -> None:
    window = transient.Window(FREQUENCY_HZ, 0.05, per_cycle)
    angle = OMEGA * window.times()
    waves = np.stack(
        [
            np.full(angle.size, -3.0),
            np.sqrt(2) * np.sin(angle + 0.3),
            2 + np.sqrt(2) * (3 * np.cos(angle) + 1.5 * np.sin(5 * angle + 1)),
            np.zeros(angle.size),
        ]
    )
    assert measured(waves, window)[:, 0] == pytest.approx(
        [3.0, 1.0, np.sqrt(4 + 9 + 2.25), 0.0], rel=1e-12
    )


@pytest.mark.parametrize("per_cycle", [16, 32, 64])
def test_fundamental_of_waves_that_last(per_cycle: int) -> None:
    window = transient.Window(FREQUENCY_HZ, 0.05, per_cycle)
    angle = OMEGA * window.times()
    waves = np.stack(
        [
            np.full(angle.size, -3.0),
            np.sqrt(2) * np.sin(angle + 0.3),
            2
            + np.sqrt(2)
            * (3 * np.cos(angle) + 1.5 * np.sin(3 * angle + 1) + 2 * np.cos(7 * angle)),
        ]
    )
    assert measured(waves, window, quantity="fundamental")[:, 0] == pytest.approx(
        [0.0, 1.0, 3.0], abs=1e-12
    )


def test_a_current_that_jumps_is_measured_from_the_jump_on() -> None:
    """0 up to the event, then A·e^(-t/τ): both values stand at t = 0. RMS and fundamental have
    closed forms; the RMS is largest a cycle after the jump, the fundamental earlier, the peak is A.
    """
    window, peak, tau = transient.Window(FREQUENCY_HZ, 0.04), 3.0, 0.004
    times = window.times()
    event = 2 * window.per_cycle
    wave = np.append(np.zeros(event + 1), peak * np.exp(-times[event:] / tau))[None]
    rms = peak * np.sqrt(tau / 2 * (1 - np.exp(-2 * CYCLE_S / tau)) / CYCLE_S)
    rate = 1 / tau + 1j * OMEGA
    cycle = times[event : event + 2 * window.per_cycle + 1 : 2]
    fundamental = peak * np.max(np.abs((1 - np.exp(-rate * cycle)) / rate)) * np.sqrt(2) / CYCLE_S
    for quantity, exact in (
        ("rms", rms),
        ("fundamental", fundamental),
        ("peak", peak / np.sqrt(2)),
    ):
        found = measured(wave, window, jumps=True, quantity=quantity)[0, 0]
        assert found == pytest.approx(exact, rel=1e-4), quantity


@pytest.mark.parametrize("frequency_hz", [45.0, 55.0, 250.0, 320.0])
def test_off_the_rated_frequency(frequency_hz: float) -> None:
    """The largest over a window of one cycle, against the integrals over a fine grid of windows."""
    window = transient.Window(FREQUENCY_HZ, 0.2)
    wave = np.sqrt(2) * np.sin(2 * np.pi * frequency_hz * window.times() + 0.4)
    ends = window.times()[2::2]
    inside = np.linspace(-CYCLE_S, 0.0, 2001)[:, None] + ends[ends > 1e-9]
    fine = np.sqrt(2) * np.sin(2 * np.pi * frequency_hz * inside + 0.4)
    rms = np.sqrt(trapezoid(fine**2, dx=1 / 2000, axis=0)).max()
    turned = np.abs(
        trapezoid(fine * np.exp(-1j * OMEGA * inside), dx=1 / 2000, axis=0)
    ).max() * np.sqrt(2)
    assert measured(wave[None], window)[0, 0] == pytest.approx(rms, rel=5e-3)
    assert measured(wave[None], window, quantity="fundamental")[0, 0] == pytest.approx(
        turned, abs=5e-3
    )


def test_a_pulse_shorter_than_a_step_counts_by_its_area() -> None:
    """Pulses wherever they fall in a step: on the mean their square's area, within a few per cent
    each."""
    window = transient.Window(FREQUENCY_HZ, 0.04)
    starts = 0.01 + np.linspace(0, window.step_s, 41)[:-1]
    waves = np.exp(-0.5 * ((window.times() - starts[:, None]) / (0.4 * window.step_s)) ** 2)
    area = np.sqrt(np.sqrt(np.pi) * 0.4 * window.step_s / CYCLE_S)
    rms = measured(waves, window)[:, 0]
    assert rms == pytest.approx(area, rel=0.15)
    assert np.mean(rms**2) == pytest.approx(area**2, rel=0.01)


# --- delay --------------------------------------------------------------------


def test_a_delay_asks_for_a_value_held_throughout() -> None:
    """Against max of the sliding minimum over a history that the same pass gives, one cut-off
    window at a time."""
    rng = np.random.default_rng(5)
    window = transient.Window(FREQUENCY_HZ, 0.3)
    angle = OMEGA * window.times()
    size = np.interp(window.times(), np.linspace(-0.02, 0.3, 17), rng.uniform(0, 2, 17))
    wave = (size * np.sin(angle))[None]
    history = np.empty(window.steps - window.per_cycle)
    for k in range(history.size):  # what a window that ends k steps later adds
        cut = transient.Window(FREQUENCY_HZ, (k + 1) * window.step_s)
        history[k] = measured(wave[:, : 2 * cut.steps + 1], cut)[0, 0]
    running = np.maximum.accumulate(history)
    assert np.array_equal(history, running)  # the largest so far
    steps = np.array([0, 1, 5, 16, 40, 100])
    pickup = measured(wave, window, delays_s=tuple(steps * window.step_s))[0]
    i = measured_history(wave[0], window)
    assert pickup == pytest.approx(
        [sliding_window_view(i, hold + 1).min(axis=-1).max() for hold in steps], rel=1e-9
    )
    assert pickup[0] == pytest.approx(running[-1], rel=1e-12)


def measured_history(wave: Array, window: transient.Window) -> Array:
    """One-cycle RMS at every step after t = 0, written down a second time: parabola through a
    step's three points."""
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
    pickup = measured(
        wave, window, delays_s=(0.0, 3.9 * CYCLE_S, 5.9 * CYCLE_S, 6.1 * CYCLE_S, 1.0)
    )[0]
    assert pickup[:2] == pytest.approx(
        [1.0, 1.0], abs=0.01
    )  # full value from the first cycle's end on
    assert 0 < pickup[2] < 0.4  # the window's rise and fall counted in
    assert pickup[3] == pytest.approx(0.0, abs=1e-6)  # beyond burst and window
    assert pickup[4] == 0.0  # beyond the time simulated


# --- peak ---------------------------------------------------------------------


def test_peak_of_waves_that_last() -> None:
    """Over root two: a sinusoid reads its RMS, within what 56 points a cycle can miss of a crest
    (0.22 %, half the widest gap of 0.59 steps); an offset adds to it, a third harmonic by its
    crest."""
    window = transient.Window(FREQUENCY_HZ, 0.05)
    angle = OMEGA * window.times()
    phases = np.linspace(0, np.pi, 23)[:, None]
    sines = measured(np.sqrt(2) * np.sin(angle + phases), window, quantity="peak")[:, 0]
    assert np.all((sines <= 1 + 1e-12) & (sines > 1 - 0.0022))
    assert sines.std() > 0
    with_offset = measured(0.5 + np.sqrt(2) * np.sin(angle + phases), window, quantity="peak")[:, 0]
    assert with_offset == pytest.approx(1 + 0.5 / np.sqrt(2), rel=2e-3)
    pointed = measured(
        np.sqrt(2) * (np.cos(angle) + 0.4 * np.cos(3 * angle))[None], window, quantity="peak"
    )
    assert pointed[0, 0] == pytest.approx(1.4, rel=1e-9)
    assert measured(np.full((1, angle.size), -3.0), window, quantity="peak")[0, 0] == pytest.approx(
        3 / np.sqrt(2)
    )


def test_a_peak_is_kept_for_a_cycle_and_no_longer() -> None:
    """A pulse of a twentieth of a cycle: little RMS, its whole height as peak, for a cycle."""
    window = transient.Window(FREQUENCY_HZ, 0.08)
    t = window.times()
    pulse = np.where((t >= 0.02) & (t < 0.021), 1.0, 0.0)[None]
    delays = (0.0, 0.9 * CYCLE_S, 1.2 * CYCLE_S)
    assert measured(pulse, window, quantity="peak", delays_s=delays)[0] == pytest.approx(
        [1 / np.sqrt(2), 1 / np.sqrt(2), 0.0]
    )
    assert measured(pulse, window)[0, 0] < 0.3


def test_a_decaying_offset_raises_the_peak_most_then_rms_and_the_fundamental_least() -> None:
    window = transient.Window(FREQUENCY_HZ, 0.2)
    t = window.times()
    wave = np.where(t < 0, 0.0, np.sqrt(2) * (np.exp(-t / 0.05) - np.cos(OMEGA * t)))[None]
    peak, rms, first = (
        measured(wave, window, quantity=kind)[0, 0] for kind in ("peak", "rms", "fundamental")
    )
    fine = np.linspace(0, 0.02, 20001)
    assert peak == pytest.approx((np.exp(-fine / 0.05) - np.cos(OMEGA * fine)).max(), rel=2e-3)
    assert peak > rms > first > 1.0


# --- drop-off and over-travel -------------------------------------------------


def operates(series: Array, pickup: float, hold: int, drop_off: float) -> bool:
    """An element step by step: it picks up above its pick-up, resets below the drop-off, trips when
    held."""
    since = -1
    for k, value in enumerate(series):
        if since < 0 and value > pickup:
            since = k
        elif since >= 0 and value < drop_off * pickup:
            since = -1
        if since >= 0 and k - since >= hold:
            return True
    return False


@njit
def sustained_by(walks, hold, drop_off):  # type: ignore[no-untyped-def]
    """(LANES,) of walks (steps, LANES)."""
    out = np.empty((1, LANES))
    store(out, 0, sustained(walks, 0, len(walks), hold, drop_off, np.empty_like(walks)))
    return out[0]


@pytest.mark.parametrize("drop_off", [1.0, 0.95, 0.6, 0.2])
def test_drop_off_against_an_element_followed_step_by_step(drop_off: float) -> None:
    """The critical pick-up splits those that trip from those that do not; 64 walks, each hold,
    pick-ups near it."""
    rng = np.random.default_rng(13)
    for _ in range(4):
        walks = np.abs(np.cumsum(rng.normal(size=(40, LANES)), axis=0)) * rng.uniform(0.5, 2, LANES)
        for hold in (0, 1, 3, 10, 39, 40):
            found = sustained_by(walks, hold, drop_off)
            if hold == 40:
                assert not found.any()  # longer than the series
                continue
            for walk, critical in zip(walks.T, found, strict=True):
                for pickup in (critical * (1 - 1e-9), critical * (1 + 1e-9), *rng.uniform(0, 8, 5)):
                    assert operates(walk, pickup, hold, drop_off) == (pickup < critical)


def test_a_lower_drop_off_never_lowers_the_critical_pickup() -> None:
    walks = np.abs(np.cumsum(np.random.default_rng(14).normal(size=(50, LANES)), axis=0))
    found = np.stack([sustained_by(walks, 8, ratio) for ratio in (1.0, 0.9, 0.5, 0.1)])
    assert np.all(np.diff(found, axis=0) >= 0)
    assert found[0] == pytest.approx(sliding_window_view(walks, 9, axis=0).min(axis=-1).max(axis=0))
    assert np.all(found[-1] <= walks[:-8].max(axis=0))  # never above what picks it up


def test_an_element_that_has_picked_up_rides_through_a_dip() -> None:
    """1.0 for three cycles, 0.8 for three, 1.0 for three: with 0.75 it holds for eight, with 0.9
    for three."""
    window = transient.Window(FREQUENCY_HZ, 10 * CYCLE_S)
    t = window.times()
    size = np.where(
        (t >= 3 * CYCLE_S) & (t < 6 * CYCLE_S), 0.8, np.where(t < 9 * CYCLE_S, 1.0, 0.0)
    )
    wave = (size * np.sqrt(2) * np.sin(OMEGA * t))[None]
    for drop_off, expected in ((1.0, 0.8), (0.9, 0.8 / 0.9), (0.75, 1.0)):
        pickup = measured(wave, window, delays_s=(7 * CYCLE_S,), drop_off=drop_off)[0, 0]
        assert pickup == pytest.approx(expected, rel=0.01)


def test_over_travel_makes_up_for_a_burst_that_is_too_short() -> None:
    """Five cycles at 1.0 hold the full value for four; a delay of 4.5 cycles needs half a cycle of
    over-travel."""
    window = transient.Window(FREQUENCY_HZ, 0.4)
    t = window.times()
    wave = np.where((t >= 0) & (t < 5 * CYCLE_S), np.sqrt(2) * np.sin(OMEGA * t), 0.0)[None]
    delays = (4.5 * CYCLE_S, 6.5 * CYCLE_S)
    without = measured(wave, window, delays_s=delays)[0]
    with_it = measured(wave, window, delays_s=delays, over_travel_s=0.6 * CYCLE_S)[0]
    assert without[0] < 0.9
    assert with_it == pytest.approx(
        [1.0, measured(wave, window, delays_s=(5.9 * CYCLE_S,))[0, 0]], abs=0.01
    )
    assert without[1] < 1e-6 < with_it[1]
    more = measured(wave, window, delays_s=(0.02,), over_travel_s=0.05)[0, 0]
    assert more == measured(wave, window, delays_s=(0.0,))[0, 0]  # never below no delay


# --- repetition and early stop ------------------------------------------------


def test_a_source_that_repeats_is_one_that_was_written_out() -> None:
    window = transient.Window(FREQUENCY_HZ, 0.3)
    written = np.sqrt(2) * np.sin(OMEGA * window.times() + 0.7)
    written[: 2 * window.per_cycle + 1] = 0.0
    short = written[: 4 * window.per_cycle + 1]  # one cycle before, one after t = 0
    delays = (0.0, 0.1)
    looped = measured(short[None], window, delays_s=delays, loop_from=2 * window.per_cycle + 1)
    assert looped == pytest.approx(measured(written[None], window, delays_s=delays), rel=1e-12)


def test_an_early_stop_gives_the_full_run_within_its_tolerance() -> None:
    """Internal faults in L1, from rest or load, with remanence; what the faulted phase's leg and
    the earth leg show.

    A change that dies out slowly goes on after a stop: a few times the tolerance in one leg of a
    hundred."""
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
    assert measured(wave, window, delays_s=(0.48, 0.52), settle=1e-3)[0] == pytest.approx(
        [1.0, 0.0], rel=1e-12
    )
