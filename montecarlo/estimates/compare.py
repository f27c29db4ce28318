"""Differences between two candidates that were judged on the same plants and events, and whether they tell the two
apart."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

import numpy as np

from montecarlo.estimates.assemble import Half, Stratum, paired
from montecarlo.estimates.choose import cost_weights, weights_of
from montecarlo.estimates.intervals import Estimate
from montecarlo.study.description import Study

__all__ = ["Side", "differences", "differences_of", "distinguishable"]


class Side(NamedTuple):
    """A candidate of a batch, by its place there, and the study whose weights count."""

    study: Study
    strata: Mapping[str, Stratum]
    candidate: int


Weighing = Sequence[tuple[str, float]]                     # types with what each counts for


def differences(study: Study, strata: Mapping[str, Stratum], one: int, other: int) -> dict[str, Estimate]:
    """Candidate `one` minus candidate `other` of a batch, by quantity (`differences_of`)."""
    return differences_of(Side(study, strata, one), Side(study, strata, other))


def differences_of(one: Side, other: Side) -> dict[str, Estimate]:
    """One side minus the other, by quantity: p_missed, p_false, and cost_per_year where both policies weigh costs. The
    sides may be of two runs on the same random numbers."""
    found, others = _weighings(one.study), _weighings(other.study)
    return {quantity: _difference(one, found[quantity], other, others[quantity])
            for quantity in found if quantity in others}


def _weighings(study: Study) -> dict[str, Weighing]:
    weight = weights_of(study)
    sides: dict[str, Weighing] = {"p_missed": [*zip(weight.internal, weight.shares, strict=True)],
                                  "p_false": [*zip(weight.external, weight.event_shares, strict=True)]}
    if costs := cost_weights(study):
        sides["cost_per_year"] = [*costs.items()]
    return sides


def _difference(one: Side, weights: Weighing, other: Side, others: Weighing) -> Estimate:
    """Types whose p is a count or a conditional mean in pairs; those from weighted samples as if the two sides'
    samples were independent, which is wider than what they share would allow; the two parts are independent
    (limits as of a sum: `estimates.totals.mover`)."""
    parts = [_from_weighted(one, weights), _from_weighted(other, others)]
    rare = _independent(*parts)
    kept = [_left(one, weights, parts), _left(other, others, parts)]
    if not any(half.strata for half in kept):
        return rare
    counted = paired(*kept)
    gap = counted.p + rare.p
    return Estimate(gap, gap - np.hypot(counted.p - counted.low, rare.p - rare.low),
                    gap + np.hypot(counted.high - counted.p, rare.high - rare.p))


def _from_weighted(side: Side, weights: Weighing) -> dict[str, Estimate]:
    """Weighted p with limits of the types whose p comes from weighted samples."""
    found = {}
    for name, weight in weights:
        stratum = side.strata[name]
        if stratum.weighted is not None and stratum.weighted.used[side.candidate]:
            found[name] = Estimate(*(weight * part[side.candidate] for part in stratum.estimate()))
    return found


def _independent(one: Mapping[str, Estimate], other: Mapping[str, Estimate]) -> Estimate:
    """Sum of the types that both sides have, one minus other, by the square roots of squared distances to limits."""
    both = [(one[name], other[name]) for name in one if name in other]
    gap = np.sum([a.p - b.p for a, b in both])
    low = np.sum([(a.p - a.low)**2 + (b.high - b.p)**2 for a, b in both])
    high = np.sum([(a.high - a.p)**2 + (b.p - b.low)**2 for a, b in both])
    return Estimate(gap, gap - np.sqrt(low), gap + np.sqrt(high))


def _left(side: Side, weights: Weighing, parts: Sequence[Mapping[str, Estimate]]) -> Half:
    """The types of a side that weighted samples do not settle on both sides."""
    left = [(side.strata[name], weight) for name, weight in weights if not all(name in part for part in parts)]
    return Half([stratum for stratum, _ in left], [weight for _, weight in left], side.candidate)


def distinguishable(gap: Estimate) -> bool:
    """Whether 0 lies outside the interval of a difference; no result tells nothing apart."""
    return bool(gap.low > 0 or gap.high < 0)
