"""Differences between two candidates that were judged on the same plants and events, and whether they tell the two
apart."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from montecarlo.estimates.assemble import Stratum, difference
from montecarlo.estimates.choose import cost_weights, weights_of
from montecarlo.estimates.intervals import Estimate
from montecarlo.study.description import Study

__all__ = ["differences", "distinguishable"]


def differences(study: Study, strata: Mapping[str, Stratum], one: int, other: int) -> dict[str, Estimate]:
    """Candidate `one` minus candidate `other` of a batch, paired, by quantity: p_missed, p_false, and cost_per_year
    where the policy weighs costs."""
    weight = weights_of(study)
    sides: dict[str, tuple[Sequence[str], Sequence[float]]] = {
        "p_missed": (weight.internal, weight.shares), "p_false": (weight.external, weight.event_shares)}
    if costs := cost_weights(study):
        sides["cost_per_year"] = [*costs], [*costs.values()]
    return {quantity: difference([strata[name] for name in names], shares, one, other)
            for quantity, (names, shares) in sides.items()}


def distinguishable(gap: Estimate) -> bool:
    """Whether 0 lies outside the interval of a difference; no result tells nothing apart."""
    return bool(gap.low > 0 or gap.high < 0)
