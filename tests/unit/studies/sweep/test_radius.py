"""The radius of a choice in words and as a figure."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from montecarlo.engine.radius import Margin, Radius, Unasked
from montecarlo.frames.radius import radius_frame
from studies.report.look import look
from studies.sweep.radius import drawable, holds_unless, radius_bars, radius_notes
from tests.made.boxes import assert_text_is_readable, on_marks
from tests.made.reading import words as count_words

CLEARING = Margin(
    "external_events.close_in_three_phase.clearing_time_s",
    "s",
    "close_in_three_phase",
    0.105,
    0.045,
    0.06,
    0.15,
    None,
    0.02,
    0.057,
    0.225,
)
KNEE = Margin("ct.knee_voltage_v", "V", "", 300.0, 30.0, 270.0, 330.0, 45.0, None, 150.0, 150.0)
ERROR = replace(KNEE, key="relay.pickup_error_percent", unit="%", centre=0.0, below=90.0, above=60)
QUIET = replace(KNEE, key="load.power_factor", unit="-", below=None)


def radius(*margins: Margin) -> Radius:
    return Radius(margins, None, 5.0, 4096, 17)


def said(found: Radius | None) -> list[str]:
    return [*holds_unless(found), *radius_notes(found)]


def test_the_two_nearest_are_named_with_their_values() -> None:
    (text,) = holds_unless(radius(ERROR, CLEARING, KNEE, QUIET))
    assert text == (
        "The choice holds unless close_in_three_phase lasts longer than 0.17 s or the centre of the"
        " CTs' knee voltage lies below 255 V."
    )


def test_shorter_and_without_an_end() -> None:
    short = replace(CLEARING, above=None, below=0.02)
    (text,) = holds_unless(radius(short))
    assert "lasts shorter than 0.04 s" in text
    endless = replace(CLEARING, longest=math.inf)
    (text,) = holds_unless(radius(endless))
    assert "lasts longer than 0.125 s" in text  # of its centre


def test_what_is_left_open_is_said_beside_the_choice_and_in_the_notes() -> None:
    found = replace(radius(KNEE), undecided=1)
    _, text = holds_unless(found)
    assert text == "1 direction of other inputs could not be judged."
    assert any("1 direction of inputs" in note for note in radius_notes(found))


def test_nothing_breaks() -> None:
    (text,) = holds_unless(radius(QUIET))
    assert "5 half-widths" in text
    assert not drawable(radius_frame(radius(QUIET)))


@pytest.mark.parametrize("why", Unasked)
def test_a_study_without_a_radius_says_why(why: Unasked) -> None:
    found = Radius((), why, 5.0)
    assert not list(holds_unless(found))
    (note,) = radius_notes(found)
    assert "not reported" in note
    assert radius_frame(found).empty


def test_nothing_is_said_where_nobody_asked() -> None:
    assert said(None) == []
    assert radius_frame(None).empty


def test_sentences_are_short() -> None:
    every = [radius(ERROR, CLEARING, KNEE), radius(), *(Radius((), why, 5.0) for why in Unasked)]
    for found in every:
        for text in said(found):
            for sentence in text.split(". "):
                assert count_words(sentence) <= 30, sentence


def test_the_table_has_the_values_and_distances() -> None:
    frame = radius_frame(radius(CLEARING, KNEE))
    first, second = frame.to_dict("records")
    assert first["breaks_above"] == pytest.approx(0.125)
    assert first["half_widths_above"] == pytest.approx(0.02 / 0.045)
    assert math.isnan(first["breaks_below"])
    assert second["breaks_below"] == pytest.approx(255)
    assert second["looked_at_above"] == pytest.approx(450)


@pytest.mark.parametrize("count", [1, 3, 20])
def test_bars_are_sorted_and_every_text_can_be_read(count: int) -> None:
    margins = [
        replace(
            CLEARING,
            key=f"external_events.a_long_event_name_{k}.clearing_time_s",
            event=f"a_long_event_name_{k}",
            above=0.01 * (1 + k),
        )
        for k in range(count)
    ]
    with look():
        figure = radius_bars(radius_frame(radius(*reversed(margins), ERROR)))
        assert_text_is_readable(figure)
        assert not on_marks(figure)
        (ax,) = figure.axes
        bars = sorted(ax.patches, key=lambda bar: bar.get_y())
        widths = [bar.get_width() for bar in bars if bar.get_width() > 0]
    assert max(widths) <= 20 * 0.01 / 0.045 + 1e-9
    assert len(widths) == min(count + 2, 12)
    assert widths == sorted(widths)
