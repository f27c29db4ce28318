"""What a finished comparison of alternatives says on the terminal: a table, and what the numbers
allow to conclude."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from montecarlo.estimates.verdicts import Verdict
from montecarlo.quantities.wording import listed
from montecarlo.study.axes import KEYS
from studies.alternatives.frames import SideBySide
from studies.report.blocks import Block, Lead, Section, Table, items, paragraphs
from studies.report.catalogue import NOTES
from studies.report.notes import unresolved_sentence
from studies.report.numbers import bare, cost_cell, false_trips, gap, with_limits
from studies.report.safety import REVIEW
from studies.report.words import scheme_name, setting_text
from studies.sweep.closest import closest_of_each
from studies.sweep.doubts import of_each

if TYPE_CHECKING:
    import pandas as pd

MOST_NAMED = 4  # alternatives in one sentence; the table has all
WHAT = {"p_missed": "Missed faults", "p_false": "False trips"}
ELSEWHERE = (
    "What each run has to tell of itself (solutions, weighted samples, candidates refused on fresh"
    " numbers) stands in provenance.json."
)


def alternatives_text(compared: SideBySide) -> list[Block]:
    """The table, the conclusion, and which runs lost samples."""
    cost = compared.study.policy.least_annual_cost
    unit = "" if cost is None else f"{cost.unit} a year"
    chosen = compared.table["scheme"].astype(bool).any()
    said = conclusion(compared.table, compared.differences, unit)
    return [
        Lead((*said, *([REVIEW] if chosen else []))),
        *of_each(compared.doubts),
        _table(compared.table, unit),
        *paragraphs(*closest_of_each(compared.results)),
        Section(NOTES, items((ELSEWHERE, unresolved_sentence(compared.unresolved_rows)))),
    ]


def _table(table: pd.DataFrame, unit: str) -> Table:
    weighed = "cost_per_year" in table
    cells = tuple(
        (
            row["alternative"],
            _bare(row, "p_missed", 3),
            _bare(row, "p_false", 2),
            *([cost_cell(row)] if weighed else []),
            _setting(row),
        )
        for row in table.to_dict("records")
    )
    head = ("alternative", "missed %", "false %", *(["cost"] if weighed else []), "best setting")
    notes = (f"cost: {unit}; (95 % limits)",) if unit else ()
    return Table(head, cells, "<>>><" if weighed else "<>><", notes=notes)


def conclusion(rows: pd.DataFrame, differences: pd.DataFrame, unit: str = "") -> list[str]:
    """Three to seven sentences; none claims more than its interval. `unit`: of costs, where the
    policy weighs them."""
    stated, *others = rows.to_dict("records")
    chosen = [row for row in others if row["scheme"]]
    sentences = [_as_stated(stated)]
    if chosen and stated["scheme"]:
        sentences.append(_moves(stated, chosen))
        sentences += [
            _gaps(differences[differences["quantity"] == quantity], what)
            for quantity, what in WHAT.items()
        ]
        costs = differences[differences["quantity"] == "cost_per_year"]
        if unit and len(costs):
            sentences.append(_gaps(costs, f"Cost, {unit}", ("less", "more"), 1))
    return [
        *sentences,
        *_not_allowed(rows.to_dict("records")),
        "Each stands at its own best setting, on the same random numbers; differences are in"
        " percentage points, with 95 % limits that hold for all alternatives together.",
    ]


def _not_allowed(rows: list[dict[str, Any]]) -> list[str]:
    """Where nothing can be chosen, or the choice misses the limit on the numbers that all share;
    one sentence."""
    nothing = [row["alternative"] for row in rows[1:] if not row["scheme"]]
    lost = [row["alternative"] for row in rows if row["scheme"] and not row["allowed"]]
    parts = [f"under {_named(nothing)} no candidate can be chosen"] if nothing else []
    if lost:
        parts.append(
            f"on the random numbers that all share, the choice of {_named(lost)} misses its"
            " policy's limit"
        )
    text = "; ".join(parts)
    return [f"{text[0].upper()}{text[1:]}."] if text else []


def _as_stated(row: Mapping[str, Any]) -> str:
    if not row["scheme"]:
        return "As stated no candidate can be chosen, so that nothing is compared with it."
    return (
        f"As stated, {scheme_name(row['scheme'])} with {setting_text(row)} is best: it misses"
        f" {with_limits(row, 'p_missed', 3)} of the internal faults within reach and"
        f" {false_trips(row)}."
    )


def _moves(stated: Mapping[str, Any], others: list[dict[str, Any]]) -> str:
    """Which alternatives choose otherwise."""
    moved = [row["alternative"] for row in others if _of_setting(row) != _of_setting(stated)]
    if not moved:
        return "It chooses that too." if len(others) == 1 else "All of them choose that too."
    rest = ""
    if len(moved) < len(others):
        rest = "; the others keep it"
    elif len(others) > 1:
        rest = "; none keeps it"
    return f"The choice moves under {_named(moved)}{rest}."


def _of_setting(row: Mapping[str, Any]) -> tuple[Any, ...]:
    return (row["scheme"], *(None if math.isnan(row[name]) else row[name] for name in KEYS))


def _gaps(
    gaps: pd.DataFrame, what: str, words: tuple[str, str] = ("fewer", "more"), scale: float = 100
) -> str:
    """Who has fewer, who more, who cannot be told apart: the largest differences first."""
    rows = sorted(gaps.to_dict("records"), key=lambda row: -abs(row["difference"]))
    apart = [row for row in rows if row["verdict"] is not Verdict.ALIKE]
    same = [row["alternative"] for row in rows if row["verdict"] is Verdict.ALIKE]
    parts = []
    for word, sign in zip(words, (-1, 1), strict=True):
        if some := [row for row in apart if sign * row["difference"] > 0]:
            parts.append(f"{word} under {_with_limits(some, scale)}")
    if same:
        from_it = "" if apart else " from it"
        parts.append(f"not distinguishable{from_it} under {_named(same)}")
    return f"{what}: {'; '.join(parts)}."


def _with_limits(rows: list[dict[str, Any]], scale: float) -> str:
    texts = [f'"{row["alternative"]}" ({", ".join(gap(row, scale))})' for row in rows[:MOST_NAMED]]
    return listed([*texts, *_more(len(rows))])


def _named(names: list[str]) -> str:
    return listed([*(f'"{name}"' for name in names[:MOST_NAMED]), *_more(len(names))])


def _more(count: int) -> list[str]:
    return [f"{count - MOST_NAMED} more"] if count > MOST_NAMED else []


# --- cells --------------------------------------------------------------------


def _setting(row: Mapping[str, Any]) -> str:
    return (
        f"{scheme_name(row['scheme'])}: {setting_text(row)}"
        if row["scheme"]
        else "no candidate can be chosen"
    )


def _bare(row: Mapping[str, Any], name: str, digits: int) -> str:
    """A probability in per cent without its sign; an upper limit where none was seen."""
    if math.isnan(row[name]):
        return "-"
    if row[name] == 0:
        return f"< {bare(row[f'{name}_high'], digits)}"
    return bare(row[name], digits)
