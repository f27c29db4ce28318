"""What a study's policy allows, in words and as a line of a figure."""

from __future__ import annotations

import math

from montecarlo.study.budget import limit_of_p_false
from montecarlo.study.description import Study
from studies.report.numbers import percent


def limit_of(study: Study) -> tuple[float, str]:
    """The policy's limit as a probability of a false trip an event, and in the policy's own words;
    infinite where it weighs costs."""
    if study.policy.least_annual_cost is not None:
        return math.inf, "any number of false trips at their cost"
    limit, yearly = limit_of_p_false(study), study.policy.false_per_year_max
    if yearly is None:
        return limit, f"false trips on {percent(limit)} of the external events"
    return limit, f"{yearly:g} false trips a year"


def limit_line(study: Study) -> tuple[float | None, str]:
    """The same as a line of a figure and its label; None where it is on no axis."""
    limit, yearly = limit_of(study)[0], study.policy.false_per_year_max
    words = percent(limit) if yearly is None else f"{yearly:g} false trips a year"
    return (limit if limit < 1 else None), f"policy's limit, {words}"


def each_limit(study: Study) -> str:
    """The policy's limit on each kind of event; empty without."""
    each = study.policy.p_false_max_each
    return "" if each is None else f"{percent(each)} of every kind of event"


def is_limited(study: Study) -> bool:
    """Whether the policy has a limit at all."""
    return limit_of(study)[0] < math.inf or study.policy.p_false_max_each is not None


def policy_words(study: Study) -> str:
    """Both limits together."""
    return ", and ".join(filter(None, (limit_of(study)[1], each_limit(study))))
