"""How firm the choice is, in words: against the runner-up and the setting in service, against what
lies a step away, and which rule kept the next better candidate out."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from montecarlo.engine.tails import RARE, WIDER
from montecarlo.estimates.verdicts import Verdict
from montecarlo.frames.choosing import ASKED
from montecarlo.quantities.wording import listed
from montecarlo.study.description import Study
from studies.report.numbers import amount, cost_with_limits, gap, percent, with_limits
from studies.report.refusals import because
from studies.report.words import SAME, scheme_name, setting_text

if TYPE_CHECKING:
    import pandas as pd

    from montecarlo import Result

RUNNER_UP = "chosen minus runner-up"  # a pair of the comparison
WHAT = {"p_missed": "missed faults", "p_false": "false trips", "cost_per_year": "cost"}


def against_others(result: Result) -> str:
    """The paired differences of `comparison`, in percentage points."""
    pairs = result.comparison.groupby(["pair", "candidate", "minus"], sort=False)
    texts = [_pair(result, pair, one, other, gaps) for (pair, one, other), gaps in pairs]
    if not texts:
        return ""
    units = "in percentage points"
    if (cost := result.study.policy.least_annual_cost) is not None:
        units += f", of cost in {cost.unit} a year"
    together = ", which hold for all pairs together" if len(texts) > 1 else ""
    return f"{' '.join(texts)} Differences are paired, {units} (95 % limits{together})."


def _pair(result: Result, pair: str, one: int, other: int, gaps: pd.DataFrame) -> str:
    text = ", ".join(_gap(row, result.study) for row in gaps.to_dict("records"))
    if pair == ASKED:
        batch = "the fresh batch" if (gaps["batch"] == 2).all() else "the study's own batch"
        return f"No. {one} minus no. {other}: {text} (on {batch})."
    if pair != RUNNER_UP:
        return f"{pair[0].upper()}{pair[1:]}: {text}."
    row = result.row(other)
    every = (gaps["verdict"] == Verdict.ALIKE).all()
    told = "the two are not distinguishable at 95 %, " if every else ""
    return (
        f"The runner-up is no. {other}, {scheme_name(row['scheme'])}: {setting_text(row)};"
        f" {told}{pair}: {text}."
    )


def _gap(row: Mapping[str, Any], study: Study) -> str:
    """A difference with its limits; that it shows nothing is said."""
    cost = study.policy.least_annual_cost
    if row["quantity"] == "cost_per_year" and cost is not None:
        change, limits = gap(row, 1, f" {cost.unit} a year")
    else:
        change, limits = gap(row)
    same = f", {SAME}" if row["verdict"] is Verdict.ALIKE else ""
    return f"{WHAT[row['quantity']]} {change} ({limits}{same})"


def around(neighbours: pd.DataFrame) -> str:
    """Which candidates one step away are no different from the chosen one, as far as the samples
    show; all are told together with 95 %."""
    if not len(neighbours):
        return ""
    same = neighbours[neighbours["verdict"] == Verdict.ALIKE]
    found = [
        f"in {what} no. {listed(map(str, numbers))}"
        for quantity, what in WHAT.items()
        if (numbers := list(same.loc[same["quantity"] == quantity, "candidate"]))
    ]
    level = "at 95 % for all steps together"
    if not found:
        return f"One step of a grid away every candidate is distinguishable from it {level}."
    return f"One step of a grid away and not distinguishable from it {level}: {'; '.join(found)}."


def hinge_text(result: Result) -> str:
    """The rule that decided."""
    hinge, cost = result.hinge, result.study.policy.least_annual_cost
    better = "misses less" if cost is None else "costs less"
    if hinge is None:
        return f"No candidate {better}, so no rule of the policy decides the choice."
    aim = percent(hinge.aim, 3)
    if cost is not None:
        ends = ("cost_per_year", "cost_per_year_low", "cost_per_year_high")
        limits = zip(ends, (hinge.aim, hinge.low, hinge.high), strict=True)
        aim = cost_with_limits(dict(limits), cost.unit)
    batch = "fresh batch" if hinge.batch == 2 else "study's own batch"
    row = result.row(hinge.candidate)
    return (
        f"What the choice hinges on: no. {hinge.candidate} ({scheme_name(row['scheme'])}:"
        f" {setting_text(row)}) is the next that {better}, {aim}; it is refused because"
        f" {because(hinge)} ({batch})."
    )


def no_false_trip(result: Result) -> str:
    """How likely the chosen setting and the one in service stay without a false trip for the
    policy's years."""
    rows = result.candidates[result.candidates["existing"] & ~result.candidates["chosen"]]
    texts = [f"with the existing one {_likely(row)}" for row in rows.to_dict("records")]
    if result.chosen is not None:
        texts = [f"with the chosen setting {_likely(result.row(result.chosen))}", *texts]
    return (
        f"No false trip in {result.study.policy.years:g} years, at a constant rate:"
        f" {', '.join(texts)}."
    )


def _likely(row: Mapping[str, Any]) -> str:
    if math.isnan(row["p_no_false_trip"]):
        return "unresolved"
    if row["p_false"] == 0:
        return f"probability at least {percent(row['p_no_false_trip_low'], 3)} (none seen)"
    return f"probability {with_limits(row, 'p_no_false_trip', 3)}"


def cost_text(result: Result, row: Mapping[str, Any]) -> str:
    """What missed faults and false trips of the chosen setting cost a year."""
    cost = result.study.policy.least_annual_cost
    assert cost is not None
    return (
        f"Missed faults and false trips cost {cost_with_limits(row, cost.unit)}, at"
        f" {amount(cost.missed_fault)} {cost.unit} a missed fault and {amount(cost.false_trip)}"
        f" {cost.unit} a false trip; no candidate that may be chosen costs less in the study's own"
        " batch"
    )


def worst_case(result: Result) -> str:
    """What the chosen setting is in each assumption set, and which one decides."""
    rows = result.assumption_sets
    if not len(rows):
        return ""
    mine = rows[rows["candidate"] == result.chosen].to_dict("records")
    quantity = "p_missed" if result.study.policy.least_annual_cost is None else "cost_per_year"
    each = "; ".join(map(_in_assumption_set, mine))
    decides = next(row["assumption_set"] for row in mine if row["worst"])
    return (
        f"The policy judges by the worst of {len(mine)} assumption sets, on the same random"
        f' numbers: {each}. By {WHAT[quantity]} "{decides}" is its worst and decides. The figures'
        " above are of the study as stated."
    )


def _in_assumption_set(row: Mapping[str, Any]) -> str:
    trips = f"trips falsely on {percent(row['p_false'])}"
    if row["p_false"] == 0:
        trips = f"false trips fewer than {percent(row['p_false_high'])}"
    return f'"{row["assumption_set"]}" misses {percent(row["p_missed"], 3)}, {trips}'


def moved(result: Result) -> str:
    """How far the choice moves: what each assumption set would choose by itself."""
    rows = result.assumption_set_choices.to_dict("records")
    if not rows or result.chosen is None:
        return ""
    numbers = set(result.candidates["candidate"])
    groups: dict[int | None, list[Mapping[str, Any]]] = {}
    for row in rows:
        number = int(row["candidate"]) if row["candidate"] in numbers else None
        groups.setdefault(number, []).append(row)
    parts = [_would_choose(result, number, mine) for number, mine in groups.items()]
    return f"Each assumption set by itself (study's own batch): {'; '.join(parts)}."


def _would_choose(result: Result, number: int | None, rows: list[Mapping[str, Any]]) -> str:
    """What assumption sets choose that choose alike."""
    names = listed(f'"{row["assumption_set"]}"' for row in rows)
    if number is None:
        return f"{names} would choose nothing"
    if number == result.chosen:
        return f"{names} would choose the same setting"
    of = result.row(number)
    worse = listed(_regret(row, result.study) for row in rows)
    order = " in this order" if len(rows) > 1 else ""
    return (
        f"{names} would choose no. {number} ({scheme_name(of['scheme'])}: {setting_text(of)}),"
        f" against which the chosen one has {worse}{order}"
    )


def _regret(row: Mapping[str, Any], study: Study) -> str:
    return _gap(
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


def tails_text(result: Result) -> str:
    """What rare false trips of the chosen setting come to with wider inputs; empty where they are
    not so rare or these samples cannot tell."""
    frame = result.rare
    if not len(frame):
        return ""
    rows = frame[
        (frame["candidate"] == result.chosen)
        & frame["p_widened"].notna()
        & frame["widened_note"].isna()
    ]
    if not len(rows):
        return ""
    found = listed(
        f"{_share(row, 'p_widened')} of the {row['event']} events instead of"
        f" {_share(row, 'p_weighted')}"
        for row in rows.to_dict("records")
    )
    return (
        f"Below {percent(RARE)} the tails that the study assumes decide more than the samples do."
        f" With every uncertain input spread {100 * (WIDER - 1):.0f} % wider (within what is"
        f" possible; lists of values as they are) it would trip falsely on {found}."
    )


def _share(row: Mapping[str, Any], name: str) -> str:
    return with_limits(row, name) if row[name] > 0 else f"fewer than {percent(row[f'{name}_high'])}"
