"""One run from pilots to estimates on one process."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial

from montecarlo.estimates.rare import Sums, fit, refit, subset_pilot


@dataclass(frozen=True)
class Sizes:
    pilots: int = 10                                       # in all, spread over the anchors
    per_level: int = 300
    middle: tuple[int, ...] = (10_240,)                    # rounds that improve the mixture
    final: int = 20_480


DEFAULT = Sizes()


def excess(problem, setting, u):
    return problem.excess(u)[:, setting]


def run(problem, rng, sizes=DEFAULT):
    """Sums, calls, pilots."""
    pilots = [subset_pilot(partial(excess, problem, problem.anchors[i % len(problem.anchors)]), problem.dims, rng,
                           per_level=sizes.per_level) for i in range(sizes.pilots)]
    mixture = fit(pilots)
    for n in sizes.middle:
        u = mixture.sample(rng, n)
        mixture = refit(u, mixture.log_weight(u), problem.excess(u)[:, list(problem.spans)], mixture)
    u = mixture.sample(rng, sizes.final)
    sums = Sums.of(problem.excess(u) > 0, mixture.log_weight(u), mixture.largest_weight)
    return sums, sum(p.calls for p in pilots) + sum(sizes.middle) + sizes.final, pilots, mixture
