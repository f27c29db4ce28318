"""What a finished setting sweep says: the recommendation, why not another setting, and notes."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any

from montecarlo.frames.choosing import nearest
from montecarlo.sampling.stratum import EVOLVING
from studies.nominal.backup import backup_found
from studies.report.blocks import Block, Caution, Paragraph, Section, items
from studies.report.catalogue import NOT_SELECTED, NOTES
from studies.report.notes import only_of_other, to_know
from studies.report.numbers import false_trips, missed_faults, percent, with_limits
from studies.report.refusals import note_text
from studies.report.words import scheme_name, setting_text
from studies.sweep.choice import moved, no_false_trip, tails_text, worst_case
from studies.sweep.doubts import doubts_text
from studies.sweep.gap import gap_sentences
from studies.sweep.not_selected import SHARES, not_selected
from studies.sweep.place_laws import other_choices
from studies.sweep.radius import radius_notes
from studies.sweep.recommendation import recommendation

if TYPE_CHECKING:
    from montecarlo import Result

__all__ = ["SHARES", "backup_text", "protected_text", "result_text"]
SEEN_AGAIN = "The chosen setting was estimated again on samples that were not used to choose."


def result_text(result: Result, *more: Block) -> list[Block]:
    """What a finished run says; `more`: notes of what follows the choice."""
    doubts = doubts_text(result.doubts, result.chosen or 0)
    return [
        recommendation(result),
        *(doubt for doubt in doubts if isinstance(doubt, Caution)),
        Section(NOT_SELECTED, not_selected(result)),
        Section(NOTES, [*_notes(result, doubts), *more]),
    ]


def _notes(result: Result, doubts: list[Block]) -> list[Block]:
    """What there is to know beside the choice."""
    return [
        *items(
            (
                *(_of_choice(result, doubts) if result.chosen else ()),
                *_operated_before(result),
                *([_other_model(result, result.other)] if result.other else ()),
                *to_know(result),
                *only_of_other(result),
            )
        ),
        *backup_text(result),
    ]


def _of_choice(result: Result, doubts: list[Block]) -> Iterator[str]:
    assert result.chosen is not None
    yield from (doubt.text for doubt in doubts if isinstance(doubt, Paragraph))
    yield protected_text(result.row(result.chosen))
    yield no_false_trip(result)
    yield SEEN_AGAIN
    yield from radius_notes(result.margins)
    yield from other_choices(result.place_laws)
    yield from gap_sentences(result)
    yield from tails_text(result)
    yield from worst_case(result)
    yield from moved(result)


def _operated_before(result: Result) -> Iterator[str]:
    """Of the setting of interest; nothing without evolving faults."""
    if result.study.internal_faults.evolving is None:
        return
    number = result.chosen or nearest(result.candidates)
    rows = result.by_type
    mine = rows[(rows["candidate"] == number) & (rows["type"] == EVOLVING.kind)]
    for row in mine.to_dict("records"):
        if row["p_operated_before"] == 0:
            yield "In no evolving fault had an element operated before the internal fault began."
            continue
        share = with_limits(row, "p_operated_before")
        yield (
            f"In {share} of the evolving faults no. {number} had operated before the internal fault"
            " began. They are false trips, and count as missed."
        )


def protected_text(row: Mapping[str, Any]) -> str:
    """How much of the winding a candidate protects."""
    if math.isnan(row["protected_median"]):
        return "The study has no earth faults."
    if row["protected_p95"] == 0:
        return "In at least 95 % of the earth faults no part of the winding is protected."
    median, low, high = (percent(row[f"protected_{name}"], 3) for name in ("median", "p05", "p95"))
    return (
        f"Median protected part of the winding {median} (5th to 95th percentile"
        f" {low.removesuffix(' %')} to {high})."
    )


def backup_text(result: Result) -> list[Block]:
    """Of the chosen setting, or the one nearest to the limit."""
    number = result.chosen or nearest(result.candidates)
    if result.study.backup is None or number is None:
        return []
    which = "the chosen setting" if result.chosen else f"no. {number}"
    return backup_found(result.study.backup, result.backup, result.row(number), which)


# --- the other remanence model ------------------------------------------------


def _other_model(result: Result, other: Result) -> str:
    """Whether the chosen setting moves with the remanence model, and what it is worth in the
    other."""
    head = f"With the remanence model {other.study.ct.remanence_model}"
    if result.chosen is not None and result.chosen == other.chosen:
        return f"{head} the same setting is chosen. There it {_worth(other, result.chosen)}."
    if other.chosen is None:
        text = f"{head} no setting meets the policy."
    else:
        row = other.row(other.chosen)
        text = (
            f"{head} no. {other.chosen} is chosen: {scheme_name(row['scheme'])},"
            f" {setting_text(row)}. It {_worth(other, other.chosen)}."
        )
    if result.chosen is None:
        return text
    keeps = "The policy allows that too."
    if refusals := other.row(result.chosen)["refusals"]:
        keeps = f"The policy does not allow that: {note_text(refusals)}."
    return f"{text} No. {result.chosen} there {_worth(other, result.chosen)}. {keeps}"


def _worth(other: Result, number: int) -> str:
    row = other.row(number)
    return f"{missed_faults(row)}; {false_trips(row)}"
