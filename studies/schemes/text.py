"""What a comparison of schemes says on the terminal: a line a scheme, and what the intervals show,
in sentences."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from montecarlo.estimates.verdicts import Verdict
from montecarlo.frames.doubts import doubts_of
from montecarlo.quantities.wording import listed
from studies.report.blocks import Block, Lead, Section, Table, items, paragraphs
from studies.report.catalogue import NOTES
from studies.report.notes import to_know
from studies.report.numbers import (
    NONE_SEEN,
    cell,
    cost_cell,
    cost_with_limits,
    gap,
    percent,
    with_limits,
)
from studies.report.safety import REVIEW
from studies.report.words import SAME, setting_text
from studies.schemes.frames import ALL_TYPES
from studies.sweep.closest import closest_text
from studies.sweep.doubts import of_each
from studies.sweep.text import SHARES

if TYPE_CHECKING:
    import pandas as pd

    from montecarlo import Result

Row = Mapping[str, Any]


def scheme_text(
    result: Result,
    schemes: pd.DataFrame,
    differences: pd.DataFrame,
    caught: pd.DataFrame,
    *more: Block,
) -> list[Block]:
    """What a finished comparison says; `more`: notes of what follows the choice."""
    cost = result.study.policy.least_annual_cost
    unit = None if cost is None else cost.unit
    said = conclusion(unit, schemes, differences, caught)
    review = [REVIEW] if schemes["has_best"].any() else []
    paired = _paired(unit) if len(differences) else ""
    settings = tuple(
        f"no. {row['candidate']}: {setting_text(row)}"
        for row in schemes[schemes["has_best"]].to_dict("records")
    )
    return [
        Lead((*said, *review)),
        *_doubts(result, schemes),
        _table(schemes, unit),
        *items(settings),
        *paragraphs(paired, *closest_text(result.study, result.closest)),
        Section(NOTES, [*items(to_know(result)), *more]),
    ]


def _paired(unit: str | None) -> str:
    units = "in percentage points" + (f", of cost in {unit} a year" if unit else "")
    return f"Differences are paired, {units}; their 95 % limits hold for all pairs together."


def _doubts(result: Result, schemes: pd.DataFrame) -> list[Block]:
    """What speaks against the best setting of each scheme."""
    best = {
        scheme: setting for scheme, setting in result.outcome.best.items() if setting is not None
    }
    numbers = schemes.set_index("scheme")["candidate"]
    return of_each(
        {
            scheme: (int(numbers[scheme]), doubts_of(result.outcome, setting))
            for scheme, setting in best.items()
        }
    )


# --- the table ----------------------------------------------------------------


def _table(schemes: pd.DataFrame, unit: str | None) -> Table:
    shown = {"missed %": ("p_missed", 3), "false %": ("p_false", 2)}
    if "p_nobody" in schemes:
        shown["nobody %"] = ("p_nobody", 3)
    weighed = ["cost"] if "cost_per_year" in schemes else []
    rows: list[tuple[str, ...]] = []
    for row in schemes.to_dict("records"):
        if not row["has_best"]:
            rows.append(("", "-", row["scheme"], *["-"] * len([*shown, *weighed])))
            continue
        values = [cell(row, *column) for column in shown.values()]
        cost = [cost_cell(row)] if weighed else []
        role = "chosen" if row["chosen"] else ""
        rows.append((role, str(row["candidate"]), row["scheme"], *values, *cost))
    head = ("", "no.", "scheme", *shown, *weighed)
    align = "<><" + ">" * (len(head) - 3)
    return Table(head, tuple(rows), align, notes=tuple(_notes(schemes, unit)))


def _notes(schemes: pd.DataFrame, unit: str | None) -> Iterator[str]:
    standing = schemes["has_best"].any()
    if standing:
        yield (
            "each scheme at its best setting under the policy, all on the same fresh installations"
            " and events"
        )
        yield f"{SHARES}; (95 % limits)"
    if standing and "p_nobody" in schemes:
        yield "nobody: % of the internal faults within reach that the back-up does not catch either"
    if (schemes["p_false"] == 0).any():
        yield NONE_SEEN
    if standing and unit is not None:
        yield f"cost: {unit} a year; (95 % limits)"


# --- sentences ----------------------------------------------------------------


def conclusion(
    unit: str | None, schemes: pd.DataFrame, differences: pd.DataFrame, caught: pd.DataFrame
) -> list[str]:
    """Three to six sentences where at least two schemes have a setting to stand for them; `unit` of
    costs where the policy weighs these."""
    standing = schemes[schemes["has_best"]]
    sentences = [_none(row) for row in schemes[~schemes["has_best"]].to_dict("records")]
    if not len(standing):
        return ["No scheme has a setting that the policy allows.", *sentences]
    aim = "p_missed" if unit is None else "cost_per_year"
    best = standing.sort_values(aim, kind="stable").iloc[0].to_dict()
    if len(standing) < 2:
        return [
            f"Only {best['scheme']} has a setting that the policy allows; it misses"
            f" {with_limits(best, 'p_missed', 3)} of the internal faults within reach.",
            *sentences,
        ]
    against = differences[differences["minus"] == best["scheme"]]
    found = [
        _least(best, against[against["quantity"] == aim], unit),
        _false(best, against),
        *_complement(best, caught),
    ]
    if "p_nobody" in standing:
        found.append(_with_backup(standing, differences))
    return [*found, *sentences]


def _none(row: Row) -> str:
    return f"No setting of {row['scheme']} can be chosen ({row['note']})."


def _least(best: Row, against: pd.DataFrame, unit: str | None) -> str:
    """Which scheme is best by the policy's aim, and from which others that can be told."""
    verb, plural = "misses", "miss"
    what = f"{with_limits(best, 'p_missed', 3)} of the internal faults within reach"
    apart = _told_apart(against)
    if unit is not None:
        verb, plural = "costs", "cost"
        what = cost_with_limits(best, unit)
        apart = _told_apart(against, 1, f" {unit} a year")
    same, _, worse = apart
    text = f"{best['scheme']} {verb} least, {what}."
    if same:
        text = f"{best['scheme']} {verb} {what}; {SAME} from it: {listed(same)}."
    return f"{text} {listed(worse)} {verb if len(worse) == 1 else plural} more." if worse else text


def _told_apart(
    against: pd.DataFrame, scale: float = 100, unit: str = ""
) -> tuple[list[str], list[str], list[str]]:
    """Of the rows of one quantity, other schemes minus the best: those that are not distinguishable
    from it, those that are below it and those above it, with the difference; probabilities in
    percentage points."""
    same, below, above = list[str](), list[str](), list[str]()
    for row in against.to_dict("records"):
        named = f"{row['scheme']} ({', '.join(gap(row, scale, unit))})"
        if row["verdict"] is Verdict.ALIKE:
            same.append(row["scheme"])
        elif row["difference"] < 0:
            below.append(named)
        else:
            above.append(named)
    return same, below, above


def _false(best: Row, against: pd.DataFrame) -> str:
    """In false trips: from which others the best can be told, and which way."""
    same, fewer, more = _told_apart(against[against["quantity"] == "p_false"])
    parts = [f"is {SAME} from {listed(same)}"] if same else []
    parts += [f"trips more often than {listed(fewer)}"] if fewer else []
    parts += [f"trips less often than {listed(more)}"] if more else []
    return f"In false trips {best['scheme']} {'; it '.join(parts)}."


def _complement(best: Row, caught: pd.DataFrame) -> Iterator[str]:
    """What the best misses and another catches most of, and the other way round."""
    every = caught[caught["type"] == ALL_TYPES]
    mine = every[every["missed_by"] == best["scheme"]].sort_values(
        ["p", "p_high"], ascending=False, kind="stable"
    )
    top = mine.iloc[0].to_dict()
    if top["p_low"] == 0:  # then the one that it tells least from is of interest
        yield (
            f"No more than {percent(float(mine['p_high'].max()))} of the internal faults are missed"
            f" by {best['scheme']} and caught by any one of the others."
        )
        least = (
            every[every["caught_by"] == best["scheme"]]
            .sort_values("p", kind="stable")
            .iloc[0]["missed_by"]
        )
    else:
        least = top["caught_by"]
        yield (
            f"Of the internal faults {with_limits(top, 'p', 3)} are missed by {best['scheme']} and"
            f" caught by {least}, {_where(caught, top)}."
        )
    back = (
        every[(every["missed_by"] == least) & (every["caught_by"] == best["scheme"])]
        .iloc[0]
        .to_dict()
    )
    if back["p"]:
        yield (
            f"Missed by {least} and caught by {best['scheme']} are {with_limits(back, 'p', 3)},"
            f" {_where(caught, back)}."
        )
    else:
        yield (
            f"None was seen that {least} misses and {best['scheme']} catches (fewer than"
            f" {percent(back['p_high'])})."
        )


def _where(caught: pd.DataFrame, pair: Row) -> str:
    """The fault type that brings the most of a pair, a year, by its own figure."""
    rows = caught[
        (caught["missed_by"] == pair["missed_by"])
        & (caught["caught_by"] == pair["caught_by"])
        & (caught["type"] != ALL_TYPES)
    ]
    most = rows.sort_values("per_year", ascending=False, kind="stable").iloc[0].to_dict()
    return f"among them {with_limits(most, 'p', 3)} of the {most['type'].replace('_', ' ')} faults"


def _with_backup(standing: pd.DataFrame, differences: pd.DataFrame) -> str:
    """What is left with the back-up, and which schemes can still be told apart."""
    ordered: Sequence[Row] = standing.sort_values("p_nobody", kind="stable").to_dict("records")
    best, worst = ordered[0], ordered[-1]
    rows = differences[
        (differences["quantity"] == "p_nobody") & (differences["minus"] == best["scheme"])
    ]
    same = [row["scheme"] for row in rows.to_dict("records") if row["verdict"] is Verdict.ALIKE]
    text = (
        f"With the back-up in the neutral nobody catches {with_limits(best, 'p_nobody', 3)} with"
        f" {best['scheme']} and {with_limits(worst, 'p_nobody', 3)} with {worst['scheme']}"
    )
    return f"{text}; {SAME} from the first: {listed(same)}." if same else f"{text}."
