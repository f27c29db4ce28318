"""The radius of a choice in words and as a figure."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from montecarlo.engine.margins import Change, Margin, Radius, Reason, Unasked
from montecarlo.frames.radius import radius_frame
from montecarlo.study.axes import Setting
from montecarlo.study.shifts import Way
from studies.report.look import look
from studies.sweep.radius import drawable, holds_unless, radius_bars, radius_notes
from tests.made.boxes import assert_text_is_readable, on_marks
from tests.made.reading import words as count_words

OTHERS = [Setting("per_phase", 0.1 * number, None, 0.0, 0.0) for number in (1, 2, 3)]
CLEARING = Margin(
    key="external_events.close_in_three_phase.clearing_time_s",
    unit="s",
    event="close_in_three_phase",
    way=Way.HIGHER,
    centre=0.105,
    half_width=0.045,
    shortest=0.06,
    longest=0.15,
    breaks=0.02,
    change=Change(0.02, Reason.LIMIT),
    reach=0.225,
    cut=False,
)
KNEE = Margin(
    key="ct.knee_voltage_v",
    unit="V",
    event="",
    way=Way.LOWER,
    centre=300.0,
    half_width=30.0,
    shortest=270.0,
    longest=330.0,
    breaks=45.0,
    change=Change(45.0, Reason.LIMIT),
    reach=150.0,
    cut=False,
)
ERROR = replace(
    KNEE, key="relay.pickup_error_percent", unit="%", centre=0.0, breaks=90.0, reach=150.0
)
BAND = replace(KNEE, way=Way.WIDER, breaks=15.0, change=Change(15.0, Reason.LIMIT))
QUIET = replace(KNEE, key="load.power_factor", unit="-", breaks=None, change=None)
BETTER = replace(QUIET, change=Change(60.0, Reason.MISSES, OTHERS[1]))
ON_LOAD = replace(QUIET, way=Way.WIDER, change=Change(3.0, Reason.LOAD))
RULE = replace(QUIET, key="ct.lead_resistance_ohm", change=Change(6.0, Reason.KNEE))


def radius(*margins: Margin) -> Radius:
    return Radius(margins, None, 5.0, 4096, 17, rivals=3)


def said(found: Radius | None) -> list[str]:
    return [*holds_unless(found, OTHERS), *radius_notes(found)]


def test_the_two_nearest_are_named_with_their_values() -> None:
    (text,) = holds_unless(radius(ERROR, CLEARING, KNEE, QUIET), OTHERS)
    assert text == (
        "The choice holds unless close_in_three_phase lasts longer than 0.17 s or the centre of the"
        " CTs' knee voltage lies below 255 V."
    )


def test_shorter_and_without_an_end() -> None:
    short = replace(CLEARING, way=Way.LOWER)
    (text,) = holds_unless(radius(short), OTHERS)
    assert "lasts shorter than 0.04 s" in text
    endless = replace(CLEARING, longest=math.inf)
    (text,) = holds_unless(radius(endless), OTHERS)
    assert "lasts longer than 0.125 s" in text  # of its centre


def test_a_width_is_told_as_a_factor() -> None:
    (text,) = holds_unless(radius(BAND), OTHERS)
    assert text == (
        "The choice holds unless the range of the CTs' knee voltage is more than 1.5 times as wide."
    )


def test_a_width_that_may_not_grow_is_said() -> None:
    (text,) = holds_unless(radius(replace(BAND, breaks=0.0)), OTHERS)
    assert text.endswith("the range of the CTs' knee voltage is wider than stated.")


@pytest.mark.parametrize(
    ("margin", "expected"),
    [
        (BETTER, "Setting no. 2 becomes the better choice if the centre of the"),
        (ON_LOAD, "The chosen setting operates on load if the range of the"),
        (RULE, "The chosen setting breaks the knee rule if the centre of the"),
    ],
)
def test_what_changes_the_choice_is_named(margin: Margin, expected: str) -> None:
    holds, text = holds_unless(radius(CLEARING, margin), OTHERS)
    assert holds.startswith("The choice holds unless")
    assert text.startswith(expected)


def test_what_is_left_open_is_said_beside_the_choice_and_in_the_notes() -> None:
    found = replace(radius(KNEE), undecided=1)
    _, text = holds_unless(found, OTHERS)
    assert text == "1 direction of other inputs could not be judged."
    assert any("1 direction of inputs" in note for note in radius_notes(found))


def test_a_reach_beyond_what_is_possible_is_one_line_with_its_cure() -> None:
    cut = replace(QUIET, centre=0.9, half_width=0.05, way=Way.HIGHER, reach=0.1, cut=True)
    (line,) = (note for note in radius_notes(radius(cut, KNEE)) if "policy.margins.reach" in note)
    assert line == (
        "policy.margins.reach: 5 half-widths leave possible values in 1 row of radius.csv, as"
        " load.power_factor at 1. Such an input moves as far as possible; looked_at has the value."
    )
    assert not any("policy.margins.reach" in note for note in radius_notes(radius(KNEE)))


def test_nothing_breaks() -> None:
    (text,) = holds_unless(radius(QUIET), OTHERS)
    assert "5 half-widths" in text
    assert not drawable(radius_frame(radius(QUIET), OTHERS))


@pytest.mark.parametrize("why", Unasked)
def test_a_study_without_a_radius_says_why(why: Unasked) -> None:
    found = Radius((), why, 5.0)
    assert not list(holds_unless(found, OTHERS))
    (note,) = radius_notes(found)
    assert "not reported" in note
    assert radius_frame(found, OTHERS).empty


def test_nothing_is_said_where_nobody_asked() -> None:
    assert said(None) == []
    assert radius_frame(None, OTHERS).empty


def test_sentences_are_short() -> None:
    every = [radius(ERROR, CLEARING, one) for one in (KNEE, BAND, BETTER, ON_LOAD, RULE)]
    every += [radius(), *(Radius((), why, 5.0) for why in Unasked)]
    for found in every:
        for text in said(found):
            for sentence in text.split(". "):
                assert count_words(sentence) <= 30, sentence


def test_the_table_has_the_values_and_distances() -> None:
    frame = radius_frame(radius(CLEARING, KNEE, BAND, BETTER), OTHERS)
    first, second, band, other = frame.to_dict("records")
    assert first["breaks_at"] == pytest.approx(0.125)
    assert first["breaks_half_widths"] == pytest.approx(0.02 / 0.045)
    assert second["breaks_at"] == pytest.approx(255)
    assert second["looked_at"] == pytest.approx(150)
    assert band["breaks_at"] == pytest.approx(45)  # of the half-width
    assert math.isnan(other["breaks_at"])
    assert other["changes_at"] == pytest.approx(240)
    assert (other["reason"], other["candidate"]) == ("misses", 2)


@pytest.mark.parametrize("count", [1, 3, 20])
def test_bars_are_sorted_and_every_text_can_be_read(count: int) -> None:
    margins = [
        replace(
            CLEARING,
            key=f"external_events.a_long_event_name_{k}.clearing_time_s",
            event=f"a_long_event_name_{k}",
            change=Change(0.01 * (1 + k), Reason.LIMIT),
        )
        for k in range(count)
    ]
    others = (ERROR, BAND, BETTER, ON_LOAD, RULE)
    with look():
        figure = radius_bars(radius_frame(radius(*reversed(margins), *others), OTHERS))
        assert_text_is_readable(figure)
        assert not on_marks(figure)
        (ax,) = figure.axes
        bars = sorted(ax.patches, key=lambda bar: bar.get_y())
        widths = [bar.get_width() for bar in bars if bar.get_width() > 0]
    assert max(widths) <= 20 * 0.01 / 0.045 + 1e-9
    assert len(widths) == min(count + len(others), 12)
    assert widths == sorted(widths)
