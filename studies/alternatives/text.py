"""What a finished comparison of variants says on the terminal: a table, and what the numbers allow
to conclude."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any

from montecarlo.estimates.verdicts import Verdict
from montecarlo.quantities.wording import listed
from montecarlo.study.axes import KEYS
from studies.alternatives.frames import SideBySide
from studies.report.look import percent, with_limits
from studies.report.money import amount, cost_cell
from studies.report.notes import unresolved_sentence
from studies.report.text import paragraph, table
from studies.report.words import scheme_name, setting_text
from studies.sweep.closest import closest_of_each
from studies.sweep.doubts import of_each

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["conclusion", "variants_text"]

MOST_NAMED = 4  # variants in one sentence; the table has all
WHAT = {"p_missed": "missed faults", "p_false": "false trips"}


def variants_text(compared: SideBySide) -> list[str]:
    """The table, the conclusion, and which runs lost samples."""
    rows = compared.table.to_dict("records")
    weighed, cost = "cost_per_year" in compared.table, compared.study.policy.least_annual_cost
    cells = [
        [
            row["variant"],
            _bare(row, "p_missed", 3),
            _bare(row, "p_false", 2),
            *([cost_cell(row)] if weighed else []),
            _setting(row),
        ]
        for row in rows
    ]
    head = ["variant", "missed %", "false %", *(["cost"] if weighed else []), "best setting"]
    lines = table(head, cells, "<>>><" if weighed else "<>><", "")
    if cost is not None:
        lines += paragraph(f"cost: {cost.unit} a year; (95 % limits)", "  ")
    unit = "" if cost is None else f"{cost.unit} a year"
    lines += ["", *paragraph(" ".join(conclusion(compared.table, compared.differences, unit))), ""]
    for text in (*closest_of_each(compared.results), *of_each(compared.doubts)):
        lines += paragraph(text)
    lines += paragraph(
        "What each run has to tell of itself (solutions, weighted samples, candidates refused on"
        " fresh numbers) stands in provenance.json.",
        "- ",
        "  ",
    )
    return lines + paragraph(unresolved_sentence(compared.unresolved_rows), "- ", "  ")


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
        sentences += (
            [_gaps(costs, f"cost, {unit}", ("less", "more"), 1)] if unit and len(costs) else []
        )
    return [
        *sentences,
        *_not_allowed(rows.to_dict("records")),
        (
            "Each stands at its own best setting, on the same random numbers; differences are in"
            " percentage points, with 95 % limits that hold for all variants together."
        ),
    ]


def _not_allowed(rows: list[dict[str, Any]]) -> list[str]:
    """Where nothing can be chosen, or the choice misses the limit on the numbers that all share;
    one sentence."""
    nothing = [row["variant"] for row in rows[1:] if not row["scheme"]]
    lost = [row["variant"] for row in rows if row["scheme"] and not row["allowed"]]
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
    false = (
        f"no false trip was seen, fewer than {percent(row['p_false_high'])} of the external events"
        if row["p_false"] == 0
        else f"trips falsely on {with_limits(row, 'p_false')} of the external events"
    )
    return (
        f"As stated, {scheme_name(row['scheme'])} with {setting_text(row)} is best: it misses "
        f"{with_limits(row, 'p_missed', 3)} of the internal faults within reach and {false}."
    )


def _moves(stated: Mapping[str, Any], others: list[dict[str, Any]]) -> str:
    """Which variants choose otherwise."""
    moved = [row["variant"] for row in others if _of_setting(row) != _of_setting(stated)]
    if not moved:
        return (
            f"{'It' if len(others) == 1 else 'All'}"
            f" {'chooses' if len(others) == 1 else 'of them choose'} that too."
        )
    rest = (
        " the others keep it."
        if len(moved) < len(others)
        else " none keeps it."
        if len(others) > 1
        else ""
    )
    return f"The choice moves under {_named(moved)}{';' + rest if rest else '.'}"


def _of_setting(row: Mapping[str, Any]) -> tuple[Any, ...]:
    return (row["scheme"], *(None if math.isnan(row[name]) else row[name] for name in KEYS))


def _gaps(
    gaps: pd.DataFrame, what: str, words: tuple[str, str] = ("fewer", "more"), scale: float = 100
) -> str:
    """Who has fewer, who more, who cannot be told apart: the largest differences first."""
    rows = sorted(gaps.to_dict("records"), key=lambda row: -abs(row["difference"]))
    told = [row for row in rows if row["verdict"] is not Verdict.ALIKE]
    fewer, more = ([row for row in told if (row["difference"] > 0) == up] for up in (False, True))
    parts = [
        f"{word} under {_with_limits(some, scale)}"
        for word, some in zip(words, (fewer, more), strict=True)
        if some
    ]
    if same := [row["variant"] for row in rows if row["verdict"] is Verdict.ALIKE]:
        parts.append(
            f"{'not distinguishable' if len(same) < len(rows) else 'not distinguishable from it'}"
            f" under {_named(same)}"
        )
    return f"{what[0].upper()}{what[1:]}: {'; '.join(parts)}."


def _with_limits(rows: list[dict[str, Any]], scale: float) -> str:
    texts = [f'"{row["variant"]}" ({", ".join(_points(row, scale))})' for row in rows[:MOST_NAMED]]
    return listed([*texts, *_more(len(rows))])


def _points(row: Mapping[str, Any], scale: float) -> Iterator[str]:
    difference, low, high = (amount(scale * row[key], "+") for key in ("difference", "low", "high"))
    yield f"{difference}"
    yield f"{low} to {high}"


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
        return f"< {percent(row[f'{name}_high'], digits).removesuffix(' %')}"
    return percent(row[name], digits).removesuffix(" %")
