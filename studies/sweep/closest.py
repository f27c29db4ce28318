"""Where nothing can be chosen: what comes closest to the policy, in words."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any

from montecarlo.study.description import Study
from studies.report.numbers import cost_with_limits, false_trips, percent, with_limits
from studies.report.refusals import note_text
from studies.report.words import scheme_name, setting_text

if TYPE_CHECKING:
    import pandas as pd

    from montecarlo import Result

Row = Mapping[str, Any]


def closest_text(study: Study, closest: pd.DataFrame, of: str = "") -> Iterator[str]:
    """A paragraph a row of `closest_rows`; `of`: whose, where there are several studies."""
    for row in closest.to_dict("records"):
        head = f"{of}{scheme_name(row['scheme'])}"
        if math.isnan(row["p_missed"]):
            yield f"Closest of {head}: nothing; {note_text(row['refusals'])}."
            continue
        more = _meets(study, row), _meets_each(study, row), _batch(row)
        yield (
            f"Closest of {head}: no. {row['candidate']}, {setting_text(row)}. It misses"
            f" {with_limits(row, 'p_missed', 3)} of the internal faults within reach and"
            f" {_false(row)}{_cost(study, row)}. {' '.join(filter(None, more))}"
        )


def closest_of_each(results: Mapping[str, Result]) -> Iterator[str]:
    """The same of several studies, each by its name."""
    for name, result in results.items():
        yield from closest_text(result.study, result.closest, f'"{name}", ')


def _false(row: Row) -> str:
    if "worst_assumption_set" not in row:
        return false_trips(row, " of it")
    worst = f', in its worst assumption set "{row["worst_assumption_set"]}"'
    if row["p_false"] > 0:  # there the limits of the study as stated do not hold
        return f"trips falsely on {percent(row['p_false'])} of the external events{worst}"
    return false_trips(row, " of it") + worst


def _cost(study: Study, row: Row) -> str:
    cost = study.policy.least_annual_cost
    return "" if cost is None else f"; together that costs {cost_with_limits(row, cost.unit)}"


def _meets(study: Study, row: Row) -> str:
    """The policy's limit beside the one that the candidate would meet."""
    policy = study.policy
    if policy.least_annual_cost is not None:
        return ""
    key = "p_false_max" if policy.false_per_year_max is None else "false_per_year_max"
    return (
        f"It would meet {key} = {row['would_meet']:g} with {100 * policy.level:g} % confidence; the"
        f" policy's is {row['limit']:g}."
    )


def _meets_each(study: Study, row: Row) -> str:
    if study.policy.p_false_max_each is None:
        return ""
    return (
        f"Of each kind of event it would meet p_false_max_each = {row['would_meet_each']:g}"
        f" ({row['worst_event']} decides); the policy's is {row['each_limit']:g}."
    )


def _batch(row: Row) -> str:
    """Where the figures come from."""
    if row["batch"] == 2:
        return "Figures of a fresh batch, drawn for a candidate that then failed."
    return (
        f"Figures of the study's own batch, in which it was the closest of {row['candidates']}: on"
        " fresh numbers it may look a little worse."
    )
