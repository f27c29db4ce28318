"""The phasor solution in lanes: its parts against plain arithmetic, and what a sample must not
depend on."""

from __future__ import annotations

import os
from dataclasses import replace

import numpy as np
import pytest
from numba import njit

from montecarlo.quantities import Array
from montecarlo.relays.schemes import build_scheme
from montecarlo.secondary import phasor_kernel as kernel
from montecarlo.secondary import steady
from montecarlo.secondary.admittance import TOP_FLUX, admittance, angle_of
from montecarlo.secondary.excitation import (
    YIELDS,
    excitation_table,
    one_stop_table,
    sine_power_fundamental,
)
from montecarlo.secondary.lanes import LANES, load, square_root, store
from montecarlo.secondary.workspace import network
from tests.made.secondary_cases import OMEGA, Circuits, log_uniform, random_circuits

SEED = int(os.environ.get("STATORODDS_TEST_SEED", "20"))
KINDS = ("two_phase_one_earth", "per_phase")


def solve(circuits: Circuits) -> steady.Steady:
    return steady.solve(
        circuits.scheme.table, circuits.leg_ohm, circuits.bank, circuits.fault_a, OMEGA
    )


# --- the describing function --------------------------------------------------


@njit
def _angles(shares: Array, out: Array) -> None:
    for row in range(shares.shape[0]):
        share = load(shares, row)
        store(out, row, angle_of(share, square_root(share * (1.0 - share))))


@njit
def _admittances(square: Array, curve: Array, power: int, out: Array) -> None:
    for row in range(square.shape[0]):
        g, h, rise, turn = admittance(
            load(square, row), load(curve, 0), load(curve, 1), load(curve, 2), load(curve, 3), power
        )
        store(out, 4 * row, g)
        store(out, 4 * row + 1, h)
        store(out, 4 * row + 2, rise)
        store(out, 4 * row + 3, turn)


def lanes_of(values: Array) -> Array:
    return np.ascontiguousarray(np.resize(values, (-(-values.size // LANES), LANES)))


def test_the_angle_of_a_stop() -> None:
    shares = lanes_of(
        np.concatenate(
            [
                np.geomspace(1e-12, 0.5, 800),
                np.linspace(0, 1, 2001),
                1 - np.geomspace(1e-12, 0.5, 800),
                np.nextafter(0.5, [0.0, 1.0]),
            ]
        )
    )
    out = np.empty_like(shares)
    _angles(shares, out)
    exact = 2 * np.arctan2(np.sqrt(shares), np.sqrt(1 - shares))
    assert out == pytest.approx(exact, rel=1e-12, abs=0)
    bad = np.full((1, LANES), np.nan)
    _angles(bad, out)
    assert np.isnan(out[0]).all()


def lane_admittance(peak: Array, coefficients: Array, exponent: int) -> Array:
    """y, y'/peak as complex numbers: (2, peaks)."""
    square, out = lanes_of(peak**2), np.empty((4 * -(-peak.size // LANES), LANES))
    a, b, c1, c2 = coefficients
    curve = np.array(
        [
            a,
            b * sine_power_fundamental(exponent),
            c1 / (np.pi * YIELDS[0]),
            c2 / (np.pi * YIELDS[1]),
        ]
    )
    _admittances(square, np.repeat(curve[:, None], LANES, axis=1), (exponent - 1) // 2, out)
    parts = out.reshape(-1, 4, LANES).swapaxes(0, 1).reshape(4, -1)[:, : peak.size]
    return np.asarray(parts[::2] + 1j * parts[1::2])


@pytest.mark.parametrize("exponent", [9, 15, 31])
def test_admittance_in_lanes_and_its_slope(exponent: int) -> None:
    """Against numpy, and against the slope by differences away from the yields; along the tangent
    the current is linear and meets the characteristic without a corner."""
    coefficients = excitation_table(80.0, exponent).at(0.3)
    peak = np.geomspace(1e-3, 1.29, 500)
    peak = peak[np.abs(peak[:, None] / YIELDS - 1).min(axis=1) > 0.01]
    y, slope = lane_admittance(peak, coefficients, exponent)

    def plain(at: Array) -> Array:
        return np.asarray(
            steady.describing_function(
                at, np.repeat(coefficients[:, None], at.size, axis=1), exponent
            )
        )

    assert y == pytest.approx(plain(peak), rel=1e-12)
    step = 1e-5 * peak
    assert (
        np.abs(slope * peak**2 - (plain(peak + step) - plain(peak - step)) / 2e-5).max()
        < 1e-6 * np.abs(y).max()
    )
    far = np.array([TOP_FLUX * (1 - 1e-9), TOP_FLUX * (1 + 1e-9), 2.0, 3.0, 40.0])
    y, slope = lane_admittance(far, coefficients, exponent)
    rise = y + slope * far**2  # d(y·peak)/d(peak)
    assert rise == pytest.approx(rise[0], rel=1e-6)
    assert np.diff(y * far) == pytest.approx(rise[0] * np.diff(far), rel=1e-6)


def test_where_the_exciting_current_rises_with_the_flux() -> None:
    """What elimination without pivots rests on: D's symmetric part, whose two eigenvalues belong to
    y + y'·peak/2 with ∓|y'·peak|/2. It holds up to an ankle of 0.28 and fails at the highest ones,
    as the kernel says."""
    peak = np.geomspace(1e-3, 20.0, 1000)

    def least(coefficients: Array, exponent: int) -> float:
        y, slope = lane_admittance(peak, coefficients, exponent)
        turn = slope * peak**2
        return float(((y + turn / 2).real - np.abs(turn) / 2).min())

    for exponent in (15, 19, 25, 31):
        for curve in (excitation_table(80.0, exponent), one_stop_table(exponent)):
            ankles = curve.ankle[::5]
            assert min(least(curve.at(ankle), exponent) for ankle in ankles[ankles <= 0.28]) > 0
    assert least(one_stop_table(15).at(0.75), 15) < 0


# --- the system of the legs ---------------------------------------------------


@pytest.mark.parametrize(
    "table",
    [
        build_scheme("two_phase_one_earth").table,
        np.ones((1, 1)),
        np.ones((3, 2)),
        build_scheme("two_phase_one_earth")
        .with_return_cores(("neutral_end", "line_end"))
        .matched({"line_end": 1.3})
        .table,
    ],
)
@pytest.mark.parametrize("highest_ankle", [False, True])
def test_newton_s_move_against_the_dense_matrix(table: Array, highest_ankle: bool) -> None:
    """Legs of 0 to 3000 ohm, fluxes from the foot to deep saturation; also where a stop's current
    falls with the flux."""
    legs, places = table.shape
    rng = np.random.default_rng(SEED + 70)
    w = np.zeros((kernel.FACTOR + 4 * legs * legs, LANES))
    ohm = log_uniform(rng, 0.01, 3000.0, (legs, LANES)) * (rng.random((legs, LANES)) > 0.2)
    gain = 1 / log_uniform(rng, 100.0, 500.0, (places, LANES))
    series = gain * rng.uniform(0.0, 10.0, (places, LANES))
    off = rng.standard_normal((2, places, LANES))
    curve = one_stop_table(15).at(0.75) if highest_ankle else excitation_table(80.0, 15).at(0.2)
    peak = log_uniform(rng, 0.01, 3.0, places * LANES)
    y, slope = (part.reshape(places, LANES) for part in lane_admittance(peak, curve, 15))
    m = peak.reshape(places, LANES) * np.exp(2j * np.pi * rng.random((places, LANES)))
    along, across = (0.03 * (y * e + slope * m * (m.conj() * e).real) for e in (1, 1j))
    slopes = np.stack([along.real, across.real, along.imag, across.imag])
    for group, values in (
        (kernel.GAIN, gain),
        (kernel.SERIES, series),
        (kernel.OFF, off[0]),
        (kernel.OFF + kernel.IMAG, off[1]),
        (kernel.OHM, ohm),
        (kernel.ROOT, np.sqrt(ohm)),
        *((kernel.SLOPE + k * kernel.IMAG, slopes[k]) for k in range(4)),
    ):
        w[group : group + len(values)] = values
    w[kernel.BEFORE] = np.inf
    w[kernel.FACTOR :] = np.nan  # what is read there must have been written
    net = network(table)
    kernel.move(w, legs, places, net.member, net.sign)
    for b in range(LANES):
        d = np.zeros((2 * places, 2 * places))
        for c in range(places):
            d[2 * c : 2 * c + 2, 2 * c : 2 * c + 2] = slopes[:, c, b].reshape(2, 2)
        coupling = np.diag(series[:, b]) + gain[:, b, None] * (table.T @ (ohm[:, b, None] * table))
        jacobian = (
            np.kron(np.eye(places), [[0.0, -1.0], [1.0, 0.0]]) + np.kron(coupling, np.eye(2)) @ d
        )
        move = np.linalg.solve(jacobian, off[:, :, b].T.ravel()).reshape(places, 2).T
        found = w[
            [[kernel.STEP + part * kernel.IMAG + c for c in range(places)] for part in range(2)], b
        ]
        assert found == pytest.approx(move, rel=1e-9, abs=1e-10 * np.abs(move).max())


# --- samples ------------------------------------------------------------------


@pytest.mark.parametrize("kind", KINDS)
def test_a_phasor_solution_depends_on_its_sample_alone(kind: str) -> None:
    """To the last bit: in any order, in any number, next to whatever neighbours."""
    circuits = random_circuits(SEED + 71, 6 * LANES + 5, kind)
    circuits = replace(circuits, fault_a=5 * circuits.fault_a)
    together = solve(circuits)
    assert np.abs(together.flux).max() > 1.0
    order = np.random.default_rng(SEED).permutation(len(circuits))
    for some in (order, order[:1], order[:LANES], order[: LANES + 1], order[: LANES - 1]):
        for one, other in zip(solve(circuits.pick(some)), together, strict=True):
            assert np.array_equal(one, other[some])


def test_a_bad_phasor_sample_stays_alone() -> None:
    circuits = random_circuits(SEED + 72, 48, "two_phase_one_earth")
    spoilt = replace(
        circuits,
        fault_a=circuits.fault_a.copy(),
        leg_ohm=circuits.leg_ohm.copy(),
        bank=replace(circuits.bank, coefficients=circuits.bank.coefficients.copy()),
    )
    spoilt.fault_a[3, 1], spoilt.leg_ohm[20, 0], spoilt.bank.coefficients[0, 33, 2] = (
        np.inf,
        np.nan,
        np.nan,
    )
    good = np.setdiff1d(np.arange(len(circuits)), [3, 20, 33])
    with np.errstate(invalid="ignore"):
        pairs = list(zip(solve(spoilt), solve(circuits), strict=True))
    for one, other in pairs:
        assert np.isnan(one[[3, 20, 33]]).all()
        assert np.array_equal(one[good], other[good])


def test_a_sample_that_does_not_settle_is_not_a_number(monkeypatch: pytest.MonkeyPatch) -> None:
    circuits = random_circuits(SEED + 74, 8 * LANES, "two_phase_one_earth")
    whole = solve(circuits)
    monkeypatch.setattr(steady, "MAX_PASSES", 3)
    for one, other in zip(solve(circuits), whole, strict=True):
        settled = np.isfinite(one).all(axis=1)
        assert 0 < settled.sum() < len(circuits)
        assert np.array_equal(one[settled], other[settled])
        assert np.isnan(one[~settled]).all()


def test_nothing_flows_without_a_source_and_nothing_fails_without_a_sample() -> None:
    circuits = random_circuits(SEED + 73, 5, "per_phase")
    still = solve(replace(circuits, fault_a=0 * circuits.fault_a))
    assert not any(np.any(part) for part in still)
    assert [part.shape for part in solve(circuits.pick(slice(0, 0)))] == [(0, 3), (0, 6), (0, 6)]
