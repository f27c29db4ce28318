"""How often the intervals of p_missed of earth faults hold the truth: `python -m
tests.coverage.missed`, a few minutes; `--seeds 400 --samples 1024` says how many runs, and how many
earth faults in each; `--quick` shows in seconds that it works.

The study is small and solved by phasors alone, again and again with other seeds; the truth is one
large run of it."""

from __future__ import annotations

from itertools import combinations

import numpy as np

from montecarlo.engine.count import run_chunk
from montecarlo.engine.job import Job
from montecarlo.engine.sizes import designs
from montecarlo.estimates.assemble import Gathered, gather
from montecarlo.estimates.intervals import Estimate, student_mean
from montecarlo.estimates.paired import Half, paired
from montecarlo.quantities import Array
from montecarlo.sampling.design import BLOCKS
from montecarlo.sampling.stratum import EARTH
from montecarlo.study.candidates import candidate_lattices
from tests.coverage.seeds import asked
from tests.made.studies import study_with

SEEDS, SAMPLES, FEWEST, TRUTH = 400, 256, 128, 1 << 18
INSTALLATIONS = 128
STUDY = {
    "candidates.stabilising_resistance_ohm": [0],
    "candidates.earth_pickup_a": [0.02, 0.05, 0.1],
    "candidates.phase_pickup_a": [0.1],
    "internal_faults.shares": {"earth": 1.0},
    "study.installations": INSTALLATIONS,
}


def earth_faults(seed: int, samples: int, installations: int = INSTALLATIONS) -> Gathered:
    study = study_with(
        STUDY
        | {
            "study.seed": seed,
            "study.samples": installations,
            "study.earth_fault_samples": samples,
            "study.installations": installations,
        }
    )
    job = Job(study, candidate_lattices(study), *designs(study))
    parts = {}
    for chunk in job.earth_design.chunks(EARTH):
        tally = run_chunk(job, chunk)
        parts[chunk.installation_block] = (
            parts[chunk.installation_block] + tally if chunk.installation_block in parts else tally
        )
    return gather(EARTH, [parts[block] for block in range(BLOCKS)])


def held(found: Estimate, truth: Array) -> Array:
    return np.asarray((found.low <= truth) & (truth <= found.high))


def main() -> None:
    seeds, samples, quick = asked("missed", __doc__, SEEDS, SAMPLES, FEWEST)
    faults, installations = (256, 128) if quick else (TRUTH, 4096)
    reference = earth_faults(987654321, faults, installations)
    truth = reference.estimate()
    every = list(combinations(range(truth.p.size), 2))
    runs = [earth_faults(seed, samples) for seed in range(seeds)]
    found = [run.estimate() for run in runs]
    print(
        f"{seeds} runs of {samples} earth faults; truth from {faults:,}, half-width {_width(truth)}"
        " of p_missed\n"
    )
    print(
        "| candidate | p_missed | half-width over p_missed, mean | holds the truth: Student t over"
        " 16 blocks | over installations |\n|---|---|---|---|---|"
    )
    blocks = np.mean([held(one, truth.p) for one in found], axis=0)
    by_installations = np.mean([held(student_mean(run.means), truth.p) for run in runs], axis=0)
    width = np.mean([(one.high - one.low) / 2 / truth.p for one in found], axis=0)
    for k, p in enumerate(truth.p):
        print(
            f"| {k + 1} | {p:.5f} | {100 * width[k]:.2g} % | {100 * blocks[k]:.1f} % |"
            f" {100 * by_installations[k]:.1f} % |"
        )
    for one, other in every:
        gap = truth.p[one] - truth.p[other]
        inside = np.mean(
            [held(paired(Half([run], [1.0], one), Half([run], [1.0], other)), gap) for run in runs]
        )
        print(f"| {one + 1} minus {other + 1} | {gap:.5f} |  | {100 * inside:.1f} % |  |")


def _width(found: Estimate) -> str:
    return f"{100 * np.max((found.high - found.low) / 2 / found.p):.2g} %"


if __name__ == "__main__":
    main()
