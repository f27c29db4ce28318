"""One run from N(0, I) to sums, on one process."""

from __future__ import annotations

import numpy as np

from montecarlo.estimates.rare import COMMON, Sums, plain, pooled_log_weight, spans, tilted

CHUNK = 5120  # rows at once, whole batches
MOST, LEAST = 0.2, 1e-7  # probabilities between which settings shape the density
ROWS = 750  # beyond a threshold, where stages are pooled


def adapt(problem, rng, stages):
    """The last density of stages of so many samples; no symmetry is told."""
    density = plain(problem.dims, ())
    for n in stages:
        u = density.sample(rng, n)
        log_w, found = density.log_weight(u), problem.quantities(u)
        beyond = [
            flags
            for column, levels in zip(found.T, problem.thresholds, strict=True)
            for flags in spans(column, log_w, levels, MOST, LEAST)
        ]
        density = tilted(u, log_w, beyond, density, rng)
    return density


def adapt_pooled(problem, rng, stages):
    """The same where each fit is from all stages so far, as with `study.racing`."""
    densities, scores, found = [plain(problem.dims, ())], [], []
    for n in stages:
        scores.append(densities[-1].sample(rng, n))
        found.append(problem.quantities(scores[-1]))
        order = rng.permutation(sum(map(len, scores)))
        u = np.concatenate(scores)[order]
        log_w = pooled_log_weight(densities, [*map(len, scores)], u)
        beyond = [
            flags
            for column, levels in zip(
                np.concatenate(found)[order].T, problem.thresholds, strict=True
            )
            for flags in spans(column, log_w, levels, COMMON, LEAST)
        ]
        densities.append(tilted(u, log_w, beyond, densities[-1], rng, ROWS))
    return densities[-1]


def draw(problem, rng, density, n):
    """Sums of a final batch."""
    chunks = []
    for start in range(0, n, CHUNK):
        u = density.sample(rng, min(CHUNK, n - start))
        chunks.append(Sums.of(problem.operates(u), density.log_weight(u), density.largest_weight))
    return Sums.join(chunks)


def held(found, truth):
    return (found.low <= truth) & (truth <= found.high)
