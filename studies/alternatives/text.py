"""What a comparison of alternatives says: the largest gain first, then a line an alternative, the
differences from the study as stated, and what the intervals show."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from montecarlo.estimates.verdicts import Verdict
from montecarlo.quantities.wording import listed
from montecarlo.study.assumption_sets import AS_STATED
from montecarlo.study.axes import KEYS
from studies.alternatives.frames import SideBySide
from studies.report.blocks import Block, Lead, Section, Table, items
from studies.report.catalogue import NOTES, capital
from studies.report.notes import unresolved_sentence
from studies.report.numbers import (
    GAPS,
    bare,
    cost_cell,
    cost_with_limits,
    gap_cell,
    with_limits,
)
from studies.report.safety import REVIEW
from studies.report.words import SAME, has, scheme_name, setting_text
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
COST = "cost_per_year"
SCALES = {COST: 1, "damage_mean_s": 1}  # of a difference; probabilities in percentage points
HEADS = {"p_missed": "missed, points", "p_false": "false, points"}
OF_CLEARING = {"p_nobody": "nobody, points", "damage_mean_s": "damage, s"}
ELSEWHERE = (
    "Notes of single runs (solutions, weighted samples, rejected candidates) stand in"
    " provenance.json."
)


def alternatives_text(compared: SideBySide) -> list[Block]:
    """The answer, both tables, and which runs lost samples."""
    unit = _unit(compared.study)
    rows, differences = compared.table.to_dict("records"), compared.differences
    chosen, doubts = compared.table["scheme"].astype(bool).any(), of_each(compared.doubts)
    return [
        Lead((*answer(compared.study, rows, differences), *_last(compared, chosen))),
        *cautions(doubts),
        _table(compared.study, rows, unit),
        *gaps_table(rows, differences, unit),
        *items(further(rows, differences, unit)),
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


def _table(study: Study, rows: Sequence[Row], unit: str) -> Table:
    several = len(study.scheme.kinds) > 1
    cells = tuple(
        (
            row["alternative"],
            _bare(row, "p_missed", 3),
            _bare(row, "p_false", 2),
            *([cost_cell(row)] if unit else []),
            _setting(row, several=several),
        )
        for row in rows
    )
    head = ("alternative", "missed %", "false %", *(["cost"] if unit else []), "best setting")
    notes = [f"each at its best setting under its policy, on the same random numbers; {SHARES}"]
    notes += [f"cost: {unit}; (95 % limits)"] if unit else []
    return Table(head, cells, "<>>><" if unit else "<>><", notes=tuple(notes))


def gaps_table(rows: Sequence[Row], differences: pd.DataFrame, unit: str) -> Iterator[Table]:
    """Every alternative minus the study as stated; none where nothing is compared."""
    if not len(differences):
        return
    found = {(row["alternative"], row["quantity"]): row for row in differences.to_dict("records")}
    heads = HEADS | ({COST: unit} if unit else {})
    present = {*differences["quantity"]}
    heads |= {name: head for name, head in OF_CLEARING.items() if name in present}
    cells: list[tuple[str, ...]] = []
    for row in rows[1:]:
        gaps = {name: found.get((row["alternative"], name)) for name in heads}
        shown = [gap_cell(gap, SCALES.get(name, 100)) for name, gap in gaps.items()]
        cells.append((row["alternative"], *shown))
    head = ("minus as stated", *heads.values())
    yield Table(head, tuple(cells), "<" + ">" * len(heads), notes=GAPS)


# --- the answer ---------------------------------------------------------------


def answer(study: Study, rows: Sequence[Row], differences: pd.DataFrame) -> Iterator[str]:
    """What gains most, and which alternatives change the choice; no claim beyond its interval."""
    unit = _unit(study)
    stated, *others = rows
    if not stated["scheme"]:
        yield "No setting can be chosen for the study as stated, so nothing is compared with it."
        yield f"The policy allows {policy_words(study)}."
        return
    chosen = [row for row in others if row["scheme"]]
    if chosen:
        yield _gain(stated, chosen, differences, unit)
        yield _changes(stated, chosen)
    yield f"As stated: {scheme_name(stated['scheme'])}, {setting_text(stated)}."
    yield from worth(study, stated)
    yield from kept(study, stated)


def _unit(study: Study) -> str:
    """Of costs, where the policy weighs them."""
    cost = study.policy.least_annual_cost
    return "" if cost is None else f"{cost.unit} a year"


def _gain(stated: Row, chosen: Sequence[Row], differences: pd.DataFrame, unit: str) -> str:
    """The largest significant fall of what the policy makes small."""
    aim, what = (COST, "the cost") if unit else ("p_missed", "missed faults")
    own = differences[differences["quantity"] == aim]
    falls = own[(own["verdict"] != Verdict.ALIKE) & (own["difference"] < 0)]
    if not len(falls):
        return (
            f"No alternative significantly reduces {what}, {_worth(stated, unit)} in the study as"
            " stated."
        )
    best = falls.loc[falls["difference"].idxmin(), "alternative"]
    row = next(row for row in chosen if row["alternative"] == best)
    return (
        f'"{best}" reduces {what} most: from {_worth(stated, unit)} as stated to'
        f" {_worth(row, unit)}."
    )


def _worth(row: Row, unit: str) -> str:
    if unit:
        return cost_with_limits(row, unit.removesuffix(" a year"))
    return with_limits(row, "p_missed", 3)


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


def further(rows: Sequence[Row], differences: pd.DataFrame, unit: str = "") -> Iterator[str]:
    """Who has more, who less, and where nothing can be chosen."""
    whats = {"p_missed": ("missed faults", "Fewer", "More")}
    whats["p_false"] = ("false trips", "Fewer", "More")
    if unit:
        whats[COST] = ("cost", "Lower", "Higher")
    whats["p_nobody"] = ("faults that nobody clears", "Fewer", "More")
    whats["damage_mean_s"] = ("mean damage of an earth fault", "Less", "More")
    for quantity, words in whats.items():
        yield from _gaps(differences[differences["quantity"] == quantity], *words)
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
    if math.isnan(row[name]):
        return "-"
    if row[name] == 0:
        return f"< {bare(row[f'{name}_high'], digits)}"
    return bare(row[name], digits)
