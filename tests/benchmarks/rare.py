"""Prints what a weighted sample is worth on the hydro example: calls x squared relative error of
every candidate with rare false trips, over repeated final batches of one density, against counts
where these see enough.

    python -m tests.benchmarks.rare [--repeats N] [--counted N] [--quick]
"""

from __future__ import annotations

import argparse
import time
from itertools import pairwise

import numpy as np

from montecarlo.engine.densities import find_densities
from montecarlo.engine.job import Job
from montecarlo.engine.rare import Densities, final_batch
from montecarlo.engine.sizes import designs
from montecarlo.engine.space import space_of
from montecarlo.engine.workers import Workers
from montecarlo.estimates.rare import Sums, plain, rare_estimate
from montecarlo.quantities import Array
from montecarlo.sampling.stratum import Side, Stratum
from montecarlo.study.budget import LEAST_WEIGHTED
from montecarlo.study.candidates import candidate_lattices
from montecarlo.study.description import Study
from tests.benchmarks.faults import hydro
from tests.benchmarks.timing import header, row

SEARCH, FINAL = 16_384, 8_192  # weighted samples: for the density, of each repeat
BANDS = (1e-2, 1e-3, 1e-4, 1e-5, 1e-6, 1e-7)
WORKERS = 2


def quiet(done: int, total: int, what: str) -> None:
    pass


def job_of(study: Study, samples: int) -> Job:
    sized = study.model_copy(
        update={"study": study.study.model_copy(update={"rare_samples": samples})}
    )
    return Job(sized, candidate_lattices(sized), *designs(sized))


def uncounted(study: Study) -> Densities:
    """N(0, I): every weight is 1, every sample an installation of its own."""
    names = [Stratum.of(Side.EXTERNAL, event.name) for event in study.external_events]
    spaces = {name: space_of(study, name) for name in names}
    return {name: plain(space.dims, space.images) for name, space in spaces.items()}


def bands(name: str, batches: list[Sums], delays: Array) -> None:
    p = np.stack([rare_estimate(sums).p for sums in batches])
    limits = [rare_estimate(sums) for sums in batches]
    truth = p.mean(axis=0)
    unit = batches[0].trials * (p.std(axis=0, ddof=1) / np.maximum(truth, 1e-300)) ** 2
    held = np.mean([(found.low <= truth) & (truth <= found.high) for found in limits], axis=0)
    for high, low in pairwise(BANDS):
        for delay in np.unique(delays):
            here = (truth < high) & (truth >= low) & (delays == delay)
            if here.any():
                row(
                    f"{name}, {low:g} to {high:g}, {delay:g} s",
                    int(here.sum()),
                    f"{np.median(unit[here]):,.0f}",
                    f"{unit[here].max():,.0f}",
                    f"{100 * held[here].mean():.0f} %",
                )


def counts(name: str, weighted: Sums, counted: Sums) -> None:
    hits, p = counted.hits, weighted.total / weighted.trials
    seen = (hits >= 10) & (hits / counted.trials < 0.02)
    batch = weighted.batch_squares - weighted.total**2 / weighted.batches
    error = np.hypot(np.sqrt(batch) / weighted.trials, np.sqrt(hits) / counted.trials)
    z = (p - hits / counted.trials)[seen] / error[seen]
    row(name, int(seen.sum()), f"{np.sqrt(np.mean(z**2)):.2f}", f"{np.abs(z).max():.1f}")


def main() -> None:
    parser = argparse.ArgumentParser(
        prog="python -m tests.benchmarks.rare",
        description=__doc__,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--repeats", type=int, default=24, help="final batches of one density")
    parser.add_argument("--counted", type=int, default=131_072, help="samples")
    parser.add_argument(
        "--quick", action="store_true", help="shows in seconds that every part works"
    )
    chosen = parser.parse_args()
    study, workers = hydro(), Workers(1 if chosen.quick else WORKERS)
    repeats, counted, search, final = chosen.repeats, chosen.counted, SEARCH, FINAL
    if chosen.quick:
        repeats, counted, search, final = 2, LEAST_WEIGHTED, LEAST_WEIGHTED, LEAST_WEIGHTED
        study = study.model_copy(update={"external_events": study.external_events[:1]})
    began = time.perf_counter()
    densities = find_densities(job_of(study, search), workers, quiet)
    searched = time.perf_counter() - began
    job = job_of(study, final)
    found = [
        final_batch(job, densities, round_, workers, quiet) for round_ in range(1, repeats + 1)
    ]
    delays = np.array(
        [setting.delay_s for lattice in job.lattices for setting in lattice.settings()]
    )
    header(
        "calls x squared relative error, candidates",
        "candidates",
        "median",
        "worst",
        "95 % limits hold",
    )
    for name in densities:
        bands(name.kind, [batch[name].candidates for batch in found], delays)
    plain_counts = final_batch(job_of(study, counted), uncounted(study), 0, workers, quiet)
    header(f"against {counted} counted samples", "candidates", "root mean square z", "largest")
    for name in densities:
        counts(
            name.kind,
            Sums.join([batch[name].candidates for batch in found]),
            plain_counts[name].candidates,
        )
    print(
        f"\ndensities: {searched:.0f} s on {workers.count} workers;"
        f" {time.perf_counter() - began:.0f} s in all"
    )


if __name__ == "__main__":
    main()
