"""The transient solution against the general circuit simulator ngspice (Debian package ngspice
39.3+ds-1).

Each scheme is drawn as it is built, node by node, without the table A: CTs with their windings and
leads, return cores from each end's star point to the panel's, interposing CTs, the relay's star,
the earth leg. So the tests also show that A stands for that wiring. Any other table, of whatever
entries, is put to the simulator through ideal transformers (`by_table`). Cores have no stops here,
since a circuit simulator has no such element: i = a·m + b·m^S. Only the random circuits and the
start fluxes are shared with the code under test.

Without ngspice the tests are skipped.
"""

from __future__ import annotations

import os
import shutil
import subprocess
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

import numpy as np
import pytest

from montecarlo.quantities import Array
from montecarlo.relays.places import ENDS, GROUPS
from montecarlo.relays.schemes import (
    BUILT_IN,
    CustomElement,
    CustomLeg,
    CustomScheme,
    Scheme,
    build_custom,
    build_scheme,
)
from montecarlo.study.circuits import scheme_of
from montecarlo.study.read import read_study
from tests.against.test_solve_ivp import CYCLE_S, largest_rms
from tests.made.secondary_cases import EXPONENT, FREQUENCY_HZ, OMEGA, Circuits, random_circuits

SEED = int(os.environ.get("STATORODDS_TEST_SEED", "50"))
NGSPICE = shutil.which("ngspice")
EACH = 8  # circuits a scheme
AFTER_S = 0.16  # eight cycles
START_S = 2 * CYCLE_S  # from the simulator's start to the fault
FINE = 1024  # steps a cycle for the comparison at every point
FROM_STAR = ("line_end", "second_line_end", "group_2")  # CTs that stand against others
SIMULATOR_STEPS = 1024  # a cycle, at least

Wiring = Callable[[Circuits], Iterator[str]]

pytestmark = pytest.mark.skipif(NGSPICE is None, reason="ngspice is not installed")


# --- the circuit as text ------------------------------------------------------


def ct(circuit: Circuits, c: int, dot: str, other: str) -> Iterator[str]:
    """One CT with its winding and lead between two nodes; its current leaves at `dot`. Voltage m{c}
    is its flux."""
    bank, turns = circuit.bank, circuit.bank.turns[0, c] / np.sqrt(2)
    load, fault = circuit.load_a[0, c] / turns, circuit.fault_a[0, c] / turns
    a, b = bank.coefficients[:2, 0, c] * bank.knee_current_a[0, c]
    t = f"(time-{START_S!r})"

    def turning(phasor: complex) -> str:
        return f"{abs(phasor):.15g}*cos({OMEGA!r}*{t}+({np.angle(phasor):.15g}))"

    offset = f"({(load - fault).real:.15g})*exp(-{t}/{circuit.decay_s[0]:.15g})"
    yield f"Bs{c} {other} e{c} I={t} < 0 ? {turning(load)} : {turning(fault)} + {offset}"
    yield (
        f"Bm{c} e{c} {other} I={a:.15g}*v(m{c}) +"
        f" {b:.15g}*v(m{c})*(v(m{c})*v(m{c}))^{(EXPONENT - 1) // 2}"
    )
    yield f"Gf{c} 0 m{c} e{c} {other} 1"
    yield f"Cf{c} m{c} 0 {bank.knee_flux_wb[0, c]:.15g}"
    yield f".ic v(m{c})={circuit.load_flux()[0, c].real:.15g}"
    yield f"Rs{c} e{c} {dot} {bank.series_ohm[0, c]:.15g}"


def leg(k: int, ohm: float, start: str, end: str) -> Iterator[str]:
    """A leg with its ammeter vl{k}."""
    yield f"Vl{k} {start} {f'l{k}' if ohm else end} 0"
    if ohm:
        yield f"Rl{k} l{k} {end} {ohm:.15g}"


def star_of(circuit: Circuits, end: str) -> Iterator[str]:
    """The star point `end` of an end's CTs and what leads from there to the panel's star point, 0:
    a wire, or the return core of a four-wire leads. The CTs of `FROM_STAR` drive it from their star
    point, all others to it."""
    names = [leg.name for leg in circuit.scheme.legs]
    if f"return core, {end}" in names:
        k = names.index(f"return core, {end}")
        yield from leg(k, circuit.leg_ohm[0, k], *((end, "0") if end in FROM_STAR else ("0", end)))
    else:
        yield f"V{end} {end} 0 0"


def interposing(phase: int, ratio: float) -> Iterator[str]:
    """An ideal interposing CT at the panel, between the line end's core q{phase} and the junction
    p{phase}: it turns 1 A into `ratio`."""
    yield f"Eq{phase} x{phase} 0 p{phase} 0 {ratio!r}"
    yield f"Vq{phase} x{phase} q{phase} 0"
    yield f"Fq{phase} p{phase} 0 Vq{phase} {ratio!r}"


def both_ends(
    circuit: Circuits, star: str, line_ratio: float = 1.0, ends: tuple[str, str] = ENDS
) -> Iterator[str]:
    """In each phase the CTs of two ends against each other at the junction p{phase}, and a leg from
    there to the relay's star."""
    first, second = ends
    yield from star_of(circuit, first)
    yield from star_of(circuit, second)
    for phase in range(3):
        yield from ct(circuit, phase, f"p{phase}", first)
        yield from ct(circuit, phase + 3, second, f"p{phase}" if line_ratio == 1.0 else f"q{phase}")
        yield from interposing(phase, line_ratio) if line_ratio != 1.0 else ()
        yield from leg(phase, circuit.leg_ohm[0, phase], f"p{phase}", star)


def three_legs(circuit: Circuits) -> Iterator[str]:
    yield from both_ends(circuit, "0")


def split_phase(circuit: Circuits) -> Iterator[str]:
    """In each phase the CTs of the two groups of branches against each other."""
    yield from both_ends(circuit, "0", ends=("group_1", "group_2"))


def core_balance(circuit: Circuits) -> Iterator[str]:
    """A CT and a leg in each phase."""
    yield from star_of(circuit, "core_balance")
    for phase in range(3):
        yield from ct(circuit, phase, f"p{phase}", "core_balance")
        yield from leg(phase, circuit.leg_ohm[0, phase], f"p{phase}", "0")


def star_link(circuit: Circuits) -> Iterator[str]:
    """One CT with a return of its own."""
    yield from ct(circuit, 0, "junction", "0")
    yield from leg(0, circuit.leg_ohm[0, 0], "junction", "0")


def with_earth_leg(circuit: Circuits, line_ratio: float = 1.0) -> Iterator[str]:
    """The earth leg leads from the relay's star to the panel's."""
    yield from both_ends(circuit, "star", line_ratio)
    yield from leg(3, circuit.leg_ohm[0, 3], "star", "0")


def residual(circuit: Circuits) -> Iterator[str]:
    """The line end's three CTs in parallel, against the neutral conductor's, which has a return of
    its own."""
    yield from star_of(circuit, "line_end")
    yield from (line for c in range(3) for line in ct(circuit, c, "line_end", "junction"))
    yield from ct(circuit, 3, "junction", "0")
    yield from leg(0, circuit.leg_ohm[0, 0], "junction", "0")


def biased_and_restricted(circuit: Circuits) -> Iterator[str]:
    """Of configs/biased_and_ref_13_8kv.toml: phase legs on first cores; the line end's second cores
    in parallel, against the neutral conductor's CT (column 6)."""
    yield from both_ends(circuit, "0")
    yield from star_of(circuit, "second_line_end")
    yield from (line for c in (7, 8, 9) for line in ct(circuit, c, "second_line_end", "junction"))
    yield from ct(circuit, 6, "junction", "0")
    yield from leg(3, circuit.leg_ohm[0, 3], "junction", "0")


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


WIRING: dict[str, Wiring] = {
    "per_phase": three_legs,
    "biased": three_legs,
    "two_phase_one_earth": with_earth_leg,
    "restricted_earth_fault": residual,
    "biased_restricted_earth_fault": residual,
    "biased_with_restricted_earth_fault": by_table,
    "split_phase": split_phase,
    "core_balance": core_balance,
    "neutral_to_neutral": star_link,
}


# --- the rival ----------------------------------------------------------------


def simulate(circuit: Circuits, wiring: Wiring, times: Array, folder: Path) -> tuple[Array, Array]:
    """Leg currents (legs, times) [A] and fluxes (ct, times) [knee flux]; `times` from one cycle
    before the fault."""
    legs, places = circuit.scheme.table.shape
    step, stop = CYCLE_S / SIMULATOR_STEPS, START_S + times[-1]
    wanted = [*(f"i(vl{k})" for k in range(legs)), *(f"v(m{c})" for c in range(places))]
    deck = [
        "secondary circuit",
        *wiring(circuit),
        f"Vmark mark 0 PWL(0 0 {START_S!r} 0 1 1)",  # a corner: no step may span the inception
        ".options method=gear reltol=1e-6 abstol=1e-9 vntol=1e-9 trtol=1",
        ".control",
        f"tran {step!r} {stop + step:.15g} 0 {step!r}",
        "set wr_singlescale",
        "set numdgt=12",
        "wrdata legs.data " + " ".join(wanted),
        ".endc",
        ".end",
    ]
    (folder / "deck.cir").write_text("\n".join(deck) + "\n")
    (folder / "legs.data").unlink(missing_ok=True)
    run = subprocess.run(
        [str(NGSPICE), "-n", "-b", "deck.cir"],
        cwd=folder,
        capture_output=True,
        text=True,
        timeout=60,
    )
    assert (folder / "legs.data").exists(), run.stdout + run.stderr
    t, *values = np.loadtxt(folder / "legs.data").T
    assert t[-1] > stop, run.stdout + run.stderr
    answer = np.stack([np.interp(START_S + times, t, value) for value in values])
    return answer[:legs], answer[legs:]


def grid(per_cycle: int) -> Array:
    """Times from one cycle before the fault to the window's end."""
    return np.arange(-per_cycle, round(AFTER_S * FREQUENCY_HZ * per_cycle) + 1) / (
        per_cycle * FREQUENCY_HZ
    )


# --- comparison ---------------------------------------------------------------


RATIO = 0.8  # of the line end's matching
MATCHED = build_scheme("two_phase_one_earth").matched({"line_end": RATIO}).with_return_cores(ENDS)
OWN = build_custom(
    CustomScheme(
        name="own",
        legs=(
            CustomLeg(name="a", cts=("neutral_end.L1", "-line_end.L1")),
            CustomLeg(name="b", cts=("neutral_end.L2",)),
            CustomLeg(
                name="c", cts=("neutral_conductor", "-line_end.L1", "-line_end.L2", "-line_end.L3")
            ),
            CustomLeg(
                name="d",
                cts=("neutral_end.L2", "neutral_end.L3", "-line_end.L3", "neutral_conductor"),
            ),
        ),
        elements=(CustomElement(leg="c", setting="earth"),),
    )
)  # no use but to the test
STUDY = read_study(Path(__file__).parents[2] / "configs" / "biased_and_ref_13_8kv.toml")
WORKED = scheme_of(STUDY, STUDY.scheme.kinds[0])
CASES: dict[str, tuple[Scheme, Wiring]] = {
    **{kind: (build_scheme(kind), wiring) for kind, wiring in WIRING.items()},
    **{
        f"{kind}, four wires": (build_scheme(kind).with_return_cores(GROUPS), wiring)
        for kind, wiring in WIRING.items()
    },
    "matched": (MATCHED, partial(with_earth_leg, line_ratio=RATIO)),
    "own": (OWN, by_table),
    "biased and restricted": (WORKED, biased_and_restricted),
}


def circuits_of(scheme: Scheme, seed: int, n: int) -> Circuits:
    """Random ones; CTs whose currents are scaled by a matching have the ratio that asks for it."""
    circuits = random_circuits(seed, n, scheme, hysteresis=False)
    factors = np.abs(scheme.table).min(axis=0, where=scheme.table != 0, initial=1.0)
    return replace(circuits, bank=replace(circuits.bank, turns=circuits.bank.turns * factors))


@dataclass(frozen=True, eq=False)
class Comparison:
    """Every leg that carries a current, of all circuits; errors as a share of the simulator's
    largest value."""

    pointwise: Array  # (legs,) at the fine step
    rms: Array  # (legs,) of the largest one-cycle RMS at the default step
    largest_flux: Array  # (circuits,) knee flux


def compare(name: str, seed: int, n: int, folder: Path) -> Comparison:
    scheme, wiring = CASES[name]
    circuits = circuits_of(scheme, seed, n)
    truth, flux = zip(
        *(simulate(circuits.pick([k]), wiring, grid(FINE), folder) for k in range(n)), strict=True
    )
    legs = np.stack(truth)
    peak = np.abs(legs).max(axis=-1)
    seen = peak > 1e-3  # a leg that carries next to nothing has no error to speak of
    fine = circuits.solve(AFTER_S, FINE, trace=True).trace
    rms = circuits.solve(AFTER_S).pickup[..., 0]
    return Comparison(
        (np.abs(fine - legs[..., 1:]).max(axis=-1) / peak)[seen],
        np.abs(rms / largest_rms(legs, FINE) - 1)[seen],
        np.abs(flux).max(axis=(1, 2)),
    )


FAST = ("two_phase_one_earth", "per_phase, four wires", "own")


@pytest.mark.parametrize(
    "name",
    [name if name in FAST else pytest.param(name, marks=pytest.mark.slow) for name in CASES],
)
def test_legs_agree(name: str, tmp_path: Path) -> None:
    """At every point, at a fine step: the worst leg of 1,200 circuits differs by 0.1 %. The largest
    RMS at the default step in all but two legs: 12 of 9,000 legs exceed 3 %, so another seed fails
    once in some thousand. Four circuits in five saturate."""
    found = compare(name, SEED + 100 * list(CASES).index(name), EACH, tmp_path)
    assert found.pointwise.size >= (len(CASES[name][0].legs) - 1) * EACH
    assert np.any(found.largest_flux > 1.2)
    assert found.pointwise.max() < 0.005
    assert np.sort(found.rms)[-3] < 0.03


def test_every_scheme_is_drawn() -> None:
    assert set(WIRING) == set(BUILT_IN)


@pytest.mark.parametrize("name", CASES)
def test_the_table_stands_for_the_wiring(name: str, tmp_path: Path) -> None:
    """The simulator's answer to the drawn circuit and to the table's transformers is one."""
    scheme, wiring = CASES[name]
    circuit = circuits_of(scheme, SEED, 2).pick([1])
    drawn, transformed = (
        simulate(circuit, way, grid(128), tmp_path)[0] for way in (wiring, by_table)
    )
    np.testing.assert_allclose(transformed, drawn, rtol=0, atol=1e-6 * np.abs(drawn).max())
