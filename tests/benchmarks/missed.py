"""Prints how narrow the intervals of p_missed of earth faults are, for every candidate at once, on
nets and at random, and what the places along the winding cost: `python -m tests.benchmarks.missed`.
A few minutes; `--quick` shows in seconds that every part works."""

from __future__ import annotations

import argparse
from pathlib import Path

import numpy as np

from montecarlo.engine import winding
from montecarlo.engine.count import run_chunk
from montecarlo.engine.counted import Counted
from montecarlo.engine.job import Job
from montecarlo.engine.sizes import designs
from montecarlo.engine.workers import Workers
from montecarlo.estimates.assemble import Gathered, gather
from montecarlo.estimates.intervals import Estimate, student_mean
from montecarlo.estimates.tally import Tally
from montecarlo.quantities import Array
from montecarlo.sampling.design import BLOCKS, Chunk, Design
from montecarlo.sampling.stratum import EARTH
from montecarlo.study.candidates import candidate_lattices
from montecarlo.study.description import Study
from montecarlo.study.read import read_study
from tests.benchmarks.timing import header, row

CONFIGS = Path(__file__).parents[2] / "configs"
STUDIES = ("hydro_11kv", "unit_13_8kv")
SIZES, PLACED = (1024, 2048, 4096), 256  # earth faults; those that the places are tried on
QUICK = (16,), 1  # the same, and the first study alone
PLACES = winding.STEADY_INTERVALS + 1


def solve(task: Counted) -> Tally:
    return run_chunk(task.job, task.chunks[0])


def earth_faults(study: Study, samples: int, net: bool) -> Gathered:
    """The earth faults of the study's own candidates and installations."""
    design = Design(study.study.installations, samples, net=net)
    job = Job(study, candidate_lattices(study), designs(study)[0], design)
    tasks = [Counted(job, (chunk,), False) for chunk in design.chunks(EARTH)]
    sums: dict[int, Tally] = {}
    for task, tally in zip(tasks, Workers().mapped(solve, tasks), strict=True):
        block = task.chunks[0].installation_block
        sums[block] = sums[block] + tally if block in sums else tally
    return gather(EARTH, [sums[block] for block in range(BLOCKS)])


def relative(found: Estimate) -> Array:
    """Half-width over p, of the candidates that detect some faults."""
    return np.asarray(((found.high - found.low) / 2 / found.p)[found.p < 1])


def per_cent(values: Array) -> str:
    return " / ".join(f"{100 * q:.2g}" for q in np.quantile(values, (0.5, 0.9, 1.0))) + " %"


def widths(name: str, sizes: tuple[int, ...]) -> None:
    study = read_study(CONFIGS / f"{name}.toml")
    header(
        f"{name}: earth faults, solutions a circuit",
        "half-width over p_missed, median / 90 % / largest",
        "counting needs, times our samples, median / least; times our solutions, median",
    )
    for samples in sizes:
        at_random = earth_faults(study, samples, net=False)
        row(f"{samples} at random", per_cent(relative(student_mean(at_random.means))), "")
        on_nets = earth_faults(study, samples, net=True).estimate()
        width, p = relative(on_nets), on_nets.p[on_nets.p < 1]
        times = 1.96**2 * (1 - p) / p / width**2 / samples
        row(
            f"{samples} on nets, x {PLACES} places = {samples * PLACES:,}",
            per_cent(width),
            f"{np.median(times):,.0f} / {times.min():,.0f}; {np.median(times) / PLACES:,.0f}",
        )


def places(name: str, samples: int) -> None:
    """On the same samples, against 97 places by phasors and 65 in time."""
    study = read_study(CONFIGS / f"{name}.toml")
    job = Job(
        study, candidate_lattices(study), designs(study)[0], Design(16, 16 * samples, net=True)
    )
    chunk = Chunk(EARTH, 0, 0, 0, 0)
    chosen = winding.STEADY_INTERVALS, winding.TRANSIENT_INTERVALS
    header(f"{name}: places along the winding", "error of p_missed, median / 90 % / largest", "")

    def p_missed(steady: int, in_time: int) -> Array:
        winding.STEADY_INTERVALS, winding.TRANSIENT_INTERVALS = steady, in_time
        return np.concatenate(
            [part.total.sum(axis=0).ravel() for part in run_chunk(job, chunk).lattices]
        )

    truth = p_missed(96, 64)
    for intervals in (7, chosen[0], 31):
        row(f"{intervals + 1}", per_cent(np.abs(p_missed(intervals, intervals) / truth - 1)), "")
    winding.STEADY_INTERVALS, winding.TRANSIENT_INTERVALS = chosen


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.missed", description=__doc__)
    parser.add_argument("--quick", action="store_true")
    quick = parser.parse_args().quick
    sizes, placed = QUICK if quick else (SIZES, PLACED)
    for name in STUDIES[:1] if quick else STUDIES:
        places(name, placed)
        widths(name, sizes)


if __name__ == "__main__":
    main()
