"""The fresh batch as large as the study's precision needs: planned from a batch that is there, then
drawn whole."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from montecarlo.engine.winding import STEADY_INTERVALS
from montecarlo.estimates.assemble import Gathered
from montecarlo.estimates.choose import Judgement, weights_of
from montecarlo.estimates.planning import planned
from montecarlo.estimates.rare import rare_estimate
from montecarlo.estimates.totals import Total
from montecarlo.sampling.stratum import EARTH, Stratum
from montecarlo.study.budget import earth_fault_samples, weighted_samples
from montecarlo.study.description import Precision, Study

__all__ = [
    "Precise",
    "Sizes",
    "falls_short",
    "precision_of",
    "reached",
    "sizes_for",
    "with_sizes",
]

Sizes = Mapping[str, int]  # keys of [study] that differ from what the study states
# by quantity: relative half-width asked for, and reached
Reached = dict[str, tuple[float, float]]


@dataclass(frozen=True)
class Precise:
    """What the chosen candidate reached on its fresh batch.

    Attributes
    ----------
    reached : tuple
        Quantity, relative half-width asked for, and reached.
    samples, earth_faults : int
        Of each counted type; of earth faults.
    weighted : tuple of int, or None
        The fewest and the most of an event.
    most : int or None
        The limit that kept it short of that; None where it was reached.
    """

    reached: tuple[tuple[str, float, float], ...]
    samples: int
    earth_faults: int
    weighted: tuple[int, int] | None
    most: int | None


def with_sizes(study: Study, sizes: Sizes) -> Study:
    """The study drawn in other sizes."""
    return study.model_copy(update={"study": study.study.model_copy(update=dict(sizes))})


def reached(precision: Precision, judgement: Judgement, candidate: int) -> Reached:
    """How wide the 95 % intervals of a candidate are, over the estimate; infinite where that is 0.
    [-]"""

    def relative(total: Total) -> float:
        half, p = (total.high[candidate] - total.low[candidate]) / 2, total.total[candidate]
        return float(half / p) if p > 0 else np.inf

    return {
        name: (asked, relative(total))
        for name, asked, total in (
            ("p_missed", precision.p_missed, judgement.missed),
            ("p_false", precision.p_false, judgement.false),
        )
        if asked is not None
    }


def falls_short(found: Reached) -> bool:
    return any(not got <= asked for asked, got in found.values())


def precision_of(reached: Reached, study: Study, strata: Mapping[Stratum, Gathered]) -> Precise:
    """What a fresh batch of the study's sizes reached."""
    asked = study.study.precision
    assert asked is not None
    rare = [part.weighted.sums.trials for part in strata.values() if part.weighted is not None]
    return Precise(
        tuple((name, *widths) for name, widths in reached.items()),
        study.study.samples,
        earth_fault_samples(study),
        (min(rare), max(rare)) if rare else None,
        asked.most_samples if falls_short(reached) else None,
    )


def sizes_for(
    study: Study,
    precision: Precision,
    strata: Mapping[Stratum, Gathered],
    judgement: Judgement,
    candidate: int,
) -> dict[str, int]:
    """Sizes of a batch in which this candidate reaches its precision, as far as a batch of the
    study's sizes tells.

    All counted types have one size, so the larger need of p_missed and p_false decides it."""
    weight = weights_of(study)
    drawn = {
        "samples": study.study.samples,
        "earth_fault_samples": earth_fault_samples(study),
        "rare_samples": weighted_samples(study),
    }
    cost = {"samples": 1.0, "earth_fault_samples": STEADY_INTERVALS + 1.0, "rare_samples": 1.0}
    wanted = dict(drawn)

    def size_of(name: Stratum) -> str:
        if name == EARTH:
            return "earth_fault_samples"
        part = strata[name].weighted
        return "samples" if part is None or not part.used[candidate] else "rare_samples"

    def plan(names: Sequence[Stratum], weights: Sequence[float], target: float) -> None:
        squares: dict[str, float] = {}
        for name, w in zip(names, weights, strict=True):
            half = w * _half(strata[name], candidate, drawn["rare_samples"])
            squares[size_of(name)] = squares.get(size_of(name), 0.0) + half**2
        keys = list(squares)
        sizes = planned(
            [squares[key] ** 0.5 for key in keys],
            [drawn[key] for key in keys],
            [cost[key] for key in keys],
            target,
        )
        for key, size in zip(keys, sizes, strict=True):
            wanted[key] = max(wanted[key], int(size))

    for name, asked in (("missed", precision.p_missed), ("false", precision.p_false)):
        total: Any = getattr(judgement, name).total[candidate]
        if asked is not None and total > 0:
            plan(
                *(
                    (weight.internal, weight.shares)
                    if name == "missed"
                    else (weight.external, weight.event_shares)
                ),
                asked * float(total),
            )
    return {key: max(min(size, precision.most_samples), drawn[key]) for key, size in wanted.items()}


def _half(stratum: Gathered, candidate: int, rare_samples: int) -> float:
    """Half of a type's interval. Of weighted samples their own, at this number of them: limits that
    reach over those of the counts for want of hits do so no more when there are enough."""
    rare = stratum.weighted
    if rare is None or not rare.used[candidate]:
        limits, times = stratum.estimate(), 1.0
    else:
        limits, times = rare_estimate(rare.sums), rare.sums.trials / rare_samples
    return float((limits.high[candidate] - limits.low[candidate]) / 2 * np.sqrt(times))
