"""What is read first of a setting sweep: the setting, what it leaves and how often it trips
falsely, the policy, and who must approve; or that no setting meets the policy."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any

from montecarlo.estimates.choose import Weights, weights_of
from montecarlo.frames.limits import limit_columns
from montecarlo.study.description import Study
from studies.report.blocks import Lead
from studies.report.numbers import (
    a_year,
    amount,
    cost_with_limits,
    false_trips,
    missed_faults,
    percent,
    with_limits,
    yearly,
)
from studies.report.safety import REVIEW
from studies.report.words import counted, full_setting, has, scheme_name
from studies.sweep.closest import way_out
from studies.sweep.delay import delay_text
from studies.sweep.demand import demand_text, in_the_way_text
from studies.sweep.place_laws import place_range
from studies.sweep.policy import each_limit, is_limited, limit_of, policy_words
from studies.sweep.radius import holds_unless
from studies.turns.text import left_out

if TYPE_CHECKING:
    from montecarlo import Result

Row = Mapping[str, Any]


def recommendation(result: Result) -> Lead:
    """The chosen setting, or that there is none."""
    return Lead(tuple(_chosen(result) if result.chosen else _nothing(result)))


def _chosen(result: Result) -> Iterator[str]:
    row = result.row(result.chosen or 0)
    scheme, setting = scheme_name(row["scheme"]), full_setting(row)
    yield f"Recommended setting: no. {result.chosen}, {scheme}: {setting}."
    yield from worth(result.study, row, nobody_clears(result).get(row["candidate"]))
    yield from _policy(result.study, row)
    yield from demand_text(result)
    yield from delay_text(result)
    yield from holds_unless(result.margins, result.outcome.settings)
    yield from place_range(result.place_laws, int(row["candidate"]))
    yield REVIEW


def nobody_clears(result: Result) -> dict[int, Row]:
    """How often nobody clears a fault, as columns of the candidate for which that was followed."""
    if result.cleared is None or result.chosen is None:
        return {}
    return {result.chosen: limit_columns("p_nobody", result.cleared.nobody())}


def worth(study: Study, row: Row, followed: Row | None = None) -> Iterator[str]:
    """What a setting leaves uncleared, what nobody clears where that is known, and how often the
    setting trips falsely, an event and a year; `followed`: with the probability that nobody clears
    where failures of parts are counted."""
    weights = weights_of(study)
    yield f"Dependability: it {_missed(row, weights)}."
    yield from _nobody(study, row, followed)
    yield from left_out(study, row)
    yield security(study, row)


def _nobody(study: Study, row: Row, followed: Row | None) -> Iterator[str]:
    known = row if followed is None else followed
    counted = [] if study.backup is None or not study.backup.elements else ["back-up"]
    sound = ""
    if study.dependability is not None and followed is None:
        sound = " and all parts sound"
    elif study.dependability is not None:
        counted.append("failures of parts")
    if counted and has(known, "p_nobody"):
        what = f"With {' and '.join(counted)} counted{sound}"
        yield f"{what}, nobody clears {with_limits(known, 'p_nobody')}."


def security(study: Study, row: Row) -> str:
    """How often a setting trips falsely, an event and a year, a sentence."""
    return f"Security: {_false(row, weights_of(study))}."


def _missed(row: Row, weights: Weights) -> str:
    per_year = weights.internal_per_year * weights.in_scope
    return f"{missed_faults(row)}: {yearly(row, 'p_missed', per_year)}"


def _false(row: Row, weights: Weights) -> str:
    per_year = weights.events_per_year
    if row["p_false"] == 0:
        most = a_year(per_year * row["p_false_high"], "p_false")
        return f"{false_trips(row)}, or {most} a year"
    return f"it {false_trips(row)}: {yearly(row, 'p_false', per_year)}"


def _policy(study: Study, row: Row) -> Iterator[str]:
    """What the policy allows, and what the setting keeps to or costs."""
    level = f"{100 * study.policy.level:g} % confidence"
    if limit_of(study)[0] < math.inf:
        yield from kept(study, row)
        return
    cost, each = study.policy.least_annual_cost, each_limit(study)
    assert cost is not None
    yield (
        f"Missed faults and false trips cost {cost_with_limits(row, cost.unit)}. No setting that"
        " may be chosen costs less in the selection samples."
    )
    yield (
        f"The policy counts {amount(cost.missed_fault)} {cost.unit} a missed fault and"
        f" {amount(cost.false_trip)} {cost.unit} a false trip."
    )
    if each:
        yield f"It allows false trips on {each}, with {level}."


def kept(study: Study, row: Row) -> Iterator[str]:
    """The policy's limit and the bound that the setting keeps to; nothing where costs decide."""
    if limit_of(study)[0] < math.inf:
        yield (
            f"The policy allows {policy_words(study)}; this setting keeps to"
            f" {_bound(study, row)} with {100 * study.policy.level:g} % confidence."
        )


def _bound(study: Study, row: Row) -> str:
    bound = row["p_false_bound"]
    if study.policy.false_per_year_max is None:
        return percent(bound)
    return a_year(bound * weights_of(study).events_per_year, "p_false")


def _nothing(result: Result) -> Iterator[str]:
    """That no candidate was chosen, and what would be needed."""
    study, number = result.study, len(result.candidates)
    yield f"No setting is recommended: none of {counted(number, 'candidate')} meets the policy."
    level = f", with {100 * study.policy.level:g} % confidence" if is_limited(study) else ""
    yield f"The policy allows {policy_words(study)}{level}."
    if result.outcome.in_the_way:
        yield from in_the_way_text(result)
    else:
        yield way_out(result)
