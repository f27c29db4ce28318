"""Cases in time: which CTs, which part of the time and which titles are shown, and text that can be
read."""

from __future__ import annotations

from dataclasses import replace
from io import BytesIO
from typing import Any

import numpy as np
import pandas as pd
import pytest

from montecarlo.sampling.stratum import Stratum
from montecarlo.study.axes import Setting
from montecarlo.study.circuits import scheme_of
from studies.report.look import look
from studies.waveforms.cases import Case
from studies.waveforms.figures import cases_in_time
from studies.waveforms.in_time import (
    CYCLES,
    gate_starts,
    how_often,
    missed_of,
    primary_lines,
    shown,
    table_of,
    tells_gate,
    worst_of,
)
from tests.made.boxes import assert_text_is_readable
from tests.made.studies import REMOVE, study_with

SETTING = Setting("two_phase_one_earth", 0.1, 0.04, 300.0, 0.05)
STUDY = study_with()
SCHEME = scheme_of(STUDY, SETTING.scheme)
PER_CYCLE, RATE_HZ = 96, 4800.0


def invented(kind: str = "false_trip", cycles: int = 8, **others: Any) -> Case:
    """The line end's CT of L3 loses most; the earth element decides, from 0.03 s on."""
    steps = cycles * PER_CYCLE
    times = (np.arange(steps) + 1 - PER_CYCLE) / RATE_HZ
    turn = 2 * np.pi * (50 * times[None, :] - np.arange(3)[:, None] / 3)
    ideal = np.tile(5 * np.sin(turn), (2, 1))
    lost = np.zeros((6, steps))
    lost[2], lost[5] = 0.1 * (times > 0), 0.8 * (times > 0.02)
    legs = SCHEME.table @ (ideal - lost)
    measured = np.zeros((3, steps))
    measured[2] = np.where(times > 0.03, 0.06, 0.01)
    values: dict[str, Any] = {
        "kind": kind,
        "stratum": Stratum("external.a_fault_close_to_the_machine"),
        "installation": 12,
        "event": 345,
        "weight": None,
        "rate_hz": RATE_HZ,
        "times_s": times,
        "cts_a": ideal - lost,
        "legs_a": legs,
        "quantity_a": np.array([0.02, 0.02, 0.06]),
        "setting_a": np.array([0.1, 0.1, 0.04]),
        "primary_a": 1500 * ideal,
        "ideal_a": ideal,
        "flux": np.tile(np.sin(turn), (2, 1)),
        "difference_a": measured,
        "threshold_a": np.full((3, steps), 0.04),
        "starts_s": np.array([np.nan, np.nan, 0.03]),
        "bias_a": np.zeros((3, steps)),
        "cleared_s": 0.1,
        "gate_on": np.zeros((3, steps), bool),
        "gated": (),
    }
    return Case(**values | others)


def of(case: Case, name: str = "false_trip_1") -> Any:
    return shown(STUDY, SETTING, name, case)


def test_the_ct_that_loses_most_and_its_fellow_are_shown() -> None:
    one = of(invented())
    assert one.cts == ("neutral_end.L3", "line_end.L3")
    assert one.frame["ct_2_ideal_a"].sub(one.frame["ct_2_secondary_a"]).max() == pytest.approx(0.8)
    assert one.element == "earth"
    assert one.frame["operates_above_a"].eq(0.04).all()


def test_a_trip_comes_when_the_delay_is_over() -> None:
    assert of(invented()).trips_s == pytest.approx(0.03 + 0.05)
    none = invented(starts_s=np.full(3, np.nan), quantity_a=np.array([0.02, 0.02, 0.039]))
    assert np.isnan(of(none).trips_s)


def test_of_a_long_case_the_part_with_the_largest_value_is_shown() -> None:
    late = np.zeros((3, 60 * PER_CYCLE))
    late[2, 40 * PER_CYCLE :] = 0.06
    one = of(invented(cycles=60, difference_a=late))
    assert len(one.frame) == CYCLES * PER_CYCLE
    assert one.frame["measured_a"].iloc[0] == 0
    assert one.frame["measured_a"].iloc[-1] == 0.06
    assert len(of(invented(cycles=6)).frame) == 6 * PER_CYCLE


def test_currents_alike_at_both_ends_are_drawn_once() -> None:
    assert list(primary_lines(of(invented()).frame)) == [f"neutral_end.L{k}" for k in (1, 2, 3)]
    other = invented().primary_a.copy()
    other[5] *= 1.5
    places = list(primary_lines(of(invented(primary_a=other)).frame))
    assert places == [*(f"neutral_end.L{k}" for k in (1, 2, 3)), "line_end.L3"]


def test_cts_at_one_end_are_told_apart_by_their_phases() -> None:
    one = replace(of(invented()), cts=("second_line_end.L1", "second_line_end.L3"))
    with look():
        figure = cases_in_time([one])
    texts = [text.get_text() for text in figure.axes[1].get_legend().get_texts()]
    assert texts[:2] == ["second line end L1", "second line end L3"]
    assert_text_is_readable(figure)


def test_the_second_group_of_branches_is_dashed() -> None:
    unlike = invented().primary_a.copy()
    unlike[3:] *= 1.1
    one = of(invented(primary_a=unlike))
    names = {"neutral_end": "group_1", "line_end": "group_2"}
    columns = {
        name: name.replace(end, group)
        for name in one.frame
        for end, group in names.items()
        if name.startswith(end)
    }
    one = replace(one, frame=one.frame.rename(columns=columns), cts=("group_1.L3", "group_2.L3"))
    with look():
        figure = cases_in_time([one])
    texts = [text.get_text() for text in figure.axes[0].get_legend().get_texts()]
    assert texts == ["L1", "L2", "L3", "group 2"]
    styles = [line.get_linestyle() for line in figure.axes[0].get_lines()[:6]]
    assert styles[:3] == ["-"] * 3
    assert "-" not in styles[3:]
    assert_text_is_readable(figure)


def test_false_trips_come_before_what_stays_below() -> None:
    near, trip, missed = (
        invented(kind) for kind in ("near_false_trip", "false_trip", "strongest_missed")
    )
    named = [("n", near), ("t", trip), ("m", missed)]
    assert worst_of(named) == [("t", trip)]
    assert worst_of([named[0], named[2]]) == [("n", near)]
    assert missed_of(named) == [("m", missed)]
    assert worst_of([named[2]]) == missed_of(named[:2]) == []


def test_the_table_holds_every_case_to_six_digits() -> None:
    cases = [of(invented()), of(invented(cycles=6), "false_trip_2")]
    back = pd.read_csv(BytesIO(table_of(cases)))
    whole = pd.concat([one.frame for one in cases], ignore_index=True)
    pd.testing.assert_frame_equal(back, whole, rtol=1e-5, atol=1e-9)


@pytest.mark.parametrize(
    ("weight", "words"),
    [
        (1 / 3123.0, "drawn 3,100 times as often as it occurs"),
        (0.75, "drawn 1.3 times as often as it occurs"),
        (4.0, "drawn 0.25 times as often as it occurs"),
        (1e-9, "drawn 1,000,000,000 times as often as it occurs"),
    ],
)
def test_a_weighted_sample_says_how_likely_it_is(weight: float, words: str) -> None:
    assert how_often(weight) == words
    with look():
        figure = cases_in_time([of(invented(weight=weight))])
    assert words in " ".join(figure.axes[0].get_title(loc="left").split())


def test_trip_or_no_trip_is_marked() -> None:
    with look():
        trips = cases_in_time([of(invented())])
        silent = cases_in_time([of(invented("near_false_trip", starts_s=np.full(3, np.nan)))])
    assert trips.axes[0].get_title(loc="left").startswith("Trip after 0.08 s, a fault")
    assert silent.axes[0].get_title(loc="left").startswith("No trip, a fault")
    said = trips.axes[4].get_title(loc="right")
    assert said == "earth element holds 150 % of its pick-up for 0.05 s"
    marks = [len(figure.axes[4].patches) for figure in (trips, silent)]
    assert marks == [1, 0]


@pytest.mark.parametrize("count", [1, 2])
@pytest.mark.parametrize("of_which", ["", 'option "a resistor of 200 A": '])
@pytest.mark.parametrize("weight", [None, 1e-7])
def test_the_panels_can_be_read(count: int, of_which: str, weight: float | None) -> None:
    cases = [of(invented(weight=weight, cycles=6 + k)) for k in range(count)]
    with look():
        figure = cases_in_time(cases, of_which)
    assert_text_is_readable(figure)


def test_the_contacts_opening_is_marked_where_phase_elements_are_biased() -> None:
    study = study_with(
        {
            "scheme.kind": "biased",
            "scheme.watched_phases": REMOVE,
            "candidates.first_slope": [0.1],
            "candidates.earth_pickup_a": REMOVE,
            "candidates.stabilising_resistance_ohm": REMOVE,
        }
    )
    biased = Setting("biased", 0.1, None, 0.0, 0.05, 0.1)
    legs = invented().legs_a[:3]
    marked = shown(study, biased, "false_trip_1", invented(legs_a=legs))
    assert marked.cleared_s == 0.1
    assert np.isnan(of(invented()).cleared_s)
    late = shown(study, biased, "false_trip_1", invented(legs_a=legs, cleared_s=5.0))
    assert np.isnan(late.cleared_s)
    with look():
        figure = cases_in_time([marked])
        without = cases_in_time([late])
    for panel, other in zip(figure.axes, without.axes, strict=True):
        assert len(panel.lines) == len(other.lines) + 1
    texts = [text.get_text() for text in figure.axes[-1].get_legend().get_texts()]
    assert texts == ["operates above", "trip", "held for the delay", "contacts open"]
    assert_text_is_readable(figure)


def test_the_gate_is_a_bar_with_a_mark_where_it_starts() -> None:
    case = invented()
    on = np.tile((case.times_s > 0.01) & (case.times_s < 0.05), (3, 1))
    gated = replace(case, gate_on=on, gated=(2,))
    one, plain = of(gated), of(case)
    assert tells_gate(one)
    assert not tells_gate(plain)
    assert not tells_gate(of(replace(gated, gated=(0,))))  # of another leg
    assert [*one.frame.columns] == [*plain.frame.columns, "gate_on"]
    assert gate_starts(one) == pytest.approx([0.01], abs=2 / RATE_HZ)
    with look():
        figure = cases_in_time([one, plain])
    last = figure.axes[-1]
    words = [text.get_text() for text in last.get_legend().get_texts()]
    assert {"gate on", "gate starts"} <= {*words}
    measured = one.frame[["measured_a", "operates_above_a"]].to_numpy()
    assert figure.axes[-2].get_ylim()[1] * 0.9 > measured.max()  # the bar lies above all values
    assert_text_is_readable(figure)


def test_a_gate_that_is_on_all_the_time_leaves_the_panels_their_room() -> None:
    """As a release does on a fault clear of earth: it starts nowhere in what is shown."""
    case = invented()
    gated = of(replace(case, gate_on=np.ones((3, case.times_s.size), bool), gated=(2,)))
    with look():
        figure = cases_in_time([gated, gated])
        plain = cases_in_time([of(case), of(case)])
        for one in (figure, plain):
            one.canvas.draw()
    assert len(gate_starts(gated)) == 0
    words = [text.get_text() for text in figure.axes[-1].get_legend().get_texts()]
    assert "gate on" in words
    assert "gate starts" not in words
    for ax, other in zip(figure.axes, plain.axes, strict=True):
        assert ax.get_position().width == pytest.approx(other.get_position().width, rel=0.05)
        assert ax.get_position().height == pytest.approx(other.get_position().height, rel=0.05)
