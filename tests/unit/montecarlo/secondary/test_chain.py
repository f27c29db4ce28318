"""The relay's chain by other means: SciPy's filters, closed forms, and the solution in time without
a chain."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from scipy import signal

from montecarlo.quantities import Array
from montecarlo.secondary import steady, transient
from montecarlo.secondary.chain import Chain, offset_factors, offset_reading, passed
from montecarlo.secondary.circuit import take
from montecarlo.secondary.gates import Gate
from montecarlo.secondary.measurement import Measurement
from montecarlo.secondary.workspace import GAMMA
from tests.made.secondary_cases import FREQUENCY_HZ, OMEGA, random_bank, random_circuits
from tests.unit.montecarlo.secondary.test_gates import (
    FORMS,
    SCHEME,
    WINDOW,
    N,
    gate,
    through_fault,
)
from tests.unit.montecarlo.secondary.test_measurement import measured

FINE = 1120  # steps a cycle: a multiple of 28, 20 and 56
DELAYS_MS = {300.0: 0.757, 400.0: 0.566, 600.0: 0.376}  # at 50 Hz
GAINS_50 = {300.0: 0.99961, 400.0: 0.99988, 600.0: 0.99998}
GAINS_700 = {300.0: 0.181, 400.0: 0.310, 600.0: 0.592}


def chain(
    n: int,
    per_cycle: int = 28,
    length: int = 28,
    *,
    cutoff_hz: float | None = None,
    **other: Any,
) -> Chain:
    """On n samples; the first sample of the relay lies a whole interval after the event."""
    cutoff = None if cutoff_hz is None else np.full(n, cutoff_hz / FREQUENCY_HZ)
    made = Chain(per_cycle, length, None, cutoff, np.zeros(n))
    return replace(made, **other)


def points(per_cycle: int, cycles: float) -> Array:
    """Times of a window's points from 0 on, in cycles."""
    ends = np.arange(round(cycles * per_cycle) + 1) / per_cycle
    grid = np.empty(2 * ends.size - 1)
    grid[::2], grid[1::2] = ends, ends[:-1] + GAMMA / per_cycle
    return grid


# --- low-pass -----------------------------------------------------------------


def phasor(hertz: float, cutoff_hz: float, per_cycle: int = FINE) -> complex:
    """What the low-pass makes of a sinusoid, fitted to 56 samples a cycle."""
    turns = points(per_cycle, 6) * hertz / FREQUENCY_HZ
    samples, _ = passed(
        chain(1, 56, 56, cutoff_hz=cutoff_hz), np.cos(2 * np.pi * turns)[None], per_cycle
    )
    angle = 2 * np.pi * hertz / FREQUENCY_HZ * np.arange(1, samples.size + 1) / 56
    settled = slice(3 * 56, None)
    parts = np.stack([np.cos(angle), np.sin(angle)], axis=1)[settled]
    cosine, sine = np.linalg.lstsq(parts, samples[0, settled], rcond=None)[0]
    return complex(cosine, -sine)


@pytest.mark.parametrize("cutoff_hz", GAINS_50)
@pytest.mark.parametrize("hertz", [50.0, 150.0, 700.0])
def test_the_low_pass_is_scipys(hertz: float, cutoff_hz: float) -> None:
    b, a = signal.butter(2, 2 * np.pi * cutoff_hz, analog=True)
    _, response = signal.freqs(b, a, [2 * np.pi * hertz])
    assert phasor(hertz, cutoff_hz) == pytest.approx(response[0], abs=2e-4)


@pytest.mark.parametrize("cutoff_hz", GAINS_50)
def test_gains_and_delays_in_closed_form(cutoff_hz: float) -> None:
    """|H| = 1 / sqrt(1 + (f/f_c)^4); the delay is its angle over omega."""
    found = phasor(FREQUENCY_HZ, cutoff_hz, N)  # at the steps of a study
    assert abs(found) == pytest.approx(GAINS_50[cutoff_hz], abs=2e-5)
    assert -1e3 * np.angle(found) / OMEGA == pytest.approx(DELAYS_MS[cutoff_hz], abs=1e-3)
    assert abs(phasor(700.0, cutoff_hz)) == pytest.approx(GAINS_700[cutoff_hz], abs=1e-3)
    assert chain(1, cutoff_hz=cutoff_hz).gain() == pytest.approx(GAINS_50[cutoff_hz], abs=5e-6)


def test_any_wave_through_the_low_pass() -> None:
    """Against SciPy's solution, of straight lines between fine points."""
    rng = np.random.default_rng(1)
    knots = np.concatenate([[0.0] * 81, rng.normal(size=160)])
    times = points(FINE, 3)
    wave = np.interp(times, np.arange(knots.size) / 80, knots)
    samples, _ = passed(chain(1, 28, 28, cutoff_hz=400.0), wave[None], FINE)
    b, a = signal.butter(2, 2 * np.pi * 400.0, analog=True)
    dense = np.arange(3 * FINE + 1) / FINE
    _, out, _ = signal.lsim(
        (b, a), np.interp(dense, times, wave), dense / FREQUENCY_HZ, interp=True
    )
    expected = np.interp(np.arange(1, samples.size + 1) / 28, dense, out)
    assert samples[0] == pytest.approx(expected, abs=2e-3)


# --- window -------------------------------------------------------------------


def largest(harmonic: float, per_cycle: int, length: int) -> float:
    """The largest that is read of a sinusoid of peak 1, as a peak, over all points on wave."""
    turns = points(per_cycle, 4)
    angle = 2 * np.pi * np.arange(360)[:, None] / 360
    _, read = passed(
        chain(360, per_cycle, length), np.cos(2 * np.pi * harmonic * turns + angle), per_cycle
    )
    return float(np.sqrt(2) * read[:, 2 * per_cycle :].max())


@pytest.mark.parametrize("per_cycle", [20, 28])
@pytest.mark.parametrize("harmonic", [0, 2, 3, 5])
def test_a_whole_cycle_reads_no_other_harmonic(harmonic: int, per_cycle: int) -> None:
    assert largest(harmonic, per_cycle, per_cycle) == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize(
    ("per_cycle", "gains"),
    [
        (28, [1.2759, 1.0, 0.8542, 0.0, 0.3505, 0.0]),
        (20, [1.2785, 1.0, 0.8595, 0.0, 0.3617, 0.0]),
    ],
)
def test_what_half_a_cycle_reads_of_harmonics(per_cycle: int, gains: list[float]) -> None:
    found = [largest(harmonic, per_cycle, per_cycle // 2) for harmonic in range(6)]
    assert found == pytest.approx(gains, abs=1e-4)


def test_half_a_cycle_of_many_samples_reads_the_integral() -> None:
    """4/pi, 8/(3 pi), 16/(15 pi)."""
    found = [largest(harmonic, 1000, 500) for harmonic in (0, 2, 4)]
    assert found == pytest.approx([4 / np.pi, 8 / (3 * np.pi), 16 / (15 * np.pi)], abs=1e-4)


@pytest.mark.parametrize(("frequency", "most"), [(0.95, 1.0216), (1.05, 1.0204)])
def test_off_the_rated_frequency(frequency: float, most: float) -> None:
    assert largest(frequency, 28, 28) == pytest.approx(most, abs=1e-3)


@pytest.mark.parametrize(
    ("cycles", "overshoot"), [(0.5, 1.1606), (1, 1.1551), (2, 1.1102), (5, 1.0549), (10, 1.0295)]
)
def test_overshoot_on_an_offset(cycles: float, overshoot: float) -> None:
    """Of a sinusoid that begins at 0 with its offset: the largest over points on wave, once the
    window is full."""
    turns, angle = points(280, 5) - 2, np.pi * np.arange(181)[:, None] / 180
    offset = np.sin(angle) * np.exp(-np.maximum(turns, 0) / cycles)
    wave = np.where(turns < 0, 0.0, np.sin(2 * np.pi * turns + angle) - offset)
    _, read = passed(chain(181, 280, 280), wave, 280)
    assert np.sqrt(2) * read[:, 3 * 280 - 1 :].max() == pytest.approx(overshoot, abs=1e-4)


@pytest.mark.parametrize(("length", "low", "high"), [(28, 1.16, 1.17), (14, 2.2, 2.276)])
def test_the_largest_reading_of_an_offset(length: int, low: float, high: float) -> None:
    """Whole cycles: the overshoot. Half: one and what half a cycle reads of a DC component of 1,
    which fades."""
    assert low < offset_reading(chain(1, length=length)) <= high


# --- offset filter ------------------------------------------------------------


def test_the_offset_filter_in_closed_form() -> None:
    """Of 28 samples a cycle and 50 ms: K, its gains, and what is left of a decay of its own time
    constant."""
    tau = 0.05 * FREQUENCY_HZ * 28
    now, back = offset_factors(tau, 28)
    assert now - back == pytest.approx(0.063218, abs=5e-7)  # K, and the gain of DC
    turn = np.exp(-2j * np.pi * np.arange(4) / 28)
    assert abs(now - back * turn) == pytest.approx([0.0632, 1.0, 1.9845, 2.9446], abs=5e-5)
    decay = np.exp(-points(28, 4) * 28 / tau)
    samples, _ = passed(chain(1, offset_samples=tau), decay[None], 28)
    left = samples[0, 1:] / np.exp(-np.arange(2, samples.size + 1) / tau)
    assert left == pytest.approx(-4.5e-4, abs=1e-5)
    assert left == pytest.approx((now - back) * (1 + tau - tau * np.exp(1 / tau)), rel=1e-3)


def test_the_offset_filter_leaves_a_sinusoid_as_large() -> None:
    tau = 0.05 * FREQUENCY_HZ * 28
    sine = np.sin(2 * np.pi * points(28, 4) + 0.3)
    _, read = passed(chain(1, offset_samples=tau), sine[None], 28)
    assert np.sqrt(2) * read[0, 28:] == pytest.approx(1.0, abs=1e-3)


# --- through the solution in time ---------------------------------------------


def test_whole_cycles_at_the_steps_read_as_without_a_chain() -> None:
    """Within 0.5 % on smooth currents, wherever the samples lie."""
    window = transient.Window(FREQUENCY_HZ, 0.2)
    t, rng = window.times(), np.random.default_rng(5)
    n = 33
    decay, angle = rng.uniform(0.02, 0.2, (2, n, 1))
    ac = np.cos(OMEGA * t + 30 * angle)
    after = ac - np.cos(30 * angle) * np.exp(-np.maximum(t, 0) / decay)
    waves = np.where(t < 0, 0.0, after)
    own = chain(n, phase=rng.uniform(size=n))
    delays = {"quantity": "fundamental", "delays_s": (0.0, 0.02)}
    plain, through = measured(waves, window, **delays), measured(waves, window, chain=own, **delays)
    assert through == pytest.approx(plain, rel=5e-3)


def test_what_is_measured_in_the_pass_is_what_the_chain_makes_of_the_currents() -> None:
    """Delays in samples of the relay; a current that jumps is no ramp."""
    window = transient.Window(FREQUENCY_HZ, 0.1)
    t = window.times()
    n = 13
    waves = np.where(t < 0, 0.5, 1.0) * np.sqrt(2) * np.cos(OMEGA * t + np.arange(n)[:, None])
    own = chain(n, 20, 10, cutoff_hz=400.0, phase=np.linspace(0, 0.99, n))
    found = measured(waves, window, quantity="fundamental", chain=own, delays_s=(0.0, 0.005))
    _, read = passed(own, waves, window.per_cycle)
    assert found[:, 0] == pytest.approx(read[:, 20:].max(axis=1), rel=1e-6)
    held = np.lib.stride_tricks.sliding_window_view(read[:, 20:], 6, axis=1).min(axis=2)
    assert found[:, 1] == pytest.approx(held.max(axis=1), rel=1e-6)


def test_phasors_take_the_gain_at_the_fundamental() -> None:
    circuits = random_circuits(4, 9, "per_phase")
    solved = steady.solve(
        circuits.scheme.table, circuits.leg_ohm, circuits.bank, circuits.fault_a, OMEGA
    )
    plain = Measurement(legs=(0, 1, 2))
    through = replace(plain, chain=chain(9, cutoff_hz=300.0))
    gain = solved.quantities(through) / solved.quantities(plain)
    assert gain == pytest.approx(GAINS_50[300.0], abs=5e-6)


def test_a_settled_current_goes_on_as_it_was() -> None:
    circuits = random_circuits(3, 19, "per_phase")
    window = transient.Window(FREQUENCY_HZ, 0.5)
    wave = circuits.primary(window.times())
    source = transient.Source(wave, np.arange(len(circuits.scheme.places)))
    wanted = Measurement(
        legs=tuple(range(len(circuits.scheme.legs))),
        quantity="fundamental",
        delays_s=(0.0, 0.3),
        chain=chain(19, 20, 20, cutoff_hz=400.0),
    )
    whole, ended = (
        transient.solve(
            circuits.scheme.table,
            circuits.leg_ohm,
            circuits.bank,
            source,
            window,
            circuits.load_flux(),
            wanted,
            settle=settle,
        ).pickup
        for settle in (0.0, 1e-3)
    )
    assert ended == pytest.approx(whole, rel=0.01, abs=1e-4)


def gated(gates: tuple[Gate, ...], own: Chain | None, *, bank: Any, wave: Array) -> Any:
    n = len(bank)
    wanted = Measurement(
        legs=SCHEME.watch,
        bias=tuple(element.bias for element in SCHEME.elements),
        forms=FORMS,
        quantity="fundamental",
        gates=gates,
        sides=tuple(tuple(np.maximum(row, 0.0).tolist()) for row in SCHEME.table),
        chain=own,
    )
    source = transient.Source(wave, np.tile(np.arange(3), 2))
    none, ohm = np.zeros((n, 6), complex), np.full((n, 3), 0.1)
    return transient.solve(SCHEME.table, ohm, bank, source, WINDOW, none, wanted, keep_trace=True)


def test_gates_see_the_samples() -> None:
    """Samples that lie on the steps open and close them as the steps do; a filter does it later."""
    n = 19
    bank, wave = random_bank(np.random.default_rng(6), n), through_fault(n)
    gates = (
        gate("time_difference", "current", n, start_a=2.0, stays_steps=56),
        gate("angle", n=n, above=0.5, stays_steps=30),
    )
    plain, sampled = (gated(gates, own, bank=bank, wave=wave) for own in (None, chain(n)))
    assert np.array_equal(plain.on, sampled.on)
    assert plain.on.any()
    filtered = gated(gates, chain(n, cutoff_hz=300.0), bank=bank, wave=wave)
    first = [one.on[:, 0].argmax(axis=-1) for one in (plain, filtered)]
    assert (first[1] >= first[0]).all()
    assert (first[1] > first[0]).any()


def test_no_sample_depends_on_its_neighbours() -> None:
    n = 19
    bank, wave = random_bank(np.random.default_rng(7), n), through_fault(n)
    own = chain(n, 20, 10, cutoff_hz=400.0, phase=np.linspace(0, 0.9, n))
    gates = (gate("time_difference", "current", n, start_a=2.0, stays_steps=56), gate("angle", n=n))
    every = gated(gates, own, bank=bank, wave=wave).pickup
    rows = np.array([17, 3])
    few = gated(
        tuple(one.take(rows) for one in gates),
        own.take(rows),
        bank=take(bank, rows),
        wave=wave[rows],
    )
    assert np.array_equal(few.pickup, every[rows])
