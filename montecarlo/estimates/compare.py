"""Differences between two candidates that were judged on the same plants and events, and whether they tell the two
apart."""

from __future__ import annotations

from collections.abc import Mapping

from montecarlo.estimates.assemble import Stratum, difference
from montecarlo.estimates.choose import weights_of
from montecarlo.estimates.intervals import Estimate
from montecarlo.study.description import Study

__all__ = ["differences", "distinguishable"]


def differences(study: Study, strata: Mapping[str, Stratum], one: int, other: int) -> dict[str, Estimate]:
    """Candidate `one` minus candidate `other` of a batch, paired, by quantity: p_missed and p_false."""
    weight = weights_of(study)
    sides = {"p_missed": (weight.internal, weight.shares), "p_false": (weight.external, weight.event_shares)}
    return {quantity: difference([strata[name] for name in names], shares, one, other)
            for quantity, (names, shares) in sides.items()}


def distinguishable(gap: Estimate) -> bool:
    """Whether 0 lies outside the interval of a difference; no result tells nothing apart."""
    return bool(gap.low > 0 or gap.high < 0)
