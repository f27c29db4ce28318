"""The transient solution against the general circuit simulator ngspice (Debian package ngspice 39.3+ds-1).

Each scheme is drawn as it is built, node by node, without the table A: CTs with their windings and leads, the relay's
star, the earth leg back to the CTs' star point. So the tests also show that A stands for that wiring. Any other table,
of whatever entries, is put to the simulator through ideal transformers (`by_table`). Cores have no stops here, since a
circuit simulator has no such element: i = a·m + b·m^S. Only the random circuits and the start fluxes are shared with
the code under test.

Without ngspice the tests are skipped.
"""

from __future__ import annotations

import os
import shutil
import subprocess
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import get_args

import numpy as np
import pytest

from montecarlo.quantities import Array
from montecarlo.relays.schemes import SchemeKind
from tests.against.test_solve_ivp import CYCLE_S, largest_rms
from tests.secondary_cases import EXPONENT, FREQUENCY_HZ, OMEGA, Circuits, random_circuits

SEED = int(os.environ.get("STATORODDS_TEST_SEED", "50"))
NGSPICE = shutil.which("ngspice")
EACH = 12                                                  # circuits a scheme
AFTER_S = 0.16                                             # eight cycles
START_S = 2 * CYCLE_S                                      # from the simulator's start to the fault
FINE = 1024                                                # steps a cycle for the comparison at every point
SIMULATOR_STEPS = 1024                                     # a cycle, at least

Wiring = Callable[[Circuits], Iterator[str]]

pytestmark = pytest.mark.skipif(NGSPICE is None, reason="ngspice is not installed")


# --- the circuit as text ----------------------------------------------------------------------------------


def ct(circuit: Circuits, c: int, dot: str, other: str) -> Iterator[str]:
    """One CT with its winding and lead between two nodes; its current leaves at `dot`. Voltage m{c} is its flux."""
    bank, turns = circuit.bank, circuit.bank.turns[0, c] / np.sqrt(2)
    load, fault = circuit.load_a[0, c] / turns, circuit.fault_a[0, c] / turns
    a, b = bank.coefficients[:2, 0, c] * bank.knee_current_a[0, c]
    t = f"(time-{START_S!r})"

    def turning(phasor: complex) -> str:
        return f"{abs(phasor):.15g}*cos({OMEGA!r}*{t}+({np.angle(phasor):.15g}))"

    offset = f"({(load - fault).real:.15g})*exp(-{t}/{circuit.decay_s[0]:.15g})"
    yield f"Bs{c} {other} e{c} I={t} < 0 ? {turning(load)} : {turning(fault)} + {offset}"
    yield f"Bm{c} e{c} {other} I={a:.15g}*v(m{c}) + {b:.15g}*v(m{c})*(v(m{c})*v(m{c}))^{(EXPONENT - 1) // 2}"
    yield f"Gf{c} 0 m{c} e{c} {other} 1"
    yield f"Cf{c} m{c} 0 {bank.knee_flux_wb[0, c]:.15g}"
    yield f".ic v(m{c})={circuit.load_flux()[0, c].real:.15g}"
    yield f"Rs{c} e{c} {dot} {bank.series_ohm[0, c]:.15g}"


def leg(k: int, ohm: float, start: str, end: str) -> Iterator[str]:
    """A leg with its ammeter vl{k}."""
    yield f"Vl{k} {start} {f'l{k}' if ohm else end} 0"
    if ohm:
        yield f"Rl{k} l{k} {end} {ohm:.15g}"


def both_ends(circuit: Circuits, star: str, neutral_end: str = "0", line_end: str = "0") -> Iterator[str]:
    """In each phase the two ends' CTs against each other on the core p{phase}, and a leg from there to the relay's
    star; each end's three CTs meet in a star point of their own, or all six in the panel's, 0."""
    for phase in range(3):
        yield from ct(circuit, phase, f"p{phase}", neutral_end)
        yield from ct(circuit, phase + 3, line_end, f"p{phase}")
        yield from leg(phase, circuit.leg_ohm[0, phase], f"p{phase}", star)


def per_phase(circuit: Circuits) -> Iterator[str]:
    yield from both_ends(circuit, "0")


def two_phase_one_earth(circuit: Circuits) -> Iterator[str]:
    yield from both_ends(circuit, "star")
    yield from leg(3, circuit.leg_ohm[0, 3], "star", "0")


def four_wire(circuit: Circuits) -> Iterator[str]:
    """As before, but each end's star point stands at that end, and a return core leads from there to the panel's;
    the line-end CTs drive theirs from their star point, the neutral-end CTs towards it."""
    yield from both_ends(circuit, "star", "neutral_end", "line_end")
    yield from leg(3, circuit.leg_ohm[0, 3], "star", "0")
    yield from leg(4, circuit.leg_ohm[0, 4], "0", "neutral_end")
    yield from leg(5, circuit.leg_ohm[0, 5], "line_end", "0")


def by_table(circuit: Circuits) -> Iterator[str]:
    """Every entry of A an ideal transformer between a CT's loop and a leg's loop."""
    table = circuit.scheme.table
    for k, row in enumerate(table):
        yield from leg(k, circuit.leg_ohm[0, k], f"leg{k}", "0")
        yield from (f"Fa{k}_{c} 0 leg{k} Vc{c} {row[c]:.15g}" for c in np.flatnonzero(row))
    for c, column in enumerate(table.T):
        yield from ct(circuit, c, f"dot{c}", "0")
        driven = np.flatnonzero(column)
        nodes = [*(f"loop{c}_{k}" for k in driven), "0"]
        yield f"Vc{c} dot{c} {nodes[0]} 0"
        for k, start, end in zip(driven, nodes[:-1], nodes[1:], strict=True):
            yield f"Ea{k}_{c} {start} {end} leg{k} 0 {column[k]:.15g}"


WIRING: dict[str, Wiring] = {"per_phase": per_phase, "two_phase_one_earth": two_phase_one_earth}


# --- the rival --------------------------------------------------------------------------------------------


def simulate(circuit: Circuits, wiring: Wiring, times: Array, folder: Path) -> tuple[Array, Array]:
    """Leg currents (legs, times) [A] and fluxes (ct, times) [knee flux]; `times` from one cycle before the fault."""
    legs, places = circuit.scheme.table.shape
    step, stop = CYCLE_S / SIMULATOR_STEPS, START_S + times[-1]
    wanted = [*(f"i(vl{k})" for k in range(legs)), *(f"v(m{c})" for c in range(places))]
    deck = ["secondary circuit", *wiring(circuit),
            f"Vmark mark 0 PWL(0 0 {START_S!r} 0 1 1)",    # a corner: no step may span the inception
            ".options method=gear reltol=1e-6 abstol=1e-9 vntol=1e-9 trtol=1",
            ".control", f"tran {step!r} {stop + step:.15g} 0 {step!r}",
            "set wr_singlescale", "set numdgt=12", "wrdata legs.data " + " ".join(wanted), ".endc", ".end"]
    (folder / "deck.cir").write_text("\n".join(deck) + "\n")
    (folder / "legs.data").unlink(missing_ok=True)
    run = subprocess.run([str(NGSPICE), "-n", "-b", "deck.cir"], cwd=folder, capture_output=True, text=True, timeout=60)
    assert (folder / "legs.data").exists(), run.stdout + run.stderr
    t, *values = np.loadtxt(folder / "legs.data").T
    assert t[-1] > stop, run.stdout + run.stderr
    answer = np.stack([np.interp(START_S + times, t, value) for value in values])
    return answer[:legs], answer[legs:]


def grid(per_cycle: int) -> Array:
    """Times from one cycle before the fault to the window's end."""
    return np.arange(-per_cycle, round(AFTER_S * FREQUENCY_HZ * per_cycle) + 1) / (per_cycle * FREQUENCY_HZ)


# --- comparison -------------------------------------------------------------------------------------------


def matched(seed: int, n: int) -> Circuits:
    """Line-end CTs of another ratio behind matching factors that are no signs; the third phase by one end only."""
    circuits = random_circuits(seed, n, "two_phase_one_earth", hysteresis=False)
    factor = np.array([1.0, 1.0, 1.0, 0.8, 0.8, 0.8])
    table = circuits.scheme.table * factor
    table[2, 5] = 0.0
    bank = replace(circuits.bank, turns=circuits.bank.turns * factor)
    return replace(circuits, scheme=replace(circuits.scheme, table=table), bank=bank)


def with_return_cores(seed: int, n: int) -> Circuits:
    """Four cores from each end: a row over the end's three CTs for its return core."""
    circuits = random_circuits(seed, n, "two_phase_one_earth", hysteresis=False)
    scheme, core = circuits.scheme, np.random.default_rng(seed).uniform(1.0, 10.0, (n, 2))
    rows = np.kron(np.eye(2), np.ones(3))
    scheme = replace(scheme, legs=(*scheme.legs, "return_n", "return_l"), table=np.vstack([scheme.table, rows]))
    return replace(circuits, scheme=scheme, leg_ohm=np.hstack([circuits.leg_ohm, core]))


def of_kind(kind: SchemeKind) -> Callable[[int, int], Circuits]:
    return lambda seed, n: random_circuits(seed, n, kind, hysteresis=False)


CASES: dict[str, tuple[Callable[[int, int], Circuits], Wiring]] = {
    **{kind: (of_kind(kind), WIRING.get(kind, by_table)) for kind in get_args(SchemeKind)},
    "return_cores": (with_return_cores, four_wire),
    "matched": (matched, by_table)}


@dataclass(frozen=True, eq=False)
class Comparison:
    """Every leg that carries a current, of all circuits; errors as a share of the simulator's largest value."""

    pointwise: Array                                       # (legs,) at the fine step
    rms: Array                                             # (legs,) of the largest one-cycle RMS at the default step
    largest_flux: Array                                    # (circuits,) knee flux


@pytest.fixture(scope="module", params=CASES)
def comparison(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Comparison:
    return compare(request.param, SEED, EACH, tmp_path_factory.mktemp(request.param))


def compare(name: str, seed: int, n: int, folder: Path) -> Comparison:
    draw, wiring = CASES[name]
    circuits = draw(seed, n)
    truth, flux = zip(*(simulate(circuits.pick([k]), wiring, grid(FINE), folder) for k in range(n)), strict=True)
    legs = np.stack(truth)
    peak = np.abs(legs).max(axis=-1)
    seen = peak > 1e-3                                     # a leg that carries next to nothing has no error to speak of
    fine = circuits.solve(AFTER_S, FINE, trace=True).trace
    rms = circuits.solve(AFTER_S).pickup[..., 0]
    return Comparison((np.abs(fine - legs[..., 1:]).max(axis=-1) / peak)[seen],
                      np.abs(rms / largest_rms(legs, FINE) - 1)[seen], np.abs(flux).max(axis=(1, 2)))


def test_legs_agree_at_every_point(comparison: Comparison) -> None:
    """The worst of 1,500 circuits differs by 0.2 %."""
    assert comparison.pointwise.size >= 3 * EACH - 2
    assert comparison.pointwise.max() < 0.005
    assert np.median(comparison.pointwise) < 1e-4


def test_the_default_step_gives_the_largest_rms(comparison: Comparison) -> None:
    """In 95 % of the legs. 1 in 500 exceeds 3 % (1,200 circuits tried), so another seed fails once in some thousand."""
    assert np.quantile(comparison.rms, 0.95) < 0.03
    assert np.median(comparison.rms) < 0.001


def test_circuits_saturate(comparison: Comparison) -> None:
    """Four in five do; 3 of 12 or fewer would once in 10,000."""
    assert np.mean(comparison.largest_flux > 1.2) > 0.25


def test_every_scheme_is_drawn() -> None:
    assert set(WIRING) == set(get_args(SchemeKind))


@pytest.mark.parametrize("kind", WIRING)
def test_the_table_stands_for_the_wiring(kind: SchemeKind, tmp_path: Path) -> None:
    """The simulator's answer to the drawn circuit and to the table's transformers is one."""
    circuit = random_circuits(SEED, 2, kind, hysteresis=False).pick([1])
    drawn, transformed = (simulate(circuit, wiring, grid(128), tmp_path)[0] for wiring in (WIRING[kind], by_table))
    np.testing.assert_allclose(transformed, drawn, rtol=0, atol=1e-6 * np.abs(drawn).max())
