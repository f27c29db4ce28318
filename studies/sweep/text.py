"""What a finished setting sweep says on the terminal: a short table, the choice in one sentence,
what to know of it."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator, Mapping
from typing import TYPE_CHECKING, Any

from montecarlo.engine.run import TRIES_MAX
from montecarlo.estimates.choose import weights_of
from montecarlo.frames.choosing import by_worst, nearest
from montecarlo.quantities.wording import listed
from montecarlo.study.axes import PICKUPS
from montecarlo.study.budget import limit_of_p_false, rounded_up, samples_that_show
from montecarlo.study.description import Study
from studies.nominal.backup import backup_found
from studies.report.blocks import Block, Paragraph, Table, items, paragraphs
from studies.report.notes import only_of_other, sentences
from studies.report.numbers import NONE_SEEN, cell, cost_cell, false_trips, percent, with_limits
from studies.report.refusals import note_text
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
from studies.sweep.policy import each_limit, limit_of, policy_words

if TYPE_CHECKING:
    from montecarlo import Result

MOST_ROWS = 8
# Of the columns that every comparison has
SHARES = "missed: % of the internal faults within reach; false: % of the external events"


def result_text(result: Result) -> list[Block]:
    """What a finished run says."""
    text: list[Block] = [_table(result)]
    if result.chosen is None:
        text += [*_nothing(result), *paragraphs(against_others(result))]
    else:
        text += _choice(result)
    if result.other is not None:
        text.append(Paragraph(_other_model(result, result.other)))
    text += backup_text(result)
    return [*text, *items((*sentences(result), *only_of_other(result)))]


# --- the table ----------------------------------------------------------------


def _rows(result: Result) -> list[tuple[str, Mapping[str, Any]]]:
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


def _table(result: Result) -> Table:
    """A row a candidate; a setting that none of them has gets no column."""
    rows = _rows(result)
    columns = {
        words.head: key
        for key, words in AXIS_WORDS.items()
        if words.head and not all(math.isnan(row[key]) for _, row in rows)
    }
    weighed = "cost_per_year" in result.candidates
    head = ("no.", "", "scheme", *columns, "missed %", "false %", *(["cost"] if weighed else []))
    cells = [
        (
            str(row["candidate"]),
            role,
            scheme_name(row["scheme"]),
            *(_setting(row, key) for key in columns.values()),
            cell(row, "p_missed", 3),
            cell(row, "p_false", 2),
            *([cost_cell(row)] if weighed else []),
        )
        for role, row in rows
    ]
    none_seen = any(row["p_false"] == 0 for _, row in rows)
    notes = (*_settings_notes(columns.values()), *_notes(result, none_seen))
    return Table(head, tuple(cells), "><<" + ">" * (len(head) - 3), notes=notes, group=2)


def _setting(row: Mapping[str, Any], key: str) -> str:
    if math.isnan(row[key]):
        return "-"
    if key == "first_slope" and not math.isnan(row["second_slope"]):
        return f"{row[key]:g}/{row['second_slope']:g}"
    return f"{row[key]:g}"


def _settings_notes(columns: Collection[str]) -> Iterator[str]:
    if "turning_point_a" in columns:
        yield (
            "slope a/b: b where the bias current is above that in the next column; currents in A"
            " secondary"
        )
    elif not set(PICKUPS).isdisjoint(columns):
        yield "phase, earth: A secondary"


def _notes(result: Result, none_seen: bool) -> Iterator[str]:
    yield f"{SHARES}; (95 % limits)"
    if (cost := result.study.policy.least_annual_cost) is not None:
        yield f"cost: {cost.unit} a year; (95 % limits)"
    limit = limit_of_p_false(result.study)
    if none_seen and limit < math.inf:
        samples = samples_that_show(result.study, limit)
        yield f"{NONE_SEEN}; {samples} samples of each event without one would show the limit"
    if len(result.neighbours):
        yield (
            "rows without a word: one step of a grid from the chosen setting, on the same fresh"
            " batch"
        )


# --- sentences ----------------------------------------------------------------


def _choice(result: Result) -> list[Block]:
    assert result.chosen is not None
    row = result.row(result.chosen)
    return [
        Paragraph(_chosen(result, row)),
        *doubts_text(result.doubts, result.chosen),
        *paragraphs(
            f"{protected_text(row)} {no_false_trip(result)}",
            tails_text(result),
            worst_case(result),
            moved(result),
            against_others(result),
            hinge_text(result),
            around(result.neighbours),
        ),
    ]


def _chosen(result: Result, row: Mapping[str, Any]) -> str:
    study, tries = result.study, int(result.provenance["fresh_batches"])
    which = f", the one of {tries} that kept to the policy" if tries > 1 else ""
    return (
        f"Chosen: no. {result.chosen}, {scheme_name(row['scheme'])}: {setting_text(row)}. It misses"
        f" {with_limits(row, 'p_missed', 3)} of the internal faults within reach, and"
        f" {_false(row)}; with {100 * study.policy.level:g} % confidence at most"
        f" {_bound(study, row)}{_aim(result, row)}. All from a fresh batch of random"
        f" numbers{which}."
    )


def _bound(study: Study, row: Mapping[str, Any]) -> str:
    bound = row["p_false_bound"]
    if study.policy.false_per_year_max is None:
        return percent(bound)
    return f"{bound * weights_of(study).events_per_year:.2g}"


def _aim(result: Result, row: Mapping[str, Any]) -> str:
    """What the policy allows, and what the setting costs where it weighs costs."""
    study = result.study
    if limit_of(study)[0] < math.inf:
        return f", and the policy allows {policy_words(study)}"
    each = each_limit(study)
    return f"{each and f', and the policy allows {each}'}. {cost_text(result, row)}"


def protected_text(row: Mapping[str, Any]) -> str:
    """How much of the winding a candidate covers."""
    if math.isnan(row["protected_median"]):
        return "The study has no earth faults."
    if row["protected_p95"] == 0:
        return "On at least 95 % of the earth faults it covers no part of the winding."
    median, low, high = (percent(row[f"protected_{name}"], 3) for name in ("median", "p05", "p95"))
    return (
        f"Against earth faults it covers {median} of the winding (median; 5 and 95 % of the faults:"
        f" {low} and {high})."
    )


def backup_text(result: Result) -> list[Block]:
    """Of the chosen setting, or the one nearest to the limit."""
    number = result.chosen or nearest(result.candidates)
    if result.study.backup is None or number is None:
        return []
    which = "the chosen setting" if result.chosen else f"no. {number}"
    return backup_found(result.study.backup, result.backup, result.row(number), which)


def _false(row: Mapping[str, Any]) -> str:
    return false_trips(row) if row["p_false"] == 0 else f"it {false_trips(row)}"


def _other_model(result: Result, other: Result) -> str:
    """Whether the chosen setting moves with the remanence model, and what it is worth in the
    other."""
    head = (
        f"With {other.study.ct.remanence_model} instead of {result.study.ct.remanence_model} as"
        " remanence model of the CTs, on the same random numbers, "
    )

    def worth(number: int) -> str:
        row = other.row(number)
        return (
            f"it misses {with_limits(row, 'p_missed', 3)} of the internal faults within reach, and"
            f" {_false(row)}"
        )

    if result.chosen is not None and result.chosen == other.chosen:
        return f"{head}the same setting is chosen, no. {other.chosen}: there {worth(other.chosen)}."
    if other.chosen is None:
        text = f"{head}no candidate can be chosen."
    else:
        row = other.row(other.chosen)
        moves = "could be chosen" if result.chosen is None else "is chosen, so the choice moves"
        text = (
            f"{head}no. {other.chosen} {moves}: {scheme_name(row['scheme'])}, {setting_text(row)};"
            f" there {worth(other.chosen)}."
        )
    if result.chosen is None:
        return text
    keeps = "the policy allows that too"
    if refusals := other.row(result.chosen)["refusals"]:
        keeps = f"the policy does not allow that ({note_text(refusals)})"
    return f"{text} No. {result.chosen}, chosen above: there {worth(result.chosen)}; {keeps}."


def _nothing(result: Result) -> list[Block]:
    """Why no candidate was chosen, what comes closest of each scheme, and what would be needed."""
    study = result.study
    level = f" with {100 * study.policy.level:g} % confidence" if _judged(study) else ""
    return paragraphs(
        f"No candidate can be chosen: the policy allows {policy_words(study)}{level}.",
        *closest_text(study, result.closest),
        _way_out(result),
    )


def _judged(study: Study) -> bool:
    """Whether the policy has a limit at all."""
    return limit_of(study)[0] < math.inf or study.policy.p_false_max_each is not None


def _way_out(result: Result) -> str:
    if (number := nearest(result.candidates)) is None:
        return (
            "Needed: coarser pick-ups, steeper slopes of a bias, or more equal CTs against what"
            " operates on load; a smaller stabilising resistance or a higher knee against the"
            " other."
        )
    if not _judged(result.study):
        return (
            "Those that cost least operate on load in fresh batches: leave out the finest pick-ups"
            " or take more samples."
        )
    row = by_worst(result.candidates).set_index("candidate").loc[number].to_dict()
    of_all = f"Of all, no. {number} comes closest. " if len(result.closest) > 1 else ""
    return f"{of_all}{_needed(result.study, row, limit_of(result.study)[0])}"


def _needed(study: Study, row: Mapping[str, Any], limit: float) -> str:
    """What would help the candidate that comes closest of all."""
    ways = ["coarser pick-ups", "a longer delay"]
    if not math.isnan(row["first_slope"]):
        ways.append("a steeper slope")
    if not math.isnan(row["stabilising_resistance_ohm"]):
        ways.append("a larger stabilising resistance")
    than = f"{listed(ways, 'or')} than the grids offer, better CTs, or a wider limit"
    if row["p_false"] >= limit:
        return f"Needed: {than}."
    if row["limit_used"] <= 1:
        return (
            f"It keeps to the policy in the study's batch, as {TRIES_MAX} others did that fresh"
            " random numbers then refused: take more samples."
        )
    if row["p_false_bound"] <= limit:
        return (
            f"In all events together it keeps to the limit, in {row['worst_event']} it does not."
            f" Look for a wrong CT or sign in the scheme first. Else needed: {than}."
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
