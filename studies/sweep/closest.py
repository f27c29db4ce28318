"""Where nothing can be chosen: what comes closest to the policy, and what would be needed."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any

from montecarlo.engine.run import TRIES_MAX
from montecarlo.frames.choosing import by_worst, nearest
from montecarlo.quantities.wording import listed
from montecarlo.study.budget import rounded_up
from montecarlo.study.description import Study
from studies.report.blocks import Table
from studies.report.numbers import (
    bare,
    cost_with_limits,
    false_trips,
    in_both,
    missed_faults,
    percent,
)
from studies.report.refusals import note_text
from studies.report.words import scheme_name, setting_text
from studies.sweep.policy import is_limited, limit_of

if TYPE_CHECKING:
    import pandas as pd

    from montecarlo import Result

Row = Mapping[str, Any]
CLOSEST = ("where none is chosen", "missed %", "false %, bound", "closest setting")
CLOSEST_NOTES = (
    "bound: the one-sided limit that the policy is compared with",
    "limits and reasons: closest.csv",
)


def closest_text(study: Study, closest: pd.DataFrame) -> Iterator[str]:
    """A paragraph a row of `closest_rows`."""
    for row in closest.to_dict("records"):
        head = scheme_name(row["scheme"])
        if math.isnan(row["p_missed"]):
            yield f"Closest of {head}: nothing; {note_text(row['refusals'])}."
            continue
        parts = (_worth(row), _cost(study, row), _meets(study, row), _meets_each(study, row))
        more = " ".join(filter(None, (*parts, _batch(row))))
        yield f"Closest of {head}: no. {row['candidate']}, {setting_text(row)}. {more}"


def closest_of_each(results: Mapping[str, Result]) -> Iterator[Table]:
    """The same of several studies: a row each under its name, the reason of those without one."""
    rows = [
        _closest_cells(name, row)
        for name, result in results.items()
        for row in result.closest.to_dict("records")
    ]
    if rows:
        yield Table(CLOSEST, tuple(rows), "<>><", "Closest to the policy", CLOSEST_NOTES, group=0)


def _closest_cells(name: str, row: Row) -> tuple[str, ...]:
    if math.isnan(row["p_missed"]):
        return name, "-", "-", f"{scheme_name(row['scheme'])}: {note_text(row['refusals'])}"
    setting = f"no. {row['candidate']}, {scheme_name(row['scheme'])}, {setting_text(row)}"
    return name, bare(row["p_missed"], 3), bare(row["p_false_bound"]), setting


def _worth(row: Row) -> str:
    if "worst_assumption_set" not in row:
        return in_both(row)
    false = false_trips(row)
    if row["p_false"] > 0:  # there the limits of the study as stated do not hold
        false = f"it trips falsely on {percent(row['p_false'])} of the external events"
    worst = f'in its worst assumption set "{row["worst_assumption_set"]}"'
    return f"It {missed_faults(row)}; {false}, {worst}."


def _cost(study: Study, row: Row) -> str:
    cost = study.policy.least_annual_cost
    return "" if cost is None else f"That costs {cost_with_limits(row, cost.unit)}."


def _meets(study: Study, row: Row) -> str:
    """The policy's limit beside the one that the candidate would meet."""
    policy = study.policy
    if policy.least_annual_cost is not None:
        return ""
    key = "p_false_max" if policy.false_per_year_max is None else "false_per_year_max"
    return (
        f"It would meet {key} = {row['would_meet']:g} with {100 * policy.level:g} % confidence; the"
        f" policy's limit is {row['limit']:g}."
    )


def _meets_each(study: Study, row: Row) -> str:
    if study.policy.p_false_max_each is None:
        return ""
    return (
        f"In each kind of event it would meet p_false_max_each = {row['would_meet_each']:g}; the"
        f" policy's limit is {row['each_limit']:g}. The kind that decides is {row['worst_event']}."
    )


def _batch(row: Row) -> str:
    """Where the figures come from."""
    if row["batch"] == 2:
        return "The figures are of an independent sample, on which it then failed."
    return (
        f"It was the closest of {row['candidates']} in the selection sample, which makes it look"
        " better than it is."
    )


# --- what would be needed -----------------------------------------------------


def way_out(result: Result) -> str:
    """What would help."""
    if (number := nearest(result.candidates)) is None:
        return (
            "Against elements that operate on load: coarser pick-ups, steeper slopes of a bias, or"
            " more equal CTs. Against the knee rule: a smaller stabilising resistance or a higher"
            " knee."
        )
    if not is_limited(result.study):
        return (
            "Those that cost least operate on load in independent samples: leave out the finest"
            " pick-ups, or take more samples."
        )
    row = by_worst(result.candidates).set_index("candidate").loc[number].to_dict()
    needed = _needed(result.study, row, limit_of(result.study)[0])
    return f"Of all candidates no. {number} comes closest. {needed}"


def _needed(study: Study, row: Row, limit: float) -> str:
    """What would help the candidate that comes closest of all."""
    than = f"{listed(_ways(row), 'or')} than the grids offer, better CTs, or a wider limit"
    if row["p_false"] >= limit:
        return f"Needed: {than}."
    if row["limit_used"] <= 1:
        return (
            f"It keeps to the policy in the selection sample. So did {TRIES_MAX} others, which then"
            " failed on independent samples. Needed: more samples."
        )
    if row["p_false_bound"] <= limit:
        return (
            f"In all events together it keeps to the limit; in {row['worst_event']} it does not."
            f" Look for a wrong CT or sign in the scheme first. Else needed: {than}."
        )
    samples = rounded_up(study.study.samples * row["p_false_bound"] / limit)
    if row["p_false"] == 0:
        return (
            f"No false trip of it was seen in {study.study.samples:,} samples of each event. They"
            f" show no limit below {percent(row['p_false_bound'])}. Needed: about {samples:,}"
            " without a false trip."
        )
    return f"Needed: about {samples:,} samples, if it trips no more often than seen so far."


def _ways(row: Row) -> list[str]:
    """To fewer false trips, by what its scheme has."""
    ways = ["coarser pick-ups", "a longer delay"]
    if not math.isnan(row["first_slope"]):
        ways.append("a steeper slope")
    if not math.isnan(row["stabilising_resistance_ohm"]):
        ways.append("a larger stabilising resistance")
    return ways
