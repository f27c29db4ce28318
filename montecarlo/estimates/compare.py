"""Differences between two candidates that were judged on the same installations and events, and
whether they tell the two apart."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

import numpy as np

from montecarlo.estimates.assemble import LEVEL, Gathered, weighted
from montecarlo.estimates.choose import cost_weights, weights_of
from montecarlo.estimates.intervals import Estimate
from montecarlo.estimates.paired import Half, paired
from montecarlo.estimates.totals import independent_difference
from montecarlo.sampling.stratum import Stratum
from montecarlo.study.assumption_sets import CHANGEABLE
from montecarlo.study.axes import Setting
from montecarlo.study.description import Study

# of a study: what a setting's figures of each type follow from, but for how often what happens
DECIDING = (*CHANGEABLE, "scheme", "relay", "correlations")
RATES = {"internal_faults": ("per_year", "shares"), "states": ("open_ct_circuit_per_year",)}
NO_DIFFERENCE = Estimate(np.zeros(()), np.zeros(()), np.zeros(()))


class Side(NamedTuple):
    """A candidate of a batch."""

    study: Study  # whose weights count
    strata: Mapping[Stratum, Gathered]
    candidate: int  # its place there
    setting: Setting | None = None  # where it is compared with one of another run


Weighing = Sequence[tuple[Stratum, float]]  # types with what each counts for


def level_of(pairs: int) -> float:
    """Level of each interval, so that those of one quantity hold together for so many pairs. [-]

    With `LEVEL` at least: what may fail is shared out among them (Bonferroni's inequality; Miller,
    Simultaneous Statistical Inference, 1981, from memory).

    Parameters
    ----------
    pairs : int

    Returns
    -------
    float
    """
    return 1 - (1 - LEVEL) / max(pairs, 1)


def differences(
    study: Study, strata: Mapping[Stratum, Gathered], one: int, other: int, level: float = LEVEL
) -> dict[str, Estimate]:
    """One candidate of a batch minus another.

    Parameters
    ----------
    study : Study
    strata : mapping of Stratum to Gathered
    one, other : int
    level : float (-)

    Returns
    -------
    dict of str to Estimate
        As of `differences_of`.
    """
    return differences_of(Side(study, strata, one), Side(study, strata, other), level)


def difference_of_type(
    study: Study,
    strata: Mapping[Stratum, Gathered],
    name: Stratum,
    places: Sequence[int],
    level: float,
) -> Estimate:
    """What one candidate of a batch misses of a type, or trips on, minus another's.

    Parameters
    ----------
    study : Study
    strata : mapping of Stratum to Gathered
    name : Stratum
    places : two of int
        The candidates'.
    level : float (-)

    Returns
    -------
    Estimate
    """
    one, other = (Side(study, strata, place) for place in places)
    return _difference(one, [(name, 1.0)], other, [(name, 1.0)], level)


def differences_of(one: Side, other: Side, level: float = LEVEL) -> dict[str, Estimate]:
    """One side minus the other, by quantity.

    A setting does not differ from itself on the same installation, so that with other rates or
    prices these alone make the difference.

    Parameters
    ----------
    one, other : Side
        May be of two runs on the same random numbers.
    level : float (-)

    Returns
    -------
    dict of str to Estimate
        "p_missed", "p_false", and "cost_per_year" where both policies weigh costs.
    """
    mine = _weighings(one.study)
    others = _weighings(other.study)
    common = [quantity for quantity in mine if quantity in others]
    return {
        quantity: _difference(one, mine[quantity], other, others[quantity], level)
        for quantity in common
    }


def trip_cost_difference(one: Side, other: Side, level: float = LEVEL) -> Estimate | None:
    """What false trips on external events cost a year more on one side, each by its own rates and
    price.

    Parameters
    ----------
    one, other : Side
        May be of two runs on the same random numbers.
    level : float (-)

    Returns
    -------
    Estimate or None
        In the unit of the policies' costs; None unless both weigh costs.
    """
    if not (cost_weights(one.study) and cost_weights(other.study)):
        return None
    return _difference(one, _trip_costs(one.study), other, _trip_costs(other.study), level)


def _trip_costs(study: Study) -> Weighing:
    """Events whose false trips cost anything."""
    external = weights_of(study).external
    return [(name, cost) for name, cost in cost_weights(study).items() if name in external and cost]


def _same(one: Side, other: Side) -> bool:
    """Whether no type can differ: one candidate of one batch, or one setting in two studies that
    have all alike from which its figures of each type follow."""
    if one.strata is other.strata and one.study is other.study:
        return one.candidate == other.candidate
    return (
        one.setting is not None
        and one.setting == other.setting
        and one.strata.keys() == other.strata.keys()
        and _without_rates(one.study) == _without_rates(other.study)
    )


def _without_rates(study: Study) -> list[Any]:
    parts = {name: getattr(study, name) for name in DECIDING}
    parts |= {
        name: parts[name].model_copy(update=dict.fromkeys(rates)) for name, rates in RATES.items()
    }
    parts["external_events"] = [
        event.model_copy(update={"per_year": None}) for event in study.external_events
    ]
    return [*parts.values()]


def _weighings(study: Study) -> dict[str, Weighing]:
    weight = weights_of(study)
    sides: dict[str, Weighing] = {
        "p_missed": [*zip(weight.internal, weight.shares, strict=True)],
        "p_false": [*zip(weight.external, weight.event_shares, strict=True)],
    }
    if costs := cost_weights(study):
        sides["cost_per_year"] = [*costs.items()]
    return sides


def _difference(
    one: Side, weights: Weighing, other: Side, others: Weighing, level: float
) -> Estimate:
    """By the weights alone where no type differs. Else types whose p is a count or a conditional
    mean in pairs; those from weighted samples alone on both sides as if the sides' samples were
    independent, which is wider than what they share would allow; the two parts are independent
    (limits as of a sum: `estimates.totals.mover`)."""
    if _same(one, other):
        return _of_weights(one, weights, others, level)
    parts = [_from_weighted(one, weights, level), _from_weighted(other, others, level)]
    rare = _independent(*parts)
    left = _left(one, weights, parts)
    right = _left(other, others, parts)
    if not (left.strata or right.strata):
        return rare
    counted = paired(left, right, level)
    gap = counted.p + rare.p
    return Estimate(
        gap,
        gap - np.hypot(counted.p - counted.low, rare.p - rare.low),
        gap + np.hypot(counted.high - counted.p, rare.high - rare.p),
    )


def _of_weights(side: Side, weights: Weighing, others: Weighing, level: float) -> Estimate:
    """Where no type differs: the types that count for more, minus those that count for less, as if
    these were independent, which is wider than what they share would allow."""
    change = dict(weights)
    for name, weight in others:
        change[name] = change.get(name, 0.0) - weight
    more = {name: by for name, by in change.items() if by > 0}
    less = {name: -by for name, by in change.items() if by < 0}
    return independent_difference(*(_total(side, part, level) for part in (more, less)))


def _total(side: Side, weights: Mapping[Stratum, float], level: float) -> Estimate:
    if not weights:
        return NO_DIFFERENCE
    strata = [side.strata[name] for name in weights]
    total = weighted(strata, [*weights.values()], level)
    return Estimate(*(part[side.candidate] for part in total))


def _from_weighted(side: Side, weights: Weighing, level: float) -> dict[Stratum, Estimate]:
    """Weighted p with limits of the types whose p comes from weighted samples."""
    found = {}
    for name, weight in weights:
        stratum = side.strata[name]
        if stratum.weighted is not None and stratum.weighted.used[side.candidate]:
            own = stratum.estimate(level)
            found[name] = Estimate(*(weight * part[side.candidate] for part in own))
    return found


def _independent(one: Mapping[Stratum, Estimate], other: Mapping[Stratum, Estimate]) -> Estimate:
    """Sum of the types that both sides have, one minus other, by the square roots of squared
    distances to limits."""
    gaps = [independent_difference(one[name], other[name]) for name in one if name in other]
    gap = np.sum([each.p for each in gaps])
    low = np.sum([(each.p - each.low) ** 2 for each in gaps])
    high = np.sum([(each.high - each.p) ** 2 for each in gaps])
    return Estimate(gap, gap - np.sqrt(low), gap + np.sqrt(high))


def _left(side: Side, weights: Weighing, parts: Sequence[Mapping[Stratum, Estimate]]) -> Half:
    """The types of a side that weighted samples do not settle on both sides."""
    left = [
        (side.strata[name], weight)
        for name, weight in weights
        if not all(name in part for part in parts)
    ]
    return Half([stratum for stratum, _ in left], [weight for _, weight in left], side.candidate)
