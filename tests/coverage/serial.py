"""One run from pilots to sums, on one process."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial

import numpy as np

from montecarlo.estimates.rare import Sums, fit, pooled_log_weight, refit, subset_pilot

CHUNK = 5120                                               # rows at once, whole batches


@dataclass(frozen=True)
class Sizes:
    pilots: int                                            # in all, spread over the anchors
    middle: tuple[int, ...]                                # rounds that improve the mixture
    final: int
    per_level: int = 300


def excess(problem, setting, u):
    return problem.excess(u)[:, setting]


def adapt(problem, rng, sizes):
    """Last mixture, calls until then, pilots."""
    pilots = [subset_pilot(partial(excess, problem, problem.anchors[i % len(problem.anchors)]), problem.dims, rng,
                           per_level=sizes.per_level) for i in range(sizes.pilots)]
    mixture, rounds, drawn = fit(pilots), [], []
    for n in sizes.middle:
        rounds.append(mixture)
        drawn.append(mixture.sample(rng, n))
        u = np.concatenate(drawn)
        log_w = pooled_log_weight(u, rounds, sizes.middle[:len(rounds)])
        mixture = refit(u, log_w, problem.excess(u)[:, list(problem.spans)], mixture)
    return mixture, sum(pilot.calls for pilot in pilots) + sum(sizes.middle), pilots


def draw(problem, rng, mixture, n):
    """Sums of a final batch."""
    chunks = []
    for start in range(0, n, CHUNK):
        u = mixture.sample(rng, min(CHUNK, n - start))
        chunks.append(Sums.of(problem.excess(u) > 0, mixture.log_weight(u), mixture.largest_weight))
    return Sums.join(chunks)
