"""Prints the tables of MEASUREMENTS.md: speeds as ratios from one run, accuracy. `--long` adds 10^6
and 10^7 samples, `--quick` shows in seconds that every part works."""

from __future__ import annotations

import argparse
import math
import os
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from montecarlo.engine import primary
from montecarlo.engine.batch import run_batch
from montecarlo.engine.waves import step_currents
from montecarlo.engine.workers import Workers
from montecarlo.quantities import Array
from montecarlo.relays.schemes import build_scheme
from montecarlo.secondary.transient import STEPS_PER_CYCLE, Window
from montecarlo.study.candidates import Lattice
from montecarlo.study.circuits import Circuit
from montecarlo.study.description import Study
from tests.against import test_ngspice, test_scipy_root
from tests.against.test_solve_ivp import CYCLE_S, Rival, largest_rms
from tests.benchmarks import plain_numpy
from tests.benchmarks.faults import EARTH, EARTH_LEGS_OHM, Faults, block, hydro, through_faults
from tests.benchmarks.timing import best_of, header, row
from tests.made.secondary_cases import random_circuits


@dataclass(frozen=True)
class Sizes:
    """How much of everything is solved, and how often; the best time counts."""

    drawn: int = 16384  # close-in faults; a chunk of them is solved
    rounds: int = 10
    rival_rounds: int = 2
    circuits: int = 256  # random ones
    rivals: int = 6  # that Radau and the circuit simulator solve
    rival_cycles: int = 8
    fine: int = 1024  # steps a cycle of the truth
    fine_rival: int = 512  # the same of Radau's
    steps: tuple[int, ...] = (16, STEPS_PER_CYCLE, 32, 64)
    rival_circuits: int = 12
    cycles: tuple[int, ...] = (8, 50, 500)
    networks: int = 8192  # for the phasors
    powell: int = 4  # of these, by Powell's method
    samples: int = 8192  # of a whole study
    grid: tuple[int, int, int] = (10, 25, 4)  # its phase and earth pick-ups and delays
    memory: tuple[int, ...] = (10**5, 3 * 10**5)


FULL = Sizes()
LONG = replace(FULL, memory=(*FULL.memory, 10**6, 10**7))
QUICK = Sizes(
    drawn=512,
    rounds=1,
    rival_rounds=1,
    circuits=16,
    rivals=1,
    rival_cycles=1,
    fine=64,
    fine_rival=64,
    steps=(16, STEPS_PER_CYCLE),
    rival_circuits=1,
    cycles=(8, 16),
    networks=256,
    powell=1,
    samples=16,
    grid=(2, 3, 2),
    memory=(16,),
)
ONE_STUDY = """
import resource, sys
from montecarlo.engine.batch import run_batch
from montecarlo.engine.workers import Workers
from tests.benchmarks.__main__ import lattices, sized
def silent(done, total, what): pass
run_batch(sized(int(sys.argv[1]), events=1), lattices(1, 1, 1, (600.0,)), 0, Workers(1), silent)
print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)
"""


def kernel(sizes: Sizes) -> None:
    header(
        "transient solution, earth leg",
        "through faults/s and core",
        "times plain NumPy; difference, 99 %",
    )
    samples = block(hydro(), sizes.drawn)
    for ohm in EARTH_LEGS_OHM:
        faults = through_faults(samples, ohm)
        ours, theirs = faults.solve(), plain_numpy.solve(faults)
        (quick,) = best_of(sizes.rounds, faults.solve)
        (slow,) = best_of(sizes.rival_rounds, lambda faults=faults: plain_numpy.solve(faults))
        row(
            f"{ohm:g} ohm",
            f"{len(faults) / quick:,.0f}",
            f"{slow / quick:.0f}; {np.quantile(np.abs(ours / theirs - 1), 0.99):.1e}",
        )


def per_fault(sizes: Sizes) -> None:
    cycles = sizes.rival_cycles
    header(f"one fault after another, {cycles} cycles", "times faster", "")
    circuits, rivals = random_circuits(5, sizes.circuits, "two_phase_one_earth"), sizes.rivals
    times = np.arange(-32, cycles * 32 + 1) * CYCLE_S / 32
    few = [circuits.pick([k]) for k in range(rivals)]
    Rival(few[0]).leg_currents(times)  # compiles
    ours, radau = best_of(
        1,
        lambda: [circuits.solve(cycles * CYCLE_S) for _ in range(4)],
        lambda: [Rival(one).leg_currents(times) for one in few],
    )
    row(
        "solve_ivp (Radau, 1e-6)",
        f"{radau / rivals / (ours / 4 / len(circuits)):,.0f}",
        f"{rivals} faults",
    )
    if test_ngspice.NGSPICE is None:
        row("ngspice", "", "skipped: not installed")
        return
    smooth = random_circuits(5, rivals, "two_phase_one_earth", hysteresis=False)
    with tempfile.TemporaryDirectory() as folder:
        ours, spice = best_of(
            1,
            lambda: [circuits.solve(cycles * CYCLE_S) for _ in range(4)],
            lambda: [
                test_ngspice.simulate(
                    smooth.pick([k]), test_ngspice.with_earth_leg, times, Path(folder)
                )
                for k in range(rivals)
            ],
            clock=time.perf_counter,
        )
    row(
        "ngspice, 1,024 steps a cycle",
        f"{spice / rivals / (ours / 4 / len(circuits)):,.0f}",
        "cores without stops",
    )


def accuracy(sizes: Sizes) -> None:
    first, *others = sizes.steps
    header(
        "error of the earth element's largest RMS, median / 99 %",
        f"{first} steps a cycle",
        *map(str, others),
    )

    def shares(value: Array, truth: Array) -> str:
        return " / ".join(
            f"{100 * q:.2g} %" for q in np.quantile(np.abs(value / truth - 1), (0.5, 0.99))
        )

    samples = block(hydro(), sizes.drawn)
    for ohm in EARTH_LEGS_OHM:
        truth = through_faults(samples, ohm, sizes.fine).solve()[:, EARTH]
        cells = [
            shares(through_faults(samples, ohm, steps).solve()[:, EARTH], truth)
            for steps in sizes.steps
        ]
        print(
            f"| {ohm:g} ohm, against {sizes.fine:,} steps | " + " | ".join(cells) + " |", flush=True
        )
    fine = sizes.fine_rival
    times = np.arange(-fine, round(0.05 / CYCLE_S * fine) + 1) * CYCLE_S / fine
    for ohm in EARTH_LEGS_OHM:
        circuits = random_circuits(7, sizes.rival_circuits, build_scheme("two_phase_one_earth"))
        leg_ohm = circuits.leg_ohm.copy()
        leg_ohm[:, -1] = ohm
        circuits = replace(circuits, leg_ohm=leg_ohm)
        truth = np.stack(
            [
                largest_rms(Rival(circuits.pick([k])).leg_currents(times), fine)[-1]
                for k in range(len(circuits))
            ]
        )
        cells = [
            shares(circuits.solve(0.05, steps).pickup[:, -1, 0], truth) for steps in sizes.steps
        ]
        print(
            f"| {ohm:g} ohm, {len(circuits)} random circuits against Radau | "
            + " | ".join(cells)
            + " |",
            flush=True,
        )


def long_windows(sizes: Sizes) -> None:
    header("long windows", "microseconds a cycle and sample", "")
    samples = block(hydro(), sizes.drawn)
    last = min(128, len(samples.bank(samples.circuits[0])))
    faults = through_faults(samples, 300.0, last=last)
    before, places = primary.load(samples), build_scheme("two_phase_one_earth").places
    for cycles in sizes.cycles:
        window = Window(50.0, cycles * CYCLE_S)
        waves = step_currents(samples, window, before, 5 * before).at(places)
        source = replace(waves, wave=np.ascontiguousarray(waves.wave[:last]))
        case: Faults = replace(faults, source=source, window=window)
        (seconds,) = best_of(sizes.rival_rounds, case.solve)
        row(
            f"{cycles} cycles",
            f"{1e6 * seconds / len(case) / cycles:.2f}",
            "five times the load from t = 0",
        )


def phasors(sizes: Sizes) -> None:
    header("phasor solution", "samples/s and core", "times Powell's method, sample by sample")
    for name in ("per_phase", "two_phase_one_earth"):
        case = test_scipy_root.networks(80, sizes.networks, test_scipy_root.TABLES[name])
        few = [case.pick([k]) for k in range(sizes.powell)]
        case.solve()
        quick, slow = best_of(
            min(3, sizes.rounds),
            case.solve,
            lambda few=few: [test_scipy_root.rival_flux(one) for one in few],
        )
        ours, rival = quick / sizes.networks, slow / sizes.powell
        row(name, f"{1 / ours:,.0f}", f"{rival / ours:,.0f}")


def lattices(phase: int, earth: int, delays: int, ohms: tuple[float, ...]) -> tuple[Lattice, ...]:
    """Grids that end at the same settings, so that one candidate and many ask for the same
    solutions."""
    return tuple(
        Lattice(
            Circuit("two_phase_one_earth", ohm),
            None,
            tuple(np.linspace(0.2, 0.05, phase)[::-1]),
            tuple(np.linspace(0.1, 0.02, earth)[::-1]),
            tuple(np.linspace(0.0, 0.1, delays)),
        )
        for ohm in ohms
    )


def sized(samples: int, events: int = 2):  # type: ignore[no-untyped-def]
    study = hydro()
    general = study.study.model_copy(
        update={
            "samples": samples,
            "earth_fault_samples": min(1024, samples),
            "rare_samples": 0,
            "installations": min(study.study.installations, samples),
        }
    )
    return study.model_copy(
        update={"study": general, "external_events": study.external_events[:events]}
    )


def studies(sizes: Sizes) -> None:
    header(f"whole study, {sizes.samples:,} samples a type", "ratio", "")
    study, rounds = sized(sizes.samples), min(3, sizes.rounds)

    def run(grid: tuple[Lattice, ...], workers: int = 1, study: Study = study) -> None:
        run_batch(study, grid, 0, Workers(workers), lambda done, total, what: None)

    one, many = lattices(1, 1, 1, (600.0,)), lattices(*sizes.grid, (600.0,))
    three = lattices(1, 1, 1, (600.0, 200.0, 0.0))
    run(one)
    t_one, t_many, t_three = best_of(
        rounds, lambda: run(one), lambda: run(many), lambda: run(three)
    )
    row(
        f"{math.prod(sizes.grid):,} candidates over pick-ups and delays / one candidate",
        f"{t_many / t_one:.2f}",
        f"one: {t_one:.2f} s",
    )
    row("each further stabilising resistance / one", f"{(t_three - t_one) / 2 / t_one:.2f}", "")
    large = sized(4 * sizes.samples)
    run(three, 2, large)  # starts the workers
    load = os.getloadavg()[0]
    alone, both = best_of(
        sizes.rival_rounds,
        lambda: run(three, 1, large),
        lambda: run(three, 2, large),
        clock=time.perf_counter,
    )
    row(
        f"{4 * sizes.samples:,} samples a type: one worker's time / two workers'",
        f"{alone / both:.2f}",
        f"load average before it {load:.1f}",
    )


def process(sizes: Sizes) -> None:
    header("process", "", "")
    root = Path(__file__).parents[2]
    for samples in sizes.memory:
        done = subprocess.run(
            [sys.executable, "-c", ONE_STUDY, str(samples)],
            cwd=root,
            capture_output=True,
            text=True,
            check=True,
        )
        row(
            f"peak memory, {samples:,} samples a type",
            f"{int(done.stdout) / 1024:.0f} MiB",
            "one candidate and event",
        )
    command = [sys.executable, "-m", "studies", "--help"]
    (seconds,) = best_of(
        min(5, sizes.rounds),
        lambda: subprocess.run(command, cwd=root, check=True, capture_output=True),
        clock=time.perf_counter,
    )
    row("`--help`", f"{seconds:.2f} s", "")


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks", description=__doc__)
    parser.add_argument("--long", dest="sizes", action="store_const", const=LONG, default=FULL)
    parser.add_argument("--quick", dest="sizes", action="store_const", const=QUICK)
    sizes = parser.parse_args().sizes
    print(f"load average {os.getloadavg()[0]:.1f}, {os.cpu_count()} cores")
    start = time.perf_counter()
    process(sizes)  # first: a child's peak begins at its parent's
    for part in (kernel, per_fault, accuracy, long_windows, phasors, studies):
        part(sizes)
    print(f"\n{time.perf_counter() - start:.0f} s; load average {os.getloadavg()[0]:.1f}")


if __name__ == "__main__":
    main()
