"""What a finished setting sweep says on the terminal: a short table, the choice in one sentence,
what to know of it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from montecarlo.engine.run import TRIES_MAX
from montecarlo.estimates.choose import weights_of
from montecarlo.frames.choosing import by_worst, nearest
from montecarlo.quantities.wording import listed
from montecarlo.study.budget import limit_of_p_false, rounded_up, samples_that_show
from montecarlo.study.description import Study
from studies.nominal.backup import backup_found
from studies.report.look import percent, with_limits
from studies.report.money import cost_cell
from studies.report.notes import sentences
from studies.report.refusals import note_text
from studies.report.text import WIDTH, paragraph, table
from studies.report.words import AXIS_WORDS, scheme_name, setting_text
from studies.sweep.choice import (
    against_others,
    around,
    cost_text,
    hinge_text,
    moved,
    no_false_trip,
    tails_text,
    worst_case,
)
from studies.sweep.closest import closest_text
from studies.sweep.doubts import doubts_text

if TYPE_CHECKING:
    from montecarlo import Result

__all__ = [
    "MOST_ROWS",
    "backup_text",
    "covered_text",
    "limit_of",
    "nearest",
    "of_each_kind",
    "result_text",
]

MOST_ROWS = 8
SHORT = {
    "two_phase_one_earth": "2 phase 1 earth",
    "per_phase": "3 phase",
    "biased": "3 biased",
    "restricted_earth_fault": "restricted earth",
}


def result_text(result: Result) -> list[str]:
    """Lines of at most 100 columns."""
    shown = _rows(result)
    lines = _table(shown)
    lines += [
        "  missed: % of the internal faults within reach; false: % of the external events; (95 %"
        " limits)"
    ]
    if (cost := result.study.policy.least_annual_cost) is not None:
        lines += paragraph(f"cost: {cost.unit} a year; (95 % limits)", "  ")
    limit = limit_of_p_false(result.study)
    if any(row["p_false"] == 0 for _, row in shown) and limit < math.inf:
        samples = samples_that_show(result.study, limit)
        lines += [
            f"  none (< x): none seen, fewer than x %; {samples} samples of each event without one"
            " would show the limit"
        ]
    if result.chosen is None:
        lines += ["", *_nothing(result), *paragraph(against_others(result))]
    else:
        if len(result.neighbours):
            lines += [
                "  rows without a word: one step of a grid from the chosen setting, on the same"
                " fresh batch"
            ]
        lines += [""]
        lines += _choice(result)
    if result.other is not None:
        lines += paragraph(_other_model(result, result.other))
    lines += backup_text(result)
    for sentence in sentences(result):
        lines += paragraph(sentence, "- ", "  ")
    for sentence in _only_of(result.other, result):
        lines += paragraph(sentence, "- ", "  ")
    return lines


def limit_of(study: Study) -> tuple[float, str]:
    """The policy's limit as a probability of a false trip an event, and in the policy's own words;
    infinite where it weighs costs."""
    if study.policy.least_annual_cost is not None:
        return math.inf, "any number of false trips at their cost"
    limit, yearly = limit_of_p_false(study), study.policy.false_per_year_max
    return limit, (
        f"{percent(limit)} of the external events"
        if yearly is None
        else f"{yearly:g} false trips a year"
    )


def of_each_kind(study: Study) -> str:
    """The policy's limit on each kind of event, behind the other; empty without."""
    each = study.policy.p_false_max_each
    return "" if each is None else f", and of every kind of event {percent(each)}"


# --- the table ----------------------------------------------------------------


def _rows(result: Result) -> list[tuple[str, Mapping[str, Any]]]:
    frame = result.candidates
    numbers: dict[int, str] = {}
    if result.chosen is not None:
        numbers[result.chosen] = "chosen"
    if result.runner_up is not None:
        numbers.setdefault(result.runner_up, "runner-up")
    for number in frame.loc[frame["present"], "candidate"]:
        numbers[int(number)] = f"{numbers[number]}, present" if number in numbers else "present"
    if result.chosen is not None:
        for number in result.neighbours["candidate"]:
            numbers.setdefault(int(number), "")
    else:
        usable = frame[frame["usable"]] if frame["usable"].any() else frame
        for number in usable.sort_values(
            ["limit_used", "p_false_bound", "p_missed"], kind="stable"
        )["candidate"]:
            numbers.setdefault(int(number), "")
            if len(numbers) >= MOST_ROWS:
                break
    by_number = frame.set_index("candidate", drop=False)
    return [
        (role, by_number.loc[number].to_dict()) for number, role in [*numbers.items()][:MOST_ROWS]
    ]


def _table(rows: list[tuple[str, Mapping[str, Any]]]) -> list[str]:
    """A line a candidate; a setting that none of them has gets no column. What would be too wide
    with a column of schemes has them as headings between the lines."""
    columns = {
        words.head: key
        for key, words in AXIS_WORDS.items()
        if words.head and not all(math.isnan(row[key]) for _, row in rows)
    }
    weighed = rows != [] and "cost_per_year" in rows[0][1]
    head = ["no.", "", *columns, "missed %", "false %", *(["cost"] if weighed else [])]
    cells = [
        [
            str(row["candidate"]),
            role,
            *(_cell(row, key) for key in columns.values()),
            _bare(row, "p_missed", 3),
            _bare(row, "p_false", 2),
            *([cost_cell(row)] if weighed else []),
        ]
        for role, row in rows
    ]
    align = "><" + ">" * (len(head) - 2)
    kinds = [str(row["scheme"]) for _, row in rows]
    lines = table(
        ["no.", "", "scheme", *head[2:]],
        [
            [*line[:2], SHORT.get(kind, kind), *line[2:]]
            for line, kind in zip(cells, kinds, strict=True)
        ],
        "><<" + align[2:],
        "",
    )
    if max(map(len, lines)) > WIDTH:
        first, *bare = table([text.removesuffix(" A") for text in head], cells, align, "")
        lines = [first]
        for kind in dict.fromkeys(kinds):
            lines += [
                f"{scheme_name(kind)}:",
                *(line for line, of in zip(bare, kinds, strict=True) if of == kind),
            ]
    if AXIS_WORDS["slope_break_a"].head in columns:
        lines.append(
            "  slope a/b: b where the bias current is above that in the next column; currents in A"
            " secondary"
        )
    elif " A " not in lines[0] and any(name.endswith(" A") for name in columns):
        lines.append("  phase, earth: A secondary")
    return lines


def _cell(row: Mapping[str, Any], key: str) -> str:
    if math.isnan(row[key]):
        return "-"
    return f"{row[key]:g}" + (
        f"/{row['slope2']:g}" if key == "slope1" and not math.isnan(row["slope2"]) else ""
    )


def _bare(row: Mapping[str, Any], name: str, digits: int) -> str:
    if math.isnan(row[name]):  # no sample of a counted type gave a result
        return "unresolved"
    p, low, high = (
        percent(row[f"{name}{end}"], digits).removesuffix(" %") for end in ("", "_low", "_high")
    )
    return f"none (< {high})" if name == "p_false" and row[name] == 0 else f"{p} ({low}-{high})"


# --- sentences ----------------------------------------------------------------


def _choice(result: Result) -> list[str]:
    row = result.candidates.set_index("candidate", drop=False).loc[result.chosen].to_dict()
    limit, words = limit_of(result.study)
    kinds = of_each_kind(result.study)
    aim = (
        f", and the policy allows {words}{kinds}"
        if limit < math.inf
        else (f"{kinds.replace('and of', 'and the policy allows of')}. {cost_text(result, row)}")
    )
    tries = int(result.provenance["fresh_batches"])
    bound = row["p_false_bound"]
    reached = (
        percent(bound)
        if result.study.policy.false_per_year_max is None
        else (f"{bound * weights_of(result.study).events_per_year:.2g}")
    )
    which = "a fresh batch of random numbers" + (
        f", the one of {tries} that kept to the policy" if tries > 1 else ""
    )
    lines = paragraph(
        f"Chosen: no. {result.chosen}, {scheme_name(row['scheme'])}: {setting_text(row)}. It misses"
        f" {with_limits(row, 'p_missed', 3)} of the internal faults within reach, and"
        f" {_false(row)}; with {100 * result.study.policy.level:g} % confidence at most"
        f" {reached}{aim}. All from {which}."
    )
    lines += [
        line
        for text in doubts_text(result.doubts, int(row["candidate"]))
        for line in paragraph(text)
    ]
    lines += paragraph(covered_text(row)) + paragraph(no_false_trip(result))
    texts = (
        tails_text(result),
        worst_case(result),
        moved(result),
        against_others(result),
        hinge_text(result),
        around(result.neighbours),
    )
    return lines + [line for text in texts for line in paragraph(text)]


def covered_text(row: Mapping[str, Any]) -> str:
    if math.isnan(row["covered_median"]):
        return "The study has no earth faults."
    if row["covered_p95"] == 0:
        return "On at least 95 % of the earth faults it covers no part of the winding."
    median, low, high = (percent(row[f"covered_{name}"], 3) for name in ("median", "p05", "p95"))
    return (
        f"Against earth faults it covers {median} of the winding (median; 5 and 95 % of the faults:"
        f" {low} and {high})."
    )


def backup_text(result: Result) -> list[str]:
    """Of the chosen setting, or the one nearest to the limit."""
    number = result.chosen or nearest(result.candidates)
    if result.study.backup is None or number is None:
        return []
    row = result.candidates.set_index("candidate").loc[number].to_dict()
    return backup_found(
        result.study.backup,
        result.backup,
        row,
        "the chosen setting" if result.chosen else f"no. {number}",
    )


def _false(row: Mapping[str, Any]) -> str:
    if row["p_false"] == 0:
        return (
            f"no false trip was seen, fewer than {percent(row['p_false_high'])} of the external"
            " events"
        )
    return f"it trips falsely on {with_limits(row, 'p_false', 2)} of the external events"


def _other_model(result: Result, other: Result) -> str:
    """Whether the chosen setting moves with the remanence model, and what it is worth in the
    other."""
    rows = other.candidates.set_index("candidate")
    head = (
        f"With {other.study.ct.remanence_model} instead of {result.study.ct.remanence_model} as"
        " remanence model of the CTs, on the same random numbers, "
    )

    def worth(number: int) -> str:
        row = rows.loc[number].to_dict()
        return (
            f"it misses {with_limits(row, 'p_missed', 3)} of the internal faults within reach, and"
            f" {_false(row)}"
        )

    if result.chosen is not None and result.chosen == other.chosen:
        return f"{head}the same setting is chosen, no. {other.chosen}: there {worth(other.chosen)}."
    if other.chosen is None:
        text = f"{head}no candidate can be chosen."
    else:
        row = rows.loc[other.chosen].to_dict()
        moved = "could be chosen" if result.chosen is None else "is chosen, so the choice moves"
        text = (
            f"{head}no. {other.chosen} {moved}: {scheme_name(row['scheme'])}, {setting_text(row)};"
            f" there {worth(other.chosen)}."
        )
    if result.chosen is None:
        return text
    note = note_text(rows.loc[result.chosen, "refusals"])
    keeps = f"the policy does not allow that ({note})" if note else "the policy allows that too"
    return f"{text} No. {result.chosen}, chosen above: there {worth(result.chosen)}; {keeps}."


def _only_of(other: Result | None, result: Result) -> list[str]:
    """What only the run with the other model has to tell."""
    if other is None:
        return []
    return [
        f"With {other.study.ct.remanence_model}: {text}"
        for text in sentences(other)
        if text not in sentences(result)
    ]


def _nothing(result: Result) -> list[str]:
    """Why no candidate was chosen, what comes closest of each scheme, and what would be needed."""
    frame, (limit, words) = by_worst(result.candidates), limit_of(result.study)
    each = result.study.policy.p_false_max_each
    judged = limit < math.inf or each is not None
    with_level = f" with {100 * result.study.policy.level:g} % confidence" if judged else ""
    lines = paragraph(
        "No candidate can be chosen: the policy allows "
        f"{words}{of_each_kind(result.study)}{with_level}."
    )
    lines += [
        line for text in closest_text(result.study, result.closest) for line in paragraph(text)
    ]
    if (number := nearest(result.candidates)) is None:
        return lines + paragraph(
            "Needed: coarser pick-ups, steeper slopes of a bias, or more "
            "equal CTs against what "
            "operates on load; a smaller stabilising resistance or a higher "
            "knee against the "
            "other."
        )
    if not judged:
        return lines + paragraph(
            "Those that cost least operate on load in fresh batches: leave out the finest "
            "pick-ups or take more samples."
        )
    row = frame.set_index("candidate").loc[number].to_dict()
    of_all = f"Of all, no. {number} comes closest. " if len(result.closest) > 1 else ""
    return lines + paragraph(f"{of_all}{_needed(result.study, row, limit)}")


def _needed(study: Study, row: Mapping[str, Any], limit: float) -> str:
    """What would help the candidate that comes closest of all."""
    ways = ["coarser pick-ups", "a longer delay"]
    ways += ["a steeper slope"] if not math.isnan(row["slope1"]) else []
    ways += (
        ["a larger stabilising resistance"]
        if not math.isnan(row["stabilising_resistance_ohm"])
        else []
    )
    than = f"{listed(ways, 'or')} than the grids offer, better CTs, or a wider limit"
    if row["p_false"] >= limit:
        return f"Needed: {than}."
    if row["limit_used"] <= 1:
        return (
            f"It keeps to the policy in the study's batch, as {TRIES_MAX} others did that "
            "fresh random numbers "
            "then refused: take more samples."
        )
    if row["p_false_bound"] <= limit:
        return (
            f"In all events together it keeps to the limit, in {row['worst_event']} it does "
            "not. Look for a wrong "
            f"CT or sign in the scheme first. Else needed: {than}."
        )
    samples = rounded_up(study.study.samples * row["p_false_bound"] / limit)
    if row["p_false"] == 0:
        return (
            f"No false trip of it was seen, and {study.study.samples} samples of each event show no"
            f" more than that it trips on fewer than {percent(row['p_false_bound'])}. Needed: about"
            f" {samples} without one."
        )
    return (
        f"Needed: more samples; about {samples} would show it if it trips no more often than seen"
        " so far."
    )
