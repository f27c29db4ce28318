"""Why a candidate may not be chosen: rules and numbers, no words."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import Enum

from montecarlo.estimates.choose import Judgement, weights_of
from montecarlo.study.budget import limit_of_p_false, rounded_up
from montecarlo.study.description import Study


class Rule(Enum):
    """What refuses a candidate."""

    ON_LOAD = "on_load"  # operates in a share of the sampled loads
    NO_LOAD_RESULT = "no_load_result"
    KNEE = "knee"  # V_k < 2 V_s
    FALSE_TRIPS = "false_trips"  # bound of p_false above policy.p_false_max
    FALSE_PER_YEAR = "false_per_year"  # bound a year above policy.false_per_year_max
    EVENT = "event"  # bound of p_false of one kind of event above policy.p_false_max_each
    RADIUS = "radius"  # breaks the limit within policy.least_radius
    ASSUMPTION_SET = "assumption_set"  # allowed as stated, not in every assumption set
    NONE_USABLE = "none_usable"  # no candidate of a scheme


@dataclass(frozen=True)
class Refusal:
    """One rule that refuses a candidate.

    Parameters
    ----------
    rule : Rule
    value, limit : float
        What is judged and what it may be, in the rule's unit; not a number where it has none.
    event : str
        Of `Rule.EVENT`, which kind.
    samples : int
        Where no false trip was seen, how many samples without one would show the limit; else 0.
    """

    rule: Rule
    value: float = math.nan
    limit: float = math.nan
    event: str = ""
    samples: int = 0


@dataclass(frozen=True)
class NoneUsable:
    """No candidate of a scheme may be used at all: how many there are, how many operate on load,
    and whether the worst of several assumption sets was looked at. The others break the knee
    rule."""

    candidates: int
    on_load: int
    in_assumption_sets: bool
    rule: Rule = Rule.NONE_USABLE


def may_be_chosen(judged: Judgement, at: int) -> bool:
    """Whether the policy allows a candidate.

    Parameters
    ----------
    judged : Judgement
    at : int
        Its place.

    Returns
    -------
    bool
    """
    return bool(judged.usable[at] and judged.allowed[at])


def refusals_of(study: Study, judged: Judgement, at: int) -> tuple[Refusal, ...]:
    """Every rule that refuses a candidate, in the order in which they are told.

    Parameters
    ----------
    study : Study
    judged : Judgement
    at : int
        Its place.

    Returns
    -------
    tuple of Refusal
        Empty if none does.
    """
    found = []
    policy = study.policy
    load = float(judged.load_share[at])
    if load > 0:
        found.append(Refusal(Rule.ON_LOAD, load, 0.0))
    if math.isnan(load):
        found.append(Refusal(Rule.NO_LOAD_RESULT))
    if not (judged.knee_rule[at] or policy.ignore_knee_rule):
        found.append(Refusal(Rule.KNEE))
    if not judged.allowed[at]:
        found += _of_all_events(study, judged, at)
    each = policy.p_false_max_each
    if each is not None:
        for stratum, bounds in judged.each.items():
            if not bounds[at] / each <= 1:
                found.append(Refusal(Rule.EVENT, float(bounds[at]), each, stratum.kind))
    if judged.demand is not None and judged.demand[at] > 1:
        found.append(
            Refusal(Rule.RADIUS, float(judged.demand[at]), policy.least_radius or math.nan)
        )
    return tuple(found)


def _of_all_events(study: Study, judged: Judgement, at: int) -> list[Refusal]:
    """The limit on all events together."""
    bound = float(judged.bound[at])
    limit = limit_of_p_false(study)
    if bound / limit <= 1:
        return []
    samples = 0
    if judged.false.total[at] == 0:
        samples = rounded_up(study.study.samples * bound / limit)
    yearly_limit = study.policy.false_per_year_max
    if yearly_limit is None:
        return [Refusal(Rule.FALSE_TRIPS, bound, limit, samples=samples)]
    yearly = bound * weights_of(study).events_per_year
    return [Refusal(Rule.FALSE_PER_YEAR, yearly, yearly_limit, samples=samples)]


def stated_refusals(
    study: Study, stated: Judgement, worst: Judgement, at: int
) -> tuple[Refusal, ...]:
    """The same by the study as stated; where it allows what an assumption set does not, that.

    Parameters
    ----------
    study : Study
    stated, worst : Judgement
        By the study as stated, and by each candidate's worst assumption set.
    at : int
        The candidate's place.

    Returns
    -------
    tuple of Refusal
        Empty if the candidate may be chosen.
    """
    found = refusals_of(study, stated, at)
    if found or may_be_chosen(worst, at):
        return found
    return (Refusal(Rule.ASSUMPTION_SET),)
