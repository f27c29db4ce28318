"""Why the chosen setting and not another: its neighbours in a table, the runner-up, the existing
setting, the next more sensitive one, and what the policy refuses."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from montecarlo.estimates.refusals import Refusal
from montecarlo.estimates.verdicts import Verdict
from montecarlo.frames.choosing import ASKED
from montecarlo.quantities.wording import listed
from montecarlo.study.axes import PICKUPS
from montecarlo.study.budget import limit_of_p_false, samples_that_show
from montecarlo.study.description import Study
from studies.report.blocks import Aside, Block, Paragraph, Table, paragraphs
from studies.report.numbers import (
    NONE_SEEN,
    bare,
    cell,
    cost_cell,
    cost_with_limits,
    digits_of,
    gap,
    percent,
)
from studies.report.refusals import because, note_parts, told
from studies.report.words import AXIS_WORDS, counted, has, scheme_name, setting_text
from studies.sweep.closest import closest_text
from studies.sweep.place_laws import place_table
from studies.sweep.prices import prices_table

if TYPE_CHECKING:
    import pandas as pd

    from montecarlo import Result

Row = Mapping[str, Any]
MOST_ROWS = 8
BEST_REFUSED = 3  # of each rule
# Of the columns that every comparison has
SHARES = "missed: % of the faults in scope left uncleared; false: % of the external events"
REFUSED = "refused"
RUNNER_UP = "chosen minus runner-up"  # a pair of the comparison
WHAT = {"p_missed": "missed faults", "p_false": "false trips", "cost_per_year": "cost"}


def not_selected(result: Result) -> list[Block]:
    """The table, then a sentence for each question; on a page what the policy refuses too."""
    return [
        settings_table(result),
        *paragraphs(
            *closest_text(result.study, result.closest),
            hinge_text(result) if result.chosen else "",
            *against_others(result),
            *around(result.neighbours, result.runner_up),
        ),
        Aside((*prices_table(result.prices), *place_table(result.place_laws), *refused(result))),
    ]


# --- the table ----------------------------------------------------------------


def _rows(result: Result) -> list[tuple[str, Row]]:
    """Each with its role: the chosen one and its neighbours, or what comes closest to the
    policy."""
    frame, others = result.candidates, result.neighbours
    numbers: dict[int, str] = {}
    if result.chosen is None:
        usable = frame[frame["usable"]] if frame["usable"].any() else frame
        others = usable.sort_values(["limit_used", "p_false_bound", "p_missed"], kind="stable")
    else:
        numbers[result.chosen] = "chosen"
    if result.runner_up is not None:
        numbers.setdefault(result.runner_up, "runner-up")
    for number in frame.loc[frame["existing"], "candidate"]:
        numbers[number] = f"{numbers[number]}, existing" if number in numbers else "existing"
    for number in others["candidate"].unique()[:MOST_ROWS]:
        numbers.setdefault(number, "")
    return [(role, result.row(number)) for number, role in [*numbers.items()][:MOST_ROWS]]


def settings_table(result: Result) -> Table:
    """A row a candidate; a setting that none of them has gets no column."""
    rows = _rows(result)
    columns = {
        words.head: key
        for key, words in AXIS_WORDS.items()
        if words.head and any(has(row, key) for _, row in rows)
    }
    weighed = "cost_per_year" in result.candidates
    head = ("no.", "", "scheme", *columns, "missed %", "false %", *(["cost"] if weighed else []))
    cells = [
        (
            str(row["candidate"]),
            role or (REFUSED if row["refusals"] else ""),
            scheme_name(row["scheme"]),
            *(_setting(row, key) for key in columns.values()),
            cell(row, "p_missed"),
            cell(row, "p_false"),
            *([cost_cell(row)] if weighed else []),
        )
        for role, row in rows
    ]
    none_seen = any(row["p_false"] == 0 for _, row in rows)
    notes = (*_settings_notes(columns.values()), *_notes(result, none_seen))
    return Table(head, tuple(cells), "><<" + ">" * (len(head) - 3), notes=notes, group=2)


def _setting(row: Row, key: str) -> str:
    if not has(row, key):
        return "-"
    second = key.replace("first", "second")
    if second != key and has(row, second):
        return f"{row[key]:g}/{row[second]:g}"
    return row[key] if isinstance(row[key], str) else f"{row[key]:g}"


def _settings_notes(columns: Collection[str]) -> Iterator[str]:
    if not set(PICKUPS).isdisjoint(columns):
        yield "phase, earth: pick-ups, A secondary"
    if "turning_point_a" in columns:
        yield "slope a/b: b above the bias current in the next column, A secondary"


def _notes(result: Result, none_seen: bool) -> Iterator[str]:
    yield f"{SHARES}; in brackets 95 % limits"
    if (cost := result.study.policy.least_annual_cost) is not None:
        yield f"cost: {cost.unit} a year"
    limit = limit_of_p_false(result.study)
    if none_seen and limit < math.inf:
        samples = samples_that_show(result.study, limit)
        yield f"{NONE_SEEN}; {samples:,} samples of each event without one would show the limit"
    if len(result.neighbours):
        yield (
            f"unmarked and {REFUSED}: neighbouring settings, same independent sample;"
            " candidates.csv names what refuses one"
        )


# --- against others -----------------------------------------------------------


def against_others(result: Result) -> list[str]:
    """The paired differences of `comparison`, a text each, and how they are meant."""
    pairs = result.comparison.groupby(["pair", "candidate", "minus"], sort=False)
    texts = [_pair(result, pair, one, other, gaps) for (pair, one, other), gaps in pairs]
    if not texts:
        return []
    together = " and hold for all pairs together" if len(texts) > 1 else ""
    return [
        *texts,
        "Differences are paired on the same events. Points are percentage points; limits are 95 %"
        f"{together}.",
    ]


def _pair(result: Result, pair: str, one: int, other: int, gaps: pd.DataFrame) -> str:
    text = ", ".join(difference(row, result.study) for row in gaps.to_dict("records"))
    if pair == ASKED:
        fresh = (gaps["batch"] == 2).all()
        return f"No. {one} minus no. {other}: {text} ({samples_name(2 if fresh else 1)})."
    if pair != RUNNER_UP:
        return f"Chosen minus existing setting, no. {other}: {text}."
    row = result.row(other)
    head = f"Runner-up: no. {other}, {scheme_name(row['scheme'])}, {setting_text(row)}."
    if (gaps["verdict"] == Verdict.ALIKE).all():
        return f"{head} It does not differ significantly from the chosen setting."
    return f"{head} Chosen minus runner-up: {text}."


def difference(row: Row, study: Study) -> str:
    """A difference with its limits; that it shows nothing is said."""
    cost = study.policy.least_annual_cost
    if row["quantity"] == "cost_per_year" and cost is not None:
        change, limits = gap(row, 1, f" {cost.unit} a year")
    else:
        change, limits = gap(row, unit=" points")
    same = "; not significant" if row["verdict"] is Verdict.ALIKE else ""
    return f"{WHAT[row['quantity']]} {change} ({limits}{same})"


def samples_name(batch: int) -> str:
    """How the samples are called that an estimate rests on."""
    return "independent sample" if batch == 2 else "selection sample"


def around(neighbours: pd.DataFrame, told_already: int | None = None) -> Iterator[str]:
    """Which neighbours do not differ from the chosen setting, as far as the samples show; those
    that are alike in the same quantities in one sentence. `told_already`: the runner-up, which has
    a sentence of its own."""
    neighbours = neighbours[neighbours["candidate"] != told_already]
    if not len(neighbours):
        return
    alike: dict[tuple[str, ...], list[str]] = {}
    for number, rows in neighbours.groupby("candidate", sort=False):
        same = rows.loc[rows["verdict"] == Verdict.ALIKE, "quantity"]
        if len(same):
            alike.setdefault(tuple(same), []).append(str(number))
    if not alike:
        yield "Every neighbouring setting differs significantly from the chosen one."
    for quantities, numbers in alike.items():
        settings, do = ("settings", "do") if len(numbers) > 1 else ("setting", "does")
        what = listed((WHAT[quantity] for quantity in quantities), "or")
        yield (
            f"Neighbouring {settings} no. {listed(numbers)} {do} not differ significantly in"
            f" {what}."
        )


def hinge_text(result: Result) -> str:
    """The rule that decided."""
    hinge, cost = result.hinge, result.study.policy.least_annual_cost
    if hinge is None:
        less = "leaves fewer faults uncleared" if cost is None else "costs less"
        return f"No candidate {less}, so no rule of the policy decides the choice."
    row, which = result.row(hinge.candidate), "more sensitive"
    aim = f"{percent(hinge.aim, digits_of('p_missed'))} missed"
    if cost is not None:
        which = "cheaper"
        ends = ("cost_per_year", "cost_per_year_low", "cost_per_year_high")
        limits = zip(ends, (hinge.aim, hinge.low, hinge.high), strict=True)
        aim = cost_with_limits(dict(limits), cost.unit)
    why = because(hinge)
    name = samples_name(hinge.batch)
    source = "" if name in why else f" ({name})"
    return (
        f"Next {which} setting: no. {hinge.candidate}, {scheme_name(row['scheme'])},"
        f" {setting_text(row)}: {aim}. It was rejected because {why}{source}."
    )


# --- refused ------------------------------------------------------------------


def _no_better(weighed: bool, number: int) -> str:
    """The verb as it follows so many candidates."""
    cost, leave = ("costs", "leaves") if number == 1 else ("cost", "leave")
    return f"{cost} no less" if weighed else f"{leave} no fewer faults uncleared"


def refused(result: Result) -> Iterator[Block]:
    """How many the policy refuses, and the best of each rule."""
    frame = result.candidates
    weighed = "cost_per_year" in frame
    others = frame[~frame["chosen"]]
    out = others[others["refusals"].map(len) > 0]
    yield Paragraph(f"The policy refuses {len(out)} of {counted(len(frame), 'candidate')}.")
    if result.chosen is not None:
        left = len(others) - len(out)
        those = "It" if left == 1 else "They"
        worse = _no_better(weighed, left)
        yield Paragraph(
            f"It allows {counted(left, 'other candidate')}. {those} {worse}, or did not keep"
            " to the policy on an independent sample."
        )
    best = out.sort_values("cost_per_year" if weighed else "p_missed", kind="stable")
    groups: dict[tuple[Any, ...], list[Row]] = {}
    for row in best.to_dict("records"):
        first: Refusal = told(row["refusals"])[0]
        groups.setdefault((first.rule, first.event, first.limit), []).append(row)
    if groups:
        head = "first rule that refuses (how many)"
        yield Table(
            (head, "no.", "scheme", "setting", "missed %", "false %, upper limit", "and"),
            tuple(row for rows in groups.values() for row in _best_refused(rows)),
            "<><<>><",
            f"The best {BEST_REFUSED} that each rule refuses",
        )


def _best_refused(rows: Sequence[Row]) -> Iterator[tuple[str, ...]]:
    """The first of those that one rule refuses; the rule stands beside the very first."""
    for place, row in enumerate(rows[:BEST_REFUSED]):
        rule, *others = note_parts(row["refusals"])
        yield (
            f"{rule} ({len(rows)})" if place == 0 else "",
            str(row["candidate"]),
            scheme_name(row["scheme"]),
            setting_text(row),
            bare(row["p_missed"], digits_of("p_missed")),
            bare(row["p_false_bound"]),
            "; ".join(others),
        )
