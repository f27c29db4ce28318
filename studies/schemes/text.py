"""What a comparison of schemes says: the best scheme first, then a line a scheme, the differences
and what the intervals show, in sentences."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from montecarlo.estimates.verdicts import Verdict
from montecarlo.frames.doubts import doubts_of
from montecarlo.quantities.wording import listed
from studies.report.blocks import Block, Lead, Section, Table, items, paragraphs
from studies.report.catalogue import NOTES, capital
from studies.report.notes import to_know
from studies.report.numbers import (
    GAPS,
    NONE_SEEN,
    cell,
    cost_cell,
    cost_with_limits,
    gap_cell,
    percent,
    with_limits,
)
from studies.report.safety import REVIEW
from studies.report.words import SAME, scheme_name, setting_text
from studies.schemes.frames import ALL_TYPES
from studies.sweep.closest import closest_text
from studies.sweep.delay import delay_text
from studies.sweep.doubts import cautions, of_each, to_note
from studies.sweep.recommendation import kept, nobody_clears, worth
from studies.sweep.text import SHARES

if TYPE_CHECKING:
    import pandas as pd

    from montecarlo import Result
    from montecarlo.study.description import Study

Row = Mapping[str, Any]
COST = "cost_per_year"
SCALES = {COST: 1}  # of a difference; probabilities in percentage points
HEADS = {
    "p_missed": "missed, points",
    "p_false": "false, points",
    "p_nobody": "with back-up, points",
}


def scheme_text(
    result: Result,
    schemes: pd.DataFrame,
    differences: pd.DataFrame,
    caught: pd.DataFrame,
    *more: Block,
) -> list[Block]:
    """What a finished comparison says; `more`: notes of what follows the choice."""
    unit = _unit(result.study)
    settings = tuple(
        f"{scheme_name(row['scheme'])}: no. {row['candidate']}, {setting_text(row)}"
        for row in schemes[schemes["has_best"]].to_dict("records")
    )
    doubts = _doubts(result, schemes)
    review = [REVIEW] if schemes["has_best"].any() else []
    found = answer(result.study, schemes, differences, nobody_clears(result))
    return [
        Lead((*found, *_delay(result, schemes), *review)),
        *cautions(doubts),
        _table(schemes, unit),
        *items(settings),
        *gaps_table(unit, schemes, differences),
        *items(further(unit, schemes, differences, caught)),
        *paragraphs(*closest_text(result.study, result.closest)),
        Section(NOTES, [*to_note(doubts), *items(to_know(result)), *more]),
    ]


def _delay(result: Result, schemes: pd.DataFrame) -> Iterator[str]:
    """What a delay buys, where the chosen setting is the one that is named first."""
    standing = schemes[schemes["has_best"]]
    if len(standing) and _best(_unit(result.study), standing)["candidate"] == result.chosen:
        yield from delay_text(result)


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
        },
        scheme_name,
    )


# --- tables -------------------------------------------------------------------


def _table(schemes: pd.DataFrame, unit: str | None) -> Table:
    shown = {"missed %": ("p_missed", 3), "false %": ("p_false", 2)}
    if "p_nobody" in schemes:
        shown["with back-up %"] = ("p_nobody", 3)
    weighed = ["cost"] if COST in schemes else []
    rows: list[tuple[str, ...]] = []
    for row in schemes.to_dict("records"):
        name = scheme_name(row["scheme"])
        if not row["has_best"]:
            rows.append(("", "-", name, *["-"] * len([*shown, *weighed])))
            continue
        values = [cell(row, *column) for column in shown.values()]
        cost = [cost_cell(row)] if weighed else []
        role = "chosen" if row["chosen"] else ""
        rows.append((role, str(row["candidate"]), name, *values, *cost))
    head = ("", "no.", "scheme", *shown, *weighed)
    align = "<><" + ">" * (len(head) - 3)
    return Table(head, tuple(rows), align, notes=tuple(_notes(schemes, unit)), group=2)


def _notes(schemes: pd.DataFrame, unit: str | None) -> Iterator[str]:
    standing = schemes["has_best"].any()
    if standing:
        yield "each scheme at its best setting under the policy, all on the same independent sample"
        yield f"{SHARES}; (95 % limits)"
    if standing and "p_nobody" in schemes:
        yield (
            "with back-up: % of the internal faults that neither the scheme nor the neutral"
            " back-up clears"
        )
    if (schemes["p_false"] == 0).any():
        yield NONE_SEEN
    if standing and unit is not None:
        yield f"cost: {unit} a year; (95 % limits)"


def gaps_table(
    unit: str | None, schemes: pd.DataFrame, differences: pd.DataFrame
) -> Iterator[Table]:
    """The other schemes minus the best; none where fewer than two have a setting."""
    standing = schemes[schemes["has_best"]]
    if len(standing) < 2:
        return
    best = _best(unit, standing)
    heads = {name: head for name, head in HEADS.items() if name in standing}
    if unit is not None:
        heads[COST] = f"{unit} a year"
    rows: list[tuple[str, ...]] = []
    for scheme in standing["scheme"]:
        if scheme != best["scheme"]:
            own = differences[
                (differences["scheme"] == scheme) & (differences["minus"] == best["scheme"])
            ]
            found = {row["quantity"]: row for row in own.to_dict("records")}
            cells = [gap_cell(found.get(name), SCALES.get(name, 100)) for name in heads]
            rows.append((scheme_name(scheme), *cells))
    head = ("other scheme minus the best", *heads.values())
    yield Table(head, tuple(rows), "<" + ">" * len(heads), notes=GAPS, group=0)


# --- the answer ---------------------------------------------------------------


def answer(
    study: Study,
    schemes: pd.DataFrame,
    differences: pd.DataFrame,
    nobody: Mapping[int, Row] | None = None,
) -> Iterator[str]:
    """Which scheme is best by the policy's aim, and what it is worth; `nobody`: as of
    `nobody_clears`."""
    unit = _unit(study)
    standing = schemes[schemes["has_best"]]
    if not len(standing):
        yield "No scheme has a setting that the policy allows."
        return
    best, same = _best(unit, standing), list[str]()
    what = "The only scheme with a setting that the policy allows"
    if len(standing) > 1:
        same, _, _ = _apart(_against(best, differences, "p_missed" if unit is None else COST))
        what = "Fewest missed faults" if unit is None else "Lowest cost"
    if same:
        what = "Best estimate"
    yield f"{what}: {scheme_name(best['scheme'])}, no. {best['candidate']}, {setting_text(best)}."
    if unit is not None:
        yield f"It costs {cost_with_limits(best, unit)}."
    yield from worth(study, best, (nobody or {}).get(best["candidate"]))
    yield from kept(study, best)
    if same:
        noun = "missed faults" if unit is None else "cost"
        yield f"{capital(SAME)} in {noun}: {listed(same)}."


def _unit(study: Study) -> str | None:
    """Of costs, where the policy weighs these."""
    cost = study.policy.least_annual_cost
    return None if cost is None else cost.unit


def _best(unit: str | None, standing: pd.DataFrame) -> dict[str, Any]:
    aim = "p_missed" if unit is None else COST
    return dict(standing.sort_values(aim, kind="stable").iloc[0].to_dict())


def _against(best: Row, differences: pd.DataFrame, quantity: str) -> pd.DataFrame:
    """The other schemes minus the best."""
    own = differences["minus"] == best["scheme"]
    return differences[own & (differences["quantity"] == quantity)]


def _apart(against: pd.DataFrame) -> tuple[list[str], list[str], list[str]]:
    """Of the rows of one quantity, other schemes minus the best: those without a significant
    difference, those that have less of it, and those that have more."""
    same, below, above = list[str](), list[str](), list[str]()
    for row in against.to_dict("records"):
        if row["verdict"] is Verdict.ALIKE:
            some = same
        elif row["difference"] < 0:
            some = below
        else:
            some = above
        some.append(scheme_name(row["scheme"]))
    return same, below, above


# --- sentences ----------------------------------------------------------------


def further(
    unit: str | None, schemes: pd.DataFrame, differences: pd.DataFrame, caught: pd.DataFrame
) -> Iterator[str]:
    """What else the intervals show of the best scheme and the others."""
    standing = schemes[schemes["has_best"]]
    if len(standing) > 1:
        best = _best(unit, standing)
        yield from _false(_against(best, differences, "p_false"))
        yield from _complement(best, caught)
        if "p_nobody" in standing:
            yield from _with_backup(standing, differences)
    for row in schemes[~schemes["has_best"]].to_dict("records"):
        yield f"No setting of {scheme_name(row['scheme'])} can be chosen: {row['note']}."


def _false(against: pd.DataFrame) -> Iterator[str]:
    """In false trips: from which others the best differs, and which way."""
    same, fewer, more = _apart(against)
    if same:
        yield f"{capital(SAME)} in false trips: {listed(same)}."
    if fewer:
        yield f"The best scheme has more false trips than {listed(fewer)}."
    if more:
        yield f"The best scheme has fewer false trips than {listed(more)}."


def _complement(best: Row, caught: pd.DataFrame) -> Iterator[str]:
    """What the best misses and another catches most of, and the other way round."""
    every = caught[caught["type"] == ALL_TYPES]
    mine = every[every["missed_by"] == best["scheme"]].sort_values(
        ["p", "p_high"], ascending=False, kind="stable"
    )
    top = mine.iloc[0].to_dict()
    name = scheme_name(best["scheme"])
    if top["p_low"] == 0:  # then the one that misses least beside it is of interest
        yield (
            f"Missed by {name} and caught by any one other scheme: at most"
            f" {percent(float(mine['p_high'].max()))} of the internal faults."
        )
        least = (
            every[every["caught_by"] == best["scheme"]]
            .sort_values("p", kind="stable")
            .iloc[0]["missed_by"]
        )
    else:
        least = top["caught_by"]
        yield _pair(caught, top)
    back = every[(every["missed_by"] == least) & (every["caught_by"] == best["scheme"])]
    yield _pair(caught, back.iloc[0].to_dict())


def _pair(caught: pd.DataFrame, row: Row) -> str:
    """What one scheme misses and another catches, and the fault type that brings most of it."""
    head = (
        f"Missed by {scheme_name(row['missed_by'])} and caught by {scheme_name(row['caught_by'])}"
    )
    if not row["p"]:
        return f"{head}: none seen, fewer than {percent(row['p_high'])} of the internal faults."
    rows = caught[
        (caught["missed_by"] == row["missed_by"])
        & (caught["caught_by"] == row["caught_by"])
        & (caught["type"] != ALL_TYPES)
    ]
    most = rows.sort_values("per_year", ascending=False, kind="stable").iloc[0].to_dict()
    return (
        f"{head}: {with_limits(row, 'p', 3)} of the internal faults. Of the"
        f" {most['type'].replace('_', ' ')} faults alone: {with_limits(most, 'p', 3)}."
    )


def _with_backup(standing: pd.DataFrame, differences: pd.DataFrame) -> Iterator[str]:
    """What is left with the back-up, and which schemes do not differ in it."""
    ordered: Sequence[Row] = standing.sort_values("p_nobody", kind="stable").to_dict("records")
    best, worst = ordered[0], ordered[-1]
    same, _, _ = _apart(_against(best, differences, "p_nobody"))
    yield (
        "Internal faults that neither the scheme nor the neutral back-up clears:"
        f" {with_limits(best, 'p_nobody', 3)} with {scheme_name(best['scheme'])}."
        f" The most are {with_limits(worst, 'p_nobody', 3)} with {scheme_name(worst['scheme'])}."
    )
    if same:
        yield f"{capital(SAME)} from the first: {listed(same)}."
