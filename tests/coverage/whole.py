"""How often p_false and its bound hold the truth after the whole path of a run: python -m
tests.coverage.whole

The hydro example with faults that are cleared after up to 0.30 s, one circuit, both events. Every
seed finds its densities, judges its own batch, chooses the size of the fresh one by what that batch
saw of one candidate, and draws `--batches` fresh batches, as a run does; those of a seed have their
counts on installations in common. The truth is counted on `--samples` transient solutions of each
event that share nothing with the weighted samples. Prints the table of MEASUREMENTS.md."""

from __future__ import annotations

import argparse
import time
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from joblib import Parallel, delayed

from montecarlo.engine.densities import find_densities
from montecarlo.engine.enlarging import deciding, plans
from montecarlo.engine.job import Job
from montecarlo.engine.rare import Known, final_batch, final_samples
from montecarlo.engine.workers import Workers
from montecarlo.estimates.assemble import Gathered, weighted
from montecarlo.estimates.choose import weights_of
from montecarlo.estimates.intervals import one_sided
from montecarlo.estimates.weighted import Source, compare
from montecarlo.study.axes import Setting
from montecarlo.study.candidates import settings_of
from montecarlo.study.description import Study
from montecarlo.study.read import parse_study
from tests.benchmarks.faults import HYDRO
from tests.benchmarks.timing import header, row
from tests.coverage.real import counted, job_of, percent, quiet, truth_of

CANDIDATES = {
    "phase_pickup_a": [0.1],
    "earth_pickup_a": [0.01, 0.02, 0.03],
    "stabilising_resistance_ohm": [200],
    "delay_s": [0, 0.1],
}
LOOKED_AT = Setting("two_phase_one_earth", 0.1, 0.02, 200.0, 0.1)
CLEARING_S = 0.30  # at most; 0.06 at least, as in the example
TRUTH_SEED, FIRST_SEED = 20261130, 501  # of the truth; of the first density, the others follow


def study_of(
    samples: int, seed: int, installations: int = 64, clearing_s: float = CLEARING_S
) -> Study:
    clearing = {"dist": "uniform", "low": 0.06, "high": clearing_s}
    table = tomllib.loads(HYDRO.read_text())
    table["study"] |= {"seed": seed, "installations": installations, "samples": samples}
    table["scheme"]["kind"] = LOOKED_AT.scheme
    table["external_events"] = [
        one | {"clearing_time_s": clearing} for one in table["external_events"]
    ]
    return parse_study(table | {"candidates": CANDIDATES}, HYDRO.parent)


@dataclass(frozen=True, eq=False)
class Repeat:
    """A fresh batch's figures of the candidate, of each event and in all, the last."""

    p: np.ndarray  # (events + 1,)
    low: np.ndarray
    high: np.ndarray
    bound: np.ndarray  # one-sided, what a policy looks at
    samples: np.ndarray  # (events,) weighted
    sources: tuple[Source, ...]


def batch(
    job: Job, known: Known, round_: int, counted_in: Mapping[str, Gathered]
) -> dict[str, Gathered]:
    """The external events of one batch: weighted samples judged beside counts on installations."""
    found = {}
    for name, final in final_batch(job, known.densities, round_, Workers(1), quiet).items():
        counts = counted_in[name]
        found[name] = replace(
            counts,
            weighted=compare(
                final.candidates,
                counts.total,
                counts.trials,
                counts.unresolved,
                job.lattices,
                known.of(name, settings_of(job.lattices)),
            ),
        )
    return found


def counts(job: Job, known: Known, round_: int) -> dict[str, Gathered]:
    return {name: counted(job, name, round_) for name in known.densities}


def learnt(job: Job) -> Known:
    """What a study's own batch leaves to fresh ones."""
    settings = settings_of(job.lattices)
    known = Known(find_densities(job, Workers(1), quiet))
    strata = batch(job, known, 0, counts(job, known, 0))
    seen = {
        name: dict(zip(settings, part.weighted.diagnostics.seen, strict=True))
        for name, part in strata.items()
    }
    return Known(known.densities, seen, deciding(job.study, strata, settings))


def repeats(job: Job, batches: int) -> Iterator[Repeat]:
    """Fresh batches of one seed, of the size that its own batch asks for."""
    known, at = learnt(job), settings_of(job.lattices).index(LOOKED_AT)
    sizes = plans(known, [LOOKED_AT], final_samples(job.study))
    job = replace(job, weighted=tuple((name, plan.samples) for name, plan in sizes.items()))
    beside = counts(job, known, 1)
    for round_ in range(1, batches + 1):
        yield told(job.study, batch(job, known, round_, beside), at)


def told(study: Study, strata: Mapping[str, Gathered], at: int) -> Repeat:
    weight = weights_of(study)
    parts = [strata[name] for name in weight.external]
    both, level = [part.estimate() for part in parts], study.policy.level
    whole = weighted(parts, weight.event_shares)
    bounds = [
        *(part.estimate(one_sided(level)) for part in parts),
        weighted(parts, weight.event_shares, one_sided(level)),
    ]
    p, low, high = (
        np.array([part[at] for part in column]) for column in zip(*both, whole, strict=True)
    )
    rare = [part.weighted for part in parts]
    return Repeat(
        p,
        low,
        high,
        np.array([bound.high[at] for bound in bounds]),
        np.array([one.sums.trials for one in rare]),
        tuple(one.source[at] for one in rare),
    )


def truths(study: Study, samples: int, workers: int) -> tuple[list[str], np.ndarray]:
    """Of each event and in all."""
    job, weight = job_of(study), weights_of(study)
    at = settings_of(job.lattices).index(LOOKED_AT)
    p = np.array([truth_of(job, name, samples, workers)[at] for name in weight.external])
    kinds = [name.kind for name in weight.external]
    return [*kinds, "both, by rate"], np.array([*p, p @ np.array(weight.event_shares)])


def print_table(names: list[str], truth: np.ndarray, runs: list[Repeat]) -> None:
    p, low, high, bound = (
        np.stack([getattr(run, part) for run in runs]) for part in ("p", "low", "high", "bound")
    )
    header(
        "event",
        "p counted",
        "mean of repeats, over p",
        "weighted samples: least, mean, most",
        "from them, both, %",
        "held, %",
        "p below the low limit, %",
        "above the high one, %",
        "one-sided bound above p, %",
        "width: most over least, 10th to 90th part",
    )
    for k, name in enumerate(names):
        width = np.sort(high[:, k] - low[:, k])
        first, last = width[len(width) // 10], width[-1 - len(width) // 10]
        events = range(len(names) - 1) if k == len(names) - 1 else [k]
        sizes = np.array([run.samples[event] for run in runs for event in events])
        sources = [run.sources[event] for run in runs for event in events]
        shares = [
            percent(np.mean([one is source for one in sources]))
            for source in (Source.WEIGHTED, Source.BOTH)
        ]
        over = f"{p[:, k].mean() / truth[k]:.3f}" if truth[k] > 0 else "none counted"
        row(
            name,
            f"{truth[k]:.2e}",
            over,
            f"{sizes.min()}, {sizes.mean():.0f}, {sizes.max()}",
            ", ".join(shares),
            percent(np.mean((low[:, k] <= truth[k]) & (truth[k] <= high[:, k]))),
            percent(np.mean(truth[k] < low[:, k])),
            percent(np.mean(truth[k] > high[:, k])),
            percent(np.mean(bound[:, k] >= truth[k])),
            f"{width[-1] / width[0]:.2f}, {last / first:.2f}",
        )


def one_seed(study: Study, batches: int) -> list[Repeat]:
    return list(repeats(job_of(study), batches))


def main(arguments: Sequence[str] | None = None) -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--samples", type=int, default=1_000_000, help="of each event's truth")
    parser.add_argument("--seeds", type=int, default=50)
    parser.add_argument("--batches", type=int, default=4, help="fresh ones of each seed")
    parser.add_argument("--size", type=int, default=8192, help="study.samples")
    parser.add_argument("--installations", type=int, default=64)
    parser.add_argument("--clearing", type=float, default=CLEARING_S, help="latest, in seconds")
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument(
        "--quick", action="store_true", help="shows in seconds that every part works"
    )
    chosen = parser.parse_args(arguments)
    if chosen.quick:
        chosen.samples, chosen.seeds, chosen.batches = 4096, 1, 2
        chosen.size, chosen.installations, chosen.clearing = 4096, 16, 0.15
    begin = time.perf_counter()
    true, *studies = (
        study_of(chosen.size, seed, chosen.installations, chosen.clearing)
        for seed in (TRUTH_SEED, *range(FIRST_SEED, FIRST_SEED + chosen.seeds))
    )
    names, truth = truths(true, chosen.samples, chosen.workers)
    middle = time.perf_counter()
    found = Parallel(chosen.workers)(delayed(one_seed)(study, chosen.batches) for study in studies)
    print(
        f"truth from {chosen.samples:,} samples of each event ({middle - begin:.0f} s);"
        f" {chosen.seeds} seeds, {chosen.batches} fresh batches of each"
        f" ({time.perf_counter() - middle:.0f} s)"
    )
    print_table(names, truth, [run for runs in found for run in runs])


if __name__ == "__main__":
    main()
