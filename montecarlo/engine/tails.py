"""What rare false trips owe to the tails that the study assumes: the same weighted samples with
every spread widened.

Below 1e-4 hardly anybody has data on the inputs that decide; the distribution that was written down
does. In standard-normal space only the map to the inputs changes, so the densities and the random
numbers are those of the batch, and weights hold. There are as many as the study has, also where the
batch has more."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from montecarlo.engine.guard import Unresolved, keep_to_limit, named, weighted
from montecarlo.engine.job import Job
from montecarlo.engine.progress import WIDER_INPUTS, Progress, named_progress
from montecarlo.engine.rare import Densities, final_batch
from montecarlo.engine.sizes import designs
from montecarlo.engine.workers import Workers
from montecarlo.estimates.assemble import Gathered
from montecarlo.estimates.rare import Sums
from montecarlo.quantities import Array
from montecarlo.sampling.stratum import Stratum
from montecarlo.study.candidates import Lattice
from montecarlo.study.description import Study
from montecarlo.study.wider import with_wider_inputs

RARE = 1e-4  # p below which the tails of assumed distributions decide
WIDER = 1.2  # by how much, common practice, no source


def decided_by_tails(sums: Sums) -> Array:
    """Which candidates' p is so rare that tails decide; none seen is rare too.

    Parameters
    ----------
    sums : Sums

    Returns
    -------
    (C,) array of bool
    """
    return np.asarray(sums.total < RARE * sums.trials)


def wider_sums(
    study: Study,
    lattices: Sequence[Lattice],
    strata: Mapping[Stratum, Gathered],
    densities: Densities,
    round_: int,
    workers: Workers,
    progress: Progress,
) -> tuple[dict[Stratum, Sums], tuple[Unresolved, ...]]:
    """Sums of every candidate with wider inputs, of the events that have a rare one, on the random
    numbers of the batch.

    Parameters
    ----------
    study : Study
    lattices : sequence of Lattice
    strata : mapping of Gathered
    densities : mapping of Symmetric
    round_ : int
    workers : Workers
    progress : Progress

    Returns
    -------
    dict of Sums, tuple of Unresolved
        By stratum, and samples without a result.

    Raises
    ------
    RunStopped
    """
    concerned = {
        name: density
        for name, density in densities.items()
        if (judged := strata[name].weighted) is not None and decided_by_tails(judged.sums).any()
    }
    if not concerned:
        return {}, ()
    wide = Job(with_wider_inputs(study, WIDER), tuple(lattices), *designs(study))
    tell = named_progress(progress, WIDER_INPUTS)
    found = final_batch(wide, concerned, round_, workers, tell)
    rows = keep_to_limit(
        study,
        *(
            weighted(round_, name, final.candidates, final.causes, lattices)
            for name, final in found.items()
        ),
    )
    return {name: final.candidates for name, final in found.items()}, named(rows, WIDER_INPUTS)
