"""How firm the choice is, in words: years without a false trip, assumption sets, wider inputs."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any

from montecarlo.engine.tails import RARE, WIDER
from montecarlo.quantities.wording import listed
from montecarlo.study.description import Study
from studies.report.numbers import percent, with_limits
from studies.report.words import scheme_name, setting_text
from studies.sweep.not_selected import WHAT, difference

if TYPE_CHECKING:
    from montecarlo import Result

Row = Mapping[str, Any]


def no_false_trip(result: Result) -> str:
    """How likely the chosen setting and the existing one stay without a false trip for the
    policy's years."""
    rows = result.candidates[result.candidates["existing"] & ~result.candidates["chosen"]]
    texts = [f"existing {_likely(row)}" for row in rows.to_dict("records")]
    if result.chosen is not None:
        texts = [f"chosen {_likely(result.row(result.chosen))}", *texts]
    return (
        f"Probability of no false trip in {result.study.policy.years:g} years, at a constant rate:"
        f" {', '.join(texts)}."
    )


def _likely(row: Row) -> str:
    if math.isnan(row["p_no_false_trip"]):
        return "unresolved"
    if row["p_false"] == 0:
        return f"at least {percent(row['p_no_false_trip_low'], 3)} (none seen)"
    return with_limits(row, "p_no_false_trip")


# --- assumption sets ----------------------------------------------------------


def worst_case(result: Result) -> Iterator[str]:
    """What the chosen setting is in each assumption set, and which one decides."""
    rows = result.assumption_sets
    if not len(rows):
        return
    mine = rows[rows["candidate"] == result.chosen].to_dict("records")
    quantity = "p_missed" if result.study.policy.least_annual_cost is None else "cost_per_year"
    decides = next(row["assumption_set"] for row in mine if row["worst"])
    yield (
        f"The policy judges by the worst of {len(mine)} assumption sets. By {WHAT[quantity]}"
        f' "{decides}" decides. The recommendation gives the figures of the study as stated.'
    )
    yield f"Each assumption set, on the same random numbers: {'; '.join(map(_in_set, mine))}."


def _in_set(row: Row) -> str:
    trips = f"false trips {percent(row['p_false'])}"
    if row["p_false"] == 0:
        trips = f"false trips none seen, fewer than {percent(row['p_false_high'])}"
    return f'"{row["assumption_set"]}" missed faults {percent(row["p_missed"], 3)}, {trips}'


def moved(result: Result) -> Iterator[str]:
    """How far the choice moves: what each assumption set would choose by itself."""
    rows = result.assumption_set_choices.to_dict("records")
    if not rows or result.chosen is None:
        return
    numbers = set(result.candidates["candidate"])
    groups: dict[int | None, list[Row]] = {}
    for row in rows:
        number = int(row["candidate"]) if row["candidate"] in numbers else None
        groups.setdefault(number, []).append(row)
    for number, mine in groups.items():
        yield _would_choose(result, number, mine)


def _would_choose(result: Result, number: int | None, rows: list[Row]) -> str:
    """What assumption sets choose that choose alike."""
    names = listed(f'"{row["assumption_set"]}"' for row in rows)
    head = f"By {names} alone, in the selection sample,"
    if number is None:
        return f"{head} no setting meets the policy."
    if number == result.chosen:
        return f"{head} the same setting is chosen."
    of = result.row(number)
    worse = listed(_regret(row, result.study) for row in rows)
    order = " in this order" if len(rows) > 1 else ""
    return (
        f"{head} no. {number} is chosen: {scheme_name(of['scheme'])}, {setting_text(of)}."
        f" The chosen setting minus that one: {worse}{order}."
    )


def _regret(row: Row, study: Study) -> str:
    return difference(
        {
            "quantity": row["quantity"],
            "difference": row["regret"],
            "low": row["regret_low"],
            "high": row["regret_high"],
            "verdict": row["verdict"],
        },
        study,
    )


# --- rare false trips ---------------------------------------------------------


def tails_text(result: Result) -> Iterator[str]:
    """What rare false trips of the chosen setting come to with wider inputs; nothing where they
    are not so rare or these samples cannot tell."""
    frame = result.rare
    if not len(frame):
        return
    rows = frame[
        (frame["candidate"] == result.chosen)
        & frame["p_widened"].notna()
        & frame["widened_note"].isna()
    ]
    if not len(rows):
        return
    yield (
        f"Below {percent(RARE)} the tails of the assumed distributions decide more than the samples"
        " do."
    )
    for row in rows.to_dict("records"):
        yield (
            f"With every uncertain input {100 * (WIDER - 1):.0f} % wider it would trip falsely on"
            f" {_share(row, 'p_widened')} of the {row['event']} events, instead of"
            f" {_share(row, 'p_weighted')}."
        )


def _share(row: Row, name: str) -> str:
    return with_limits(row, name) if row[name] > 0 else f"fewer than {percent(row[f'{name}_high'])}"
