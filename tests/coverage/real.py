"""How often the intervals of p_false hold the truth on a real study, and what they cost: python -m
tests.coverage.real

One event and one circuit of the hydro example, phase elements and an earth element, two delays. The
truth is counted on `--samples` transient solutions that share nothing with the weighted samples: no
density, no symmetry, no folded angle, every sample an installation of its own. `--densities` seeds
are then taken up to their last density, and each goes on to `--batches` fresh batches, weighted
samples and counts on installations, judged as a run judges its fresh batch. Prints the tables of
MEASUREMENTS.md; half an hour on one core, half of that on two."""

from __future__ import annotations

import argparse
import time
import tomllib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from joblib import Parallel, delayed

from montecarlo.engine.block import Block
from montecarlo.engine.count import run_chunk
from montecarlo.engine.densities import find_densities, way_of
from montecarlo.engine.draws import CHUNK
from montecarlo.engine.job import Job
from montecarlo.engine.path import measured
from montecarlo.engine.rare import Known, final_batch
from montecarlo.engine.sizes import designs
from montecarlo.engine.workers import Workers
from montecarlo.estimates.assemble import Gathered, gather
from montecarlo.estimates.intervals import Estimate
from montecarlo.estimates.rare import Why, diagnose, rare_estimate
from montecarlo.estimates.weighted import compare
from montecarlo.quantities import Array
from montecarlo.sampling.design import BLOCKS, Chunk
from montecarlo.sampling.points import Streams
from montecarlo.sampling.stratum import Side, Stratum
from montecarlo.study.budget import LEAST_WEIGHTED
from montecarlo.study.candidates import candidate_lattices, settings_of
from montecarlo.study.description import Study
from montecarlo.study.read import parse_study
from tests.benchmarks.faults import HYDRO
from tests.benchmarks.timing import header, row
from tests.coverage.serial import held

CANDIDATES = {
    "phase_pickup_a": [0.065, 0.075, 0.09],
    "earth_pickup_a": [0.025, 0.03, 0.035],
    "stabilising_resistance_ohm": [600],
    "delay_s": [0, 0.03],
}
CLEARING_S = {
    "dist": "uniform",
    "low": 0.04,
    "high": 0.06,
}  # quick, since the time of a solution goes with it
INSTALLATIONS, COUNTED = (
    64,
    4096,
)  # of each counted batch; 64 events per installation, as in the example
TRUTH_SEED, FIRST_SEED = 20261127, 101  # of the truth; of the first density, the others follow
LEAST, MOST = 1e-5, 3e-2  # probabilities of the settings that are told


def study_of(event: str, weighted: int, seed: int) -> Study:
    table = tomllib.loads(HYDRO.read_text())
    table["study"] |= {
        "seed": seed,
        "installations": INSTALLATIONS,
        "samples": COUNTED,
        "rare_samples": weighted,
    }
    table["scheme"]["kind"] = "two_phase_one_earth"
    table["external_events"] = [
        one | {"clearing_time_s": CLEARING_S}
        for one in table["external_events"]
        if one["name"] == event
    ]
    return parse_study(table | {"candidates": CANDIDATES}, HYDRO.parent)


def job_of(study: Study) -> Job:
    return Job(study, candidate_lattices(study), *designs(study))


# --- the truth ----------------------------------------------------------------


def counted_plainly(task: tuple[Job, Chunk]) -> Array:
    """How many of a chunk's samples each candidate operates on, (C,), and how many gave no
    result."""
    job, chunk = task
    block = Block(job, chunk, Streams(job.study.study.seed, chunk.stratum, 0, chunk.index, CHUNK))
    judged = measured(block)
    found = []
    for lattice in job.lattices:
        pickups = judged.pickups(lattice)
        phase, earth = pickups.silent(
            np.array(lattice.phase_thresholds),
            np.array(lattice.earth_thresholds),
            len(lattice.delay_s),
        )
        operated = pickups.resolved[:, None, None, None] & ~(phase[:, :, None] & earth[:, None])
        found += [operated.sum(axis=0).ravel(), [np.sum(~pickups.resolved)]]
    return np.concatenate(found)


def truth_of(job: Job, name: str, samples: int, workers: int) -> Array:
    chunks = [(job, Chunk(name, 0, index, 0, 0)) for index in range(-(-samples // CHUNK))]
    *hits, lost = sum(Parallel(workers)(delayed(counted_plainly)(chunk) for chunk in chunks))
    assert lost == 0, "the truth would need limits for samples without a result"
    return np.array(hits) / (len(chunks) * CHUNK)


# --- a repeat -----------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class Repeat:
    """One fresh batch's estimates of every candidate, (C,) each."""

    weighted: Estimate
    trusted: Array
    counted: Estimate
    used: Array  # whether the run would tell the weighted one
    told: Estimate  # what it would tell
    bound: Array  # one-sided, what a policy looks at


def quiet(done: int, total: int, what: str) -> None:
    pass


def known_of(job: Job) -> Known:
    """Densities, and what a study's own batch finds of the weighted samples from them."""
    densities = find_densities(job, Workers(1), quiet)
    ((name, final),) = final_batch(job, densities, 0, Workers(1), quiet).items()
    settings = settings_of(job.lattices)
    return Known(
        densities, {name: dict(zip(settings, diagnose(final.candidates).seen, strict=True))}
    )


def repeat(task: tuple[Job, Known, int]) -> Repeat:
    job, known, round_ = task
    ((name, final),) = final_batch(job, known.densities, round_, Workers(1), quiet).items()
    counts = counted(job, name, round_)
    settings = settings_of(job.lattices)
    weighted = compare(
        final.candidates,
        counts.total,
        counts.trials,
        counts.unresolved,
        job.lattices,
        known.of(name, settings),
    )
    both = replace(counts, weighted=weighted)
    trusted = np.array([one.why is Why.GOOD for one in diagnose(final.candidates).trust])
    return Repeat(
        rare_estimate(final.candidates),
        trusted,
        counts.estimate(),
        weighted.used,
        both.estimate(),
        both.estimate(0.90).high,
    )


def counted(job: Job, name: str, round_: int) -> Gathered:
    """A batch of counts on installations, as a run draws it."""
    parts = {}
    for chunk in job.design.chunks(name, round_):
        tally = run_chunk(job, chunk)
        parts[chunk.installation_block] = (
            parts[chunk.installation_block] + tally if chunk.installation_block in parts else tally
        )
    return gather(name, [parts[block] for block in range(BLOCKS)])


# --- tables -------------------------------------------------------------------


def stacked(estimates: Sequence[Estimate]) -> Estimate:
    """(repeats, C)"""
    return Estimate(*(np.stack(part) for part in zip(*estimates, strict=True)))


def percent(share: float) -> str:
    return "" if np.isnan(share) else f"{100 * share:.1f}"


def share(flags: Array, among: Array) -> float:
    return float(flags[among].mean()) if among.any() else np.nan


def print_weighted(
    names: list[str], shown: Array, truth: Array, error: Array, size: int, runs: list[Repeat]
) -> None:
    found, trusted = (
        stacked([run.weighted for run in runs]),
        np.stack([run.trusted for run in runs]),
    )
    inside, mean = held(found, truth), found.p.mean(axis=0)
    around = held(found, mean)
    scatter = found.p.std(axis=0, ddof=1)
    own = scatter / np.sqrt(len(runs))
    header(
        "setting",
        "p counted",
        "its error, %",
        "mean of repeats, over p",
        "standard errors apart",
        "unit",
        "held, %",
        "trusted, %",
        "held among these, %",
        "held the mean of repeats, %",
    )
    for c in shown:
        row(
            names[c],
            f"{truth[c]:.2e}",
            f"{100 * error[c]:.1f}",
            f"{mean[c] / truth[c]:.3f}",
            f"{(mean[c] - truth[c]) / np.hypot(own[c], error[c] * truth[c]):+.1f}",
            f"{size * (scatter[c] / mean[c]) ** 2:.0f}",
            percent(inside[:, c].mean()),
            percent(trusted[:, c].mean()),
            percent(share(inside[:, c], trusted[:, c])),
            percent(around[:, c].mean()),
        )


def print_counted(names: list[str], shown: Array, truth: Array, runs: list[Repeat]) -> None:
    found = stacked([run.counted for run in runs])
    header(
        "setting",
        "p counted",
        "trips in a batch",
        "held, %",
        "p below the low limit, %",
        "above the high one, %",
    )
    for c in shown[truth[shown] >= 1e-3]:
        row(
            names[c],
            f"{truth[c]:.2e}",
            f"{COUNTED * truth[c]:.0f}",
            percent(held(found, truth)[:, c].mean()),
            percent((truth[c] < found.low[:, c]).mean()),
            percent((truth[c] > found.high[:, c]).mean()),
        )


def print_told(names: list[str], shown: Array, truth: Array, runs: list[Repeat]) -> None:
    found, used = stacked([run.told for run in runs]), np.stack([run.used for run in runs])
    bounds = np.stack([run.bound for run in runs])
    header(
        "setting", "p counted", "from weighted samples, %", "held, %", "one-sided bound above p, %"
    )
    for c in shown:
        row(
            names[c],
            f"{truth[c]:.2e}",
            percent(used[:, c].mean()),
            percent(held(found, truth)[:, c].mean()),
            percent((bounds[:, c] >= truth[c]).mean()),
        )


def names_of(job: Job) -> Iterator[str]:
    for lattice in job.lattices:
        for one in lattice.settings():
            yield f"{one.phase_pickup_a:g} A, {one.earth_pickup_a:g} A, {one.delay_s:g} s"


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--samples", type=int, default=10_000_000, help="of the truth")
    parser.add_argument("--densities", type=int, default=25)
    parser.add_argument("--batches", type=int, default=40)
    parser.add_argument("--weighted", type=int, default=8192, help="samples of a final batch")
    parser.add_argument("--event", default="close_in_three_phase")
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument(
        "--quick", action="store_true", help="shows in seconds that every part works"
    )
    chosen = parser.parse_args()
    if chosen.quick:
        chosen.samples, chosen.densities, chosen.batches = 4096, 1, 2
        chosen.weighted, chosen.workers = LEAST_WEIGHTED, 1
    begin = time.perf_counter()
    job, stratum = (
        job_of(study_of(chosen.event, chosen.weighted, TRUTH_SEED)),
        Stratum.of(Side.EXTERNAL, chosen.event),
    )
    truth = truth_of(job, stratum, chosen.samples, chosen.workers)
    error = np.sqrt((1 - truth) / np.maximum(truth, 1e-300) / chosen.samples)
    middle = time.perf_counter()
    jobs = [
        job_of(study_of(chosen.event, chosen.weighted, FIRST_SEED + k))
        for k in range(chosen.densities)
    ]
    known = Parallel(chosen.workers)(delayed(known_of)(job) for job in jobs)
    tasks = [
        (own, found, round_)
        for own, found in zip(jobs, known, strict=True)
        for round_ in range(1, chosen.batches + 1)
    ]
    runs = Parallel(chosen.workers)(delayed(repeat)(task) for task in tasks)
    names, shown = list(names_of(job)), np.flatnonzero((truth >= LEAST) & (truth <= MOST))
    shown = shown[np.argsort(-truth[shown], kind="stable")]
    print(
        f"{chosen.event}: truth from {chosen.samples:,} samples ({middle - begin:.0f} s);"
        f" {chosen.densities} densities, {chosen.batches} batches of {chosen.weighted:,} weighted"
        f" samples each, and of {COUNTED:,} counted ones on {INSTALLATIONS} installations"
        f" ({time.perf_counter() - middle:.0f} s). Finding a density took at"
        f" most {sum(way_of(jobs[0].study).stages):g} times the samples of a batch."
    )
    print_weighted(names, shown, truth, error, chosen.weighted, runs)
    print_counted(names, shown, truth, runs)
    print_told(names, shown, truth, runs)


if __name__ == "__main__":
    main()
