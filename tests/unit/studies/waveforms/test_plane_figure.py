"""The bias plane as a picture: its words have the numbers, and text can be read."""

from __future__ import annotations

from dataclasses import replace
from typing import Any
from xml.etree import ElementTree

import numpy as np
import pandas as pd
import pytest

from montecarlo.secondary.restraint import GREATER_OF, SUM
from studies.protocol import Drawn
from studies.report.catalogue import figure_text
from studies.report.look import MISSED, look, said
from studies.waveforms.bias_plane import Characteristic, Plane
from studies.waveforms.plane_figure import path_in_plane, plane_of_event
from studies.waveforms.trajectory import Path, at_every_ms
from tests.made.boxes import assert_text_is_readable
from tests.unit.studies.waveforms.test_in_time import invented

SET_TO = Characteristic(4.0, 0.4, (GREATER_OF, 0.1, 0.8, 5.0, 0), 0.0, 2.0, (-0.03, 0.03), False)
EVENT = "a_fault_beyond_the_step_up_transformer"


def rows(side: str, kind: str, count: int, above: float, seed: int = 1) -> pd.DataFrame:
    rng = np.random.default_rng(seed)
    trips = np.arange(count) < round(above * count)
    internal = side == "internal"
    return pd.DataFrame(
        {
            "side": side,
            "type": kind,
            "installation": np.arange(count),
            "event": 0,
            "time_s": np.nan if internal else 0.05,
            "bias_a": 10 ** rng.normal(0.5, 0.3, count),
            "difference_a": 10 ** rng.normal(0.7 if internal else -0.5, 0.3, count),
            "above": trips,
            "after_clearing": pd.Series(
                [None] * count if internal else (np.arange(count) % 4 == 0).tolist(), dtype=object
            ),
        }
    )


def plane(count: int = 800, **changes: Any) -> Plane:
    parts = [
        rows("internal", "earth", 64, 0.25),
        rows("internal", "phase_phase", count, 1.0),
        rows("internal", "three_phase", count, 0.5),
        rows("external", EVENT, count, 0.4, 2),
    ]
    frame = pd.concat(parts, ignore_index=True)
    kinds = dict.fromkeys(frame["type"], count)
    none = dict.fromkeys(kinds, 0)
    shares = {"earth": 0.8, "phase_phase": 0.15, "three_phase": 0.05}
    return replace(Plane(frame, SET_TO, kinds, none, shares, ()), **changes)


def drawn(of: Plane, title: str = "") -> Any:
    with look():
        return plane_of_event(of, EVENT, title)


def test_the_words_have_the_numbers() -> None:
    words = said(
        drawn(plane(unresolved={"earth": 0, "phase_phase": 2, "three_phase": 0, EVENT: 1}))
    )
    assert words.startswith(
        "800 samples of the event: 40 % lie above the characteristic, 60 % below"
    )
    assert "after the contacts open in 25 % of all and 25 % of those above." in words
    # 0.15 of the faults with all above, 0.05 with half
    assert "87.5 % of the faults between phases and 25 % of the earth faults lie above it." in words
    assert "Rated current: 4 A secondary." in words
    assert "Left out: 3 samples without a result." in words


def test_less_frequent_events_and_a_delay_are_named() -> None:
    set_to = replace(SET_TO, delay_s=0.1, others=True)
    words = said(drawn(plane(characteristic=set_to, left_out=("a_motor", "another"))))
    assert "Less frequent events without such a figure: a motor and another." in words
    assert "must hold 0.1 s" in words
    assert "The phase elements alone are counted here." in words


def test_what_is_too_small_stands_on_the_edge_and_is_counted() -> None:
    tiny = plane()
    external = tiny.frame["side"].eq("external")
    tiny.frame.loc[tiny.frame.index[external][:7], "difference_a"] = 0.0
    assert "On the edge of the axes: 7 samples with less current." in said(drawn(tiny))


def test_a_screen_reader_hears_the_numbers() -> None:
    name = f"bias_plane_{EVENT}"
    figures = Drawn({name: lambda: plane_of_event(plane(), EVENT)})
    svg = ElementTree.fromstring(figures.printed(name, png=False).svg)
    titles = {part.text or "" for part in svg.iter() if part.tag.endswith("title")}
    (title,) = (text for text in titles if text.startswith(figure_text(name).title))
    assert "a fault beyond the step up transformer. 800 samples of the event: 40 %" in title


def test_few_samples_are_points() -> None:
    def points(count: int) -> int:
        from matplotlib.collections import PathCollection
        from matplotlib.colors import to_hex

        blue = [
            part
            for part in drawn(plane(count)).axes[0].collections
            if isinstance(part, PathCollection)
            and len(part.get_facecolor())
            and to_hex(part.get_facecolor()[0]) == MISSED
        ]
        return sum(len(np.asarray(part.get_offsets())) for part in blue)

    assert points(499) == 499
    assert points(500) == 0


def test_the_characteristic_is_that_of_the_setting() -> None:
    line = max(drawn(plane()).axes[0].lines, key=lambda one: one.get_linewidth())
    x, y = np.asarray(line.get_xdata(), float), np.asarray(line.get_ydata(), float)
    bias_a = 4.0 * x
    by_hand = np.where(bias_a < 5, 0.1 * bias_a, 0.5 + 0.8 * (bias_a - 5))
    assert 4.0 * y == pytest.approx(np.maximum(0.4, by_hand))


@pytest.mark.parametrize("single_fed", [None, 1.0, 2.0, 4.0])
@pytest.mark.parametrize("error", [(0.0, 0.0), (-0.03, 0.03)])
@pytest.mark.parametrize("form", [(SUM, 0.2, 0.2, 0.0, 0), SET_TO.form])
def test_text_can_be_read(single_fed: float | None, error: Any, form: Any) -> None:
    set_to = replace(SET_TO, single_fed=single_fed, error=error, form=form)
    figure = drawn(plane(characteristic=set_to), 'option "a resistor of 200 A": ')
    assert_text_is_readable(figure)


def path(**changes: Any) -> Path:
    case = invented(**changes)
    during = case.times_s > 0
    times = case.times_s[during]
    frame = pd.DataFrame(
        {
            "case": "false_trip_1",
            "element": "phase L3",
            "time_s": times,
            "bias_a": 5 + np.sin(50 * times),
            "difference_a": 0.3 + 20 * times,
            "operates_above_a": np.full(times.size, 1.0),
        }
    )
    return Path("false_trip_1", case, "phase L3", 0.04, SET_TO, frame)


@pytest.mark.parametrize("weight", [None, 1e-4])
@pytest.mark.parametrize("of", ["", 'option "a resistor of 200 A": '])
def test_the_path_can_be_read_and_says_its_numbers(weight: float | None, of: str) -> None:
    with look():
        figure = path_in_plane(path(weight=weight), of)
    assert_text_is_readable(figure)
    legend = [text.get_text() for text in figure.legends[0].get_texts()]
    assert {"start of the event", "contacts open", "trip"} <= set(legend)
    assert "The contacts open after 0.1 s." in said(figure)
    assert ("drawn 10,000 times" in said(figure)) == (weight is not None)


def test_what_does_not_happen_has_no_mark() -> None:
    one = replace(path(cleared_s=np.nan), trips_s=np.nan)
    with look():
        figure = path_in_plane(one)
    legend = {text.get_text() for text in figure.legends[0].get_texts()}
    assert not legend & {"contacts open", "trip"}
    assert figure.axes[0].get_title(loc="left").endswith("no trip")
    assert "contacts open" not in said(figure)


def test_a_dot_stands_at_every_millisecond() -> None:
    times = at_every_ms(path())["time_s"].to_numpy()
    assert times == pytest.approx(np.arange(times.size) / 1000, abs=1.01 / 4800)
    assert times.size == 1 + int(1000 * path().frame["time_s"].iloc[-1])


def test_another_element_s_trip_is_said() -> None:
    words = "Another element trips in this case."
    with look():
        figure = path_in_plane(replace(path(), trips_s=np.nan))
        near = path_in_plane(replace(path(kind="near_false_trip"), trips_s=np.nan))
    assert words in said(figure)
    assert words not in said(near)


def test_a_limit_line_out_of_sight_is_not_in_the_legend() -> None:
    with look():
        figure = path_in_plane(path())
    legend = [text.get_text() for text in figure.legends[0].get_texts()]
    assert "I_d = I_b" in legend
    far = path()
    far.frame["bias_a"] *= 1e4
    with look():
        figure = path_in_plane(far)
    legend = [text.get_text() for text in figure.legends[0].get_texts()]
    assert not [text for text in legend if "I_d =" in text]


def test_a_high_set_element_is_a_line_in_sight() -> None:
    high = replace(SET_TO, high_set_a=4000.0)
    figure = drawn(plane(characteristic=high))
    ax = figure.axes[0]
    level = high.high_set_a / high.rated_a
    assert any(np.allclose(line.get_ydata(), level) for line in ax.lines)
    assert ax.get_ylim()[1] > level
    words = [text.get_text() for text in figure.legends[0].get_texts()]
    assert any("high-set" in word for word in words)
    assert_text_is_readable(figure)
    without = drawn(plane())
    assert not any("high-set" in text.get_text() for text in without.legends[0].get_texts())
