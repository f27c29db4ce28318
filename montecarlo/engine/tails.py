"""What rare false trips owe to the tails that the study assumes: the same weighted samples with
every spread widened.

Below 1e-4 hardly anybody has data on the inputs that decide; the distribution that was written down
does. In standard-normal space only the map to the inputs changes, so the densities and the random
numbers are those of the batch, and weights hold. There are as many as the study has, also where the
batch has more."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from montecarlo.engine.guard import Unresolved, keep_to_limit, named, weighted
from montecarlo.engine.job import Job
from montecarlo.engine.progress import Progress, named_progress
from montecarlo.engine.rare import Densities, final_batch
from montecarlo.engine.workers import Workers
from montecarlo.estimates.assemble import Gathered
from montecarlo.estimates.rare import Sums
from montecarlo.quantities import Array
from montecarlo.sampling.stratum import Stratum
from montecarlo.study.wider import with_wider_inputs

__all__ = ["RARE", "WIDER", "decided_by_tails", "wider_sums"]

RARE = 1e-4  # p below which the tails of assumed distributions decide
WIDER_INPUTS = "wider inputs"
WIDER = 1.2  # by how much, common practice, no source


def decided_by_tails(sums: Sums) -> Array:
    """Which candidates' p is so rare, (C,); none seen is rare too."""
    return np.asarray(sums.total < RARE * sums.trials)


def wider_sums(
    job: Job,
    strata: Mapping[Stratum, Gathered],
    densities: Densities,
    round_: int,
    workers: Workers,
    progress: Progress,
) -> tuple[dict[Stratum, Sums], tuple[Unresolved, ...]]:
    """Sums of every candidate with wider inputs, of the events that have a rare one, on the random
    numbers of the batch; and those of them without a result."""
    concerned = {
        name: density
        for name, density in densities.items()
        if (judged := strata[name].weighted) is not None and decided_by_tails(judged.sums).any()
    }
    if not concerned:
        return {}, ()
    wide = Job(with_wider_inputs(job.study, WIDER), job.lattices, job.design, job.earth_design)
    found = final_batch(
        wide,
        concerned,
        round_,
        workers,
        named_progress(progress, WIDER_INPUTS),
    )
    rows = keep_to_limit(
        job.study,
        *(
            weighted(round_, name, final.candidates, final.causes, job.lattices)
            for name, final in found.items()
        ),
    )
    return {name: final.candidates for name, final in found.items()}, named(rows, WIDER_INPUTS)
