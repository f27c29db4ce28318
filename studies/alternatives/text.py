"""What a comparison of alternatives says: the largest gain first, then a line an alternative, the
differences from the study as stated, and what the intervals show."""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from montecarlo.engine.clearing import wanted
from montecarlo.estimates.verdicts import Verdict
from montecarlo.quantities.wording import listed
from montecarlo.study.assumption_sets import AS_STATED
from montecarlo.study.axes import KEYS
from studies.alternatives.aim import COST, aim_of, counted_otherwise
from studies.alternatives.frames import SideBySide
from studies.clearing.criterion import CHOSEN_BY, DAMAGE, MISSED, NOBODY, YEARLY, decided_by
from studies.report.blocks import Block, Lead, Section, Table, items
from studies.report.catalogue import NOTES, capital
from studies.report.notes import unresolved_sentence
from studies.report.numbers import (
    GAPS,
    bare,
    cost_cell,
    cost_with_limits,
    gap_cell,
    span,
    with_limits,
)
from studies.report.safety import REVIEW
from studies.report.words import SAME, SCHEMES_COST, has, scheme_name, setting_text
from studies.sweep.closest import closest_of_each, way_out
from studies.sweep.delay import delay_text
from studies.sweep.doubts import cautions, of_each, to_note
from studies.sweep.policy import policy_words
from studies.sweep.recommendation import kept, worth
from studies.sweep.text import SHARES

if TYPE_CHECKING:
    import pandas as pd

    from montecarlo.study.description import Study

Row = Mapping[str, Any]
MOST_NAMED = 4  # alternatives in one sentence; the table has all
SCALES = {COST: 1, DAMAGE: 1, YEARLY: 1}  # of a difference; probabilities in percentage points
HEADS = {MISSED: "missed, points", "p_false": "false, points"}
AIMS = {  # what is to be small
    MISSED: "missed faults",
    COST: "the cost",
    NOBODY: "faults that nobody clears",
    DAMAGE: "the mean damage",
    YEARLY: "the total cost",
}
COUNTED = "faults that nobody clears, unwanted trips and tests"
ELSEWHERE = (
    "Notes of single runs (solutions, weighted samples, rejected candidates) stand in"
    " provenance.json."
)


def alternatives_text(compared: SideBySide) -> list[Block]:
    """The answer, both tables, and which runs lost samples."""
    study = compared.study
    rows, differences = compared.table.to_dict("records"), compared.differences
    chosen, doubts = compared.table["scheme"].astype(bool).any(), of_each(compared.doubts)
    return [
        Lead((*answer(study, rows, differences), *_last(compared, chosen))),
        *cautions(doubts),
        results_table(study, rows),
        *gaps_table(study, rows, differences),
        *items(further(study, rows, differences)),
        *closest_of_each(compared.results),
        Section(
            NOTES,
            [
                *to_note(doubts),
                *items((ELSEWHERE, unresolved_sentence(compared.unresolved_rows))),
            ],
        ),
    ]


def _last(compared: SideBySide, chosen: bool) -> Iterator[str]:
    """What would help the study as stated, what a delay buys there, and who must approve what is
    chosen."""
    stated = compared.results[AS_STATED]
    if not stated.chosen:
        yield way_out(stated)
    yield from delay_text(stated)
    if chosen:
        yield REVIEW


# --- tables -------------------------------------------------------------------


def results_table(study: Study, rows: Sequence[Row]) -> Table:
    """Each at its best setting, and what it has of what decides."""
    unit = _unit(study)
    several = len(study.scheme.kinds) > 1
    more = [*_deciding(study, unit)]
    cells = tuple(
        (
            row["alternative"],
            _bare(row, "p_missed", 3),
            _bare(row, "p_false", 2),
            *([cost_cell(row)] if unit else []),
            *(shown(row) for _, shown, _ in more),
            _setting(row, several=several),
        )
        for row in rows
    )
    cost, parts = "cost", ""
    if _has_total(study):
        cost, parts = "scheme's cost", "of faults that it misses and of false trips, "
    heads = [*([cost] if unit else []), *(head for head, _, _ in more)]
    notes = [f"each at its best setting under its policy, on the same random numbers; {SHARES}"]
    notes += [CHOSEN_BY] if wanted(study) else []
    notes += [f"{cost}: {parts}{unit}; (95 % limits)"] if unit else []
    notes += [note for *_, note in more]
    head = ("alternative", "missed %", "false %", *heads, "best setting")
    return Table(head, cells, "<>>" + ">" * len(heads) + "<", notes=tuple(notes))


def _has_total(study: Study) -> bool:
    """Whether the cost of missed faults and false trips needs a name of its own beside the total
    cost."""
    return bool(_unit(study)) and wanted(study)


def _deciding(study: Study, unit: str) -> Iterator[tuple[str, Callable[[Row], str], str]]:
    """Head, cells and note of the column that decides beside those that are always there."""
    aim = decided_by(study)
    others = counted_otherwise(study)
    end = "; -: counted otherwise, so not compared" if others else ""

    def shown(row: Row) -> str:
        if row["alternative"] in others or math.isnan(row.get(aim, math.nan)):
            return "-"
        return cost_cell(row, aim) if aim == YEARLY else span(row, aim, "-")

    if aim == NOBODY:
        note = "nobody: of the faults in scope, failures of parts included"
        yield "nobody %", lambda row: _bare(row, aim, 2), note
    if aim == DAMAGE and study.damage is not None:
        reference = f"{study.damage.reference_a:g} A"
        note = f"damage: mean of an earth fault, seconds of {reference}; (95 % limits){end}"
        yield f"damage, s of {reference}", shown, note
    if aim == YEARLY:
        note = f"total cost: of damage, {COUNTED}, {unit}; (95 % limits){end}"
        yield "total cost", shown, note


def gaps_table(study: Study, rows: Sequence[Row], differences: pd.DataFrame) -> Iterator[Table]:
    """Every alternative minus the study as stated; none where nothing is compared."""
    if not len(differences):
        return
    found = {(row["alternative"], row["quantity"]): row for row in differences.to_dict("records")}
    heads = HEADS | dict(_more_heads(study, {*differences["quantity"]}))
    cells: list[tuple[str, ...]] = []
    for row in rows[1:]:
        gaps = {name: found.get((row["alternative"], name)) for name in heads}
        shown = [gap_cell(gap, SCALES.get(name, 100)) for name, gap in gaps.items()]
        cells.append((row["alternative"], *shown))
    head = ("minus as stated", *heads.values())
    notes = list(GAPS)
    if YEARLY in heads and decided_by(study) != YEARLY:
        notes.append(f"total cost: of {COUNTED}; no cost of damage is given")
    yield Table(head, tuple(cells), "<" + ">" * len(heads), notes=tuple(notes))


def _more_heads(study: Study, present: Collection[str]) -> Iterator[tuple[str, str]]:
    """Of what not every study has."""
    if unit := _unit(study):
        yield COST, f"scheme's cost, {unit}" if _has_total(study) else unit
    if NOBODY in present:
        yield NOBODY, "nobody, points"
    if DAMAGE in present and study.damage is not None:
        yield DAMAGE, f"damage, s of {study.damage.reference_a:g} A"
    if YEARLY in present:
        yield YEARLY, f"total cost, {unit}"


# --- the answer ---------------------------------------------------------------


def answer(study: Study, rows: Sequence[Row], differences: pd.DataFrame) -> Iterator[str]:
    """What gains most, and which alternatives change the choice; no claim beyond its interval."""
    stated, *others = rows
    if not stated["scheme"]:
        yield "No setting can be chosen for the study as stated, so nothing is compared with it."
        yield f"The policy allows {policy_words(study)}."
        return
    chosen = [row for row in others if row["scheme"]]
    if chosen:
        yield _gain(study, stated, chosen, differences)
        yield _changes(stated, chosen)
    yield f"As stated: {scheme_name(stated['scheme'])}, {setting_text(stated)}."
    yield from worth(study, stated, stated)
    yield from kept(study, stated)


def _unit(study: Study) -> str:
    """Of costs, where the policy weighs them."""
    cost = study.policy.least_annual_cost
    return "" if cost is None else f"{cost.unit} a year"


def _gain(study: Study, stated: Row, chosen: Sequence[Row], differences: pd.DataFrame) -> str:
    """The largest significant fall of what is to be small."""
    aim = aim_of(study)
    what = AIMS[aim]
    own = differences[differences["quantity"] == aim]
    falls = own[(own["verdict"] != Verdict.ALIKE) & (own["difference"] < 0)]
    if not len(own) and aim not in (MISSED, COST):
        return f"No alternative can be compared by {what}, {_worth(study, stated, aim)} as stated."
    if not len(falls):
        today = _worth(study, stated, aim)
        return f"No alternative significantly reduces {what}, {today} in the study as stated."
    best = falls.loc[falls["difference"].idxmin(), "alternative"]
    row = next(row for row in chosen if row["alternative"] == best)
    return (
        f'"{best}" reduces {what} most: from {_worth(study, stated, aim)} as stated to'
        f" {_worth(study, row, aim)}."
    )


def _worth(study: Study, row: Row, aim: str) -> str:
    if aim in (COST, YEARLY):
        return cost_with_limits(row, _unit(study).removesuffix(" a year"), aim)
    if aim == DAMAGE and study.damage is not None:
        return f"{span(row, aim)} s of {study.damage.reference_a:g} A"
    return with_limits(row, aim, 3)


def _changes(stated: Row, others: Sequence[Row]) -> str:
    """Which alternatives lead to another setting."""
    moved = [row["alternative"] for row in others if _of_setting(row) != _of_setting(stated)]
    if not moved:
        return "The best setting stays the same."
    text = f"The best setting changes with {_named(moved)}"
    return f"{text} and stays the same with the others." if len(moved) < len(others) else f"{text}."


def _of_setting(row: Row) -> tuple[Any, ...]:
    return (row["scheme"], *(row[name] if has(row, name) else None for name in KEYS))


# --- sentences ----------------------------------------------------------------


def further(study: Study, rows: Sequence[Row], differences: pd.DataFrame) -> Iterator[str]:
    """Who has more, who less, and where nothing can be chosen."""
    whats = {"p_missed": ("missed faults", "Fewer", "More")}
    whats["p_false"] = ("false trips", "Fewer", "More")
    if _unit(study):
        whats[COST] = (SCHEMES_COST if _has_total(study) else "cost", "Lower", "Higher")
    whats[NOBODY] = ("faults that nobody clears", "Fewer", "More")
    whats[DAMAGE] = ("mean damage of an earth fault", "Less", "More")
    whats[YEARLY] = ("total cost", "Lower", "Higher")
    for quantity, words in whats.items():
        own = differences[differences["quantity"] == quantity]
        yield from _gaps(own, *words)
        if quantity in (NOBODY, DAMAGE, YEARLY):
            yield from _not_compared(rows, quantity, own, words[0])
    nothing = [row["alternative"] for row in rows[1:] if not row["scheme"]]
    if nothing:
        yield f"No setting can be chosen with {_named(nothing)}."
    lost = [row["alternative"] for row in rows if row["scheme"] and not row["allowed"]]
    if lost:
        yield (
            "On the random numbers that all share, the choice misses its policy's limit with"
            f" {_named(lost)}."
        )


def _gaps(gaps: pd.DataFrame, what: str, less: str, more: str) -> Iterator[str]:
    """The largest differences first."""
    rows = sorted(gaps.to_dict("records"), key=lambda row: -abs(row["difference"]))
    apart = [row for row in rows if row["verdict"] is not Verdict.ALIKE]
    for word, sign in ((less, -1), (more, 1)):
        if some := [row["alternative"] for row in apart if sign * row["difference"] > 0]:
            yield f"{word} {what}: {_named(some)}."
    if same := [row["alternative"] for row in rows if row["verdict"] is Verdict.ALIKE]:
        yield f"{capital(SAME)} in {what}: {_named(same)}."


def _not_compared(
    rows: Sequence[Row], quantity: str, own: pd.DataFrame, what: str
) -> Iterator[str]:
    """Those that have the quantity, but nothing like it in the study as stated."""
    stated, *others = rows
    compared = {*own["alternative"]}
    some = [one["alternative"] for one in others if has(one, quantity)]
    some = [name for name in some if name not in compared]
    if stated["scheme"] and some:
        yield (
            f"Not compared in {what}, as the study as stated does not count the same:"
            f" {_named(some)}."
        )


def _named(names: list[str]) -> str:
    """The first of them; the tables have all."""
    more = len(names) - MOST_NAMED
    rest = [f"{more} more"] if more > 0 else []
    return listed([*(f'"{name}"' for name in names[:MOST_NAMED]), *rest])


# --- cells --------------------------------------------------------------------


def _setting(row: Row, *, several: bool) -> str:
    """`several`: whether the schemes have to be named."""
    if not row["scheme"]:
        return "no setting can be chosen"
    scheme = f"{scheme_name(row['scheme'])}: " if several else ""
    return f"{scheme}{setting_text(row)}"


def _bare(row: Row, name: str, digits: int) -> str:
    """A probability in per cent without its sign; an upper limit where none was seen."""
    if math.isnan(row.get(name, math.nan)):
        return "-"
    if row[name] == 0:
        return f"< {bare(row[f'{name}_high'], digits)}"
    return bare(row[name], digits)
