"""What a delay buys: the best setting without one beside a chosen one that has one, or that a delay
would buy nothing."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any

from montecarlo.engine.clearing import wanted
from montecarlo.estimates.verdicts import Verdict
from montecarlo.frames.batches import number_of
from montecarlo.frames.choosing import difference_rows
from studies.report.numbers import gap, in_both
from studies.report.words import SCHEMES_COST, full_setting, scheme_name

if TYPE_CHECKING:
    from montecarlo import Result

Row = Mapping[str, Any]
PAIR = "across the delay"


def delay_text(result: Result) -> Iterator[str]:
    """Of the recommendation; nothing where all candidates have one delay."""
    if result.chosen is None:
        return
    every = result.candidates["delay_s"]
    if every.nunique() < 2:
        return
    least, own = float(every.min()), result.row(result.chosen)["delay_s"]
    if own > least:
        yield from _bought(result, f"{own:g} s", _with(least))
    else:
        yield from _not_taken(result)


def _with(least: float) -> str:
    """What a setting with the least delay is called."""
    return "without delay" if least == 0 else f"with the least delay, {least:g} s"


def _bought(result: Result, own: str, without: str) -> Iterator[str]:
    """Beside a chosen setting with a delay."""
    setting = "judged setting" if result.study.candidates.found else "setting"  # of a search
    if (number := _other(result)) is None:
        yield f"No {setting} {without} may be chosen."
        return
    row = result.row(number)
    yield (
        f"Best {setting} {without}: no. {number}, {scheme_name(row['scheme'])}:"
        f" {full_setting(row)}."
    )
    yield in_both(row)
    if row["refusals"]:
        yield "It did not keep to the policy on the independent sample."
    found = _difference(result)
    if found["verdict"] is Verdict.ALIKE:
        yield f"The delay of {own} buys no significant difference in {_what(result, found)}."
    elif found["difference"] < 0:
        yield (
            f"The delay of {own} buys nothing: the other setting has {_amount(result, found)} less"
            f" {_what(result, found)}."
        )
    else:
        yield f"The delay of {own} buys {_amount(result, found)} of {_what(result, found)}."


def _not_taken(result: Result) -> Iterator[str]:
    """Beside a chosen setting with the least delay."""
    if (number := _other(result)) is None:
        yield "A longer delay would buy nothing: no setting with one may be chosen."
        return
    found = _difference(result)
    best = f"the best setting with one, no. {number},"
    if found["verdict"] is Verdict.ALIKE:
        yield f"A longer delay would buy nothing: {best} does not differ in {_what(result, found)}."
    elif found["difference"] > 0:
        yield (
            f"A longer delay would buy nothing: {best} has {_amount(result, found)} more"
            f" {_what(result, found)}."
        )
    else:
        yield (
            f"A longer delay would buy {_amount(result, found)} of {_what(result, found)}, by no."
            f" {number}."
        )


def _other(result: Result) -> int | None:
    """Its number."""
    return number_of(result.outcome, result.outcome.across_delay)


def _difference(result: Result) -> dict[str, Any]:
    """The other setting minus the chosen one, in what the policy wants small."""
    outcome = result.outcome
    assert outcome.across_delay is not None
    assert outcome.chosen is not None
    frame = difference_rows(outcome, [(PAIR, outcome.across_delay, outcome.chosen)])
    costs = result.study.policy.least_annual_cost is not None
    aim = "cost_per_year" if costs else "p_missed"
    return dict(frame[frame["quantity"] == aim].iloc[0].to_dict())


def _what(result: Result, found: Row) -> str:
    """Beside a total cost that of missed faults and false trips has a name of its own."""
    if found["quantity"] == "p_missed":
        return "missed faults"
    return SCHEMES_COST if wanted(result.study) else "cost"


def _amount(result: Result, found: Row) -> str:
    """How much, with its limits; without a sign."""
    turned = found
    if found["difference"] < 0:
        turned = {
            **found,
            "difference": -found["difference"],
            "low": -found["high"],
            "high": -found["low"],
        }
    cost = result.study.policy.least_annual_cost
    if cost is None:
        size, limits = gap(turned, unit=" points")
    else:
        size, limits = gap(turned, 1, f" {cost.unit} a year")
    return f"{size.removeprefix('+')} ({limits.replace('+', '')})"
