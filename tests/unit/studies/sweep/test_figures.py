"""Figures: what is drawn from which rows, text that neither overlaps nor leaves the page, files of
the same bytes."""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterator
from itertools import combinations
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from matplotlib.colors import to_rgb

from studies.report.labels import Label, packed, place_labels, put_labels, spread
from studies.report.look import SCHEMES, blank, ink, look, write_figure
from studies.report.marks import percent_ticks, scheme_styles
from studies.report.numbers import percent
from studies.report.words import scheme_name, setting_text
from studies.sweep import tradeoff as trade
from studies.sweep import unprotected_winding as unprotected
from studies.sweep.winding import Curve
from studies.sweep.winding import detection as draw_detection
from tests.made import results
from tests.made.boxes import assert_text_is_readable, on_marks

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure


@pytest.fixture(autouse=True)
def _look() -> Iterator[None]:
    with look():
        yield


def tradeoff(frame: pd.DataFrame, **options: Any) -> tuple[Figure, Axes]:
    figure, ax = blank()
    trade.tradeoff(frame, ax, **options)
    return figure, ax


def detection(frame: pd.DataFrame, labels: dict[str, tuple[int, str]]) -> tuple[Figure, Axes]:
    figure, ax = blank(90)
    looks = ("black", "-", "o"), ("grey", "--", "s"), ("blue", ":", "^"), ("green", "-.", "D")
    curves = [
        Curve(role, number, text, *style)
        for (role, (number, text)), style in zip(labels.items(), looks, strict=False)
    ]
    draw_detection(frame, curves, ax)
    return figure, ax


# --- the front and the unprotected part ---------------------------------------------


def table(**columns: Any) -> pd.DataFrame:
    import pandas as pd

    return pd.DataFrame(columns)


def test_front_is_what_nothing_beats() -> None:
    frame = table(
        p_missed=[0.5, 0.3, 0.3, 0.2, 0.1, 0.05],
        p_false=[0.0, 0.0, 0.01, 0.02, 0.03, 0.02],
        usable=[True, True, True, True, True, False],
    )
    assert trade.front(frame).tolist() == [False, True, False, True, True, False]


def test_of_equal_candidates_the_first_is_on_the_front() -> None:
    frame = table(p_missed=[0.4, 0.3, 0.3], p_false=[0.1, 0.1, 0.1], usable=[True, True, True])
    assert trade.front(frame).tolist() == [False, True, False]


def test_front_of_nothing_usable_is_empty() -> None:
    assert not trade.front(table(p_missed=[0.4], p_false=[0.1], usable=[False])).any()


def test_unprotected_winding_takes_the_best_under_every_limit() -> None:
    frame = table(
        scheme=["a", "a", "a", "a", "b", "b"],
        candidate=[1, 2, 3, 4, 5, 6],
        p_false_bound=[0.01, 0.02, 0.03, 0.001, 0.05, 0.001],
        protected_median=[0.5, 0.4, 0.8, 0.99, 0.6, 0.7],
        usable=[True, True, True, False, True, True],
    )
    out = unprotected.unprotected_winding_frame(frame)
    assert out.to_dict("list") == {
        "scheme": ["a", "a", "a", "b", "b"],
        "p_false_limit": [0.01, 0.03, 0.05, 0.001, 0.05],
        "unprotected": pytest.approx([0.5, 0.2, 0.2, 0.3, 0.3]),
        "candidate": [1, 3, 3, 6, 6],
    }


def test_unprotected_winding_of_nothing_is_an_empty_table() -> None:
    frame = table(
        scheme=["a"], candidate=[1], p_false_bound=[0.1], protected_median=[np.nan], usable=[True]
    )
    assert unprotected.unprotected_winding_frame(frame).empty


# --- what is drawn ------------------------------------------------------------


@pytest.mark.parametrize(
    "frame",
    [
        results.chosen_and_existing(results.candidates(), 8, 30),
        results.chosen_and_existing(results.candidates(kinds=("per_phase",)), 1, 1),
        results.candidates(earths=(0.01, 0.012)),
        results.candidates().assign(p_false=0.0, p_false_low=0.0),
        results.chosen_and_existing(results.candidates().query("p_false > 0"), 2),
        results.candidates().assign(usable=False),
        results.candidates().assign(p_missed=1.0, p_missed_low=1.0, p_missed_high=1.0),
        results.candidates().assign(p_missed=0.0, p_missed_low=0.0, p_missed_high=0.0),
        results.candidates().head(1).assign(p_false=1.0, p_false_low=0.99, p_false_high=1.0),
        results.candidates(ohms=(0, 100, 200, 300, 500, 700, 1000, 1500, 2000)),
    ],
    ids=[
        "usual",
        "chosen is existing",
        "no choice",
        "no false trips",
        "all trip",
        "none usable",
        "all missed",
        "none missed",
        "one candidate",
        "many resistances",
    ],
)
@pytest.mark.parametrize(
    "limit", [0.05, *(pytest.param(limit, marks=pytest.mark.slow) for limit in (None, 1e-3))]
)
def test_tradeoff_is_readable(frame: pd.DataFrame, limit: float | None) -> None:
    figure, _ = tradeoff(frame, limit=limit)
    assert_text_is_readable(figure)


def test_none_seen_has_a_column_of_its_own() -> None:
    frame = results.candidates()
    _, ax = tradeoff(frame)
    assert "none\nseen" in [label.get_text() for label in ax.get_xticklabels()]
    _, ax = tradeoff(frame.query("p_false > 0"))
    assert "none\nseen" not in [label.get_text() for label in ax.get_xticklabels()]


def test_only_front_chosen_and_existing_have_intervals() -> None:
    from matplotlib.collections import LineCollection

    frame = results.chosen_and_existing(results.candidates(), 5, 31)
    _, ax = tradeoff(frame)
    marked = trade.front(frame) | frame["chosen"] | frame["existing"]
    drawn = [c for c in ax.collections if isinstance(c, LineCollection)]
    assert [len(bars.get_segments()) for bars in drawn] == [marked.sum()] * 2


def test_axes_have_units_and_the_limit_is_named() -> None:
    _, ax = tradeoff(results.candidates(), limit=0.01, limit_text="policy's limit, 1 %")
    assert "% of the external events" in ax.get_xlabel()
    assert "of those in scope" in ax.get_ylabel()
    assert "policy's limit, 1 %" in [text.get_text() for text in ax.texts]


@pytest.mark.parametrize(
    "ends", [(0.2, 0.2, 0.85), (0.1, 0.3, 0.5, 0.7), (1.5, 1.5), (0.9,), (-1.0, 0.5)]
)
def test_detection_is_readable(ends: tuple[float, ...]) -> None:
    roles = ("chosen", "runner-up", "existing", "nearest to the limit")[: len(ends)]
    numbers = tuple(range(1, len(ends) + 1))
    text = "phase 0.05 A, earth 0.02 A, 2000 ohm, 0.1 s"
    figure, ax = detection(
        results.protected_winding(numbers, ends),
        dict(zip(roles, ((n, text) for n in numbers), strict=True)),
    )
    assert_text_is_readable(figure)
    beside = figure.legends[0].get_texts() if figure.legends else ax.texts
    assert len(beside) == len(ends)


def test_detection_takes_the_candidates_asked_for() -> None:
    frame = results.protected_winding((4, 9), (0.2, 0.6))
    _, ax = detection(frame, {"chosen": (9, "x")})
    rows = frame[frame["candidate"] == 9]
    np.testing.assert_allclose(ax.lines[0].get_xydata(), 100 * rows[["x", "p_detected"]].to_numpy())


def test_unprotected_winding_is_readable_and_says_its_value_at_the_limit() -> None:
    frame = unprotected.unprotected_winding_frame(results.candidates())
    figure, ax = blank(85)
    unprotected.unprotected_winding(frame, ax, limit=0.01, limit_text="policy's limit, 1 %")
    assert_text_is_readable(figure)
    best = frame[(frame["scheme"] == "two_phase_one_earth") & (frame["p_false_limit"] <= 0.01)][
        "unprotected"
    ].min()
    assert f"{percent(best)} at the limit" in ax.texts[-2].get_text() + ax.texts[-1].get_text()


@pytest.mark.parametrize("limit", [0.9, 1e-6])
def test_a_limit_far_from_every_candidate_stays_in_the_unprotected_winding(limit: float) -> None:
    figure, ax = blank(85)
    unprotected.unprotected_winding(
        unprotected.unprotected_winding_frame(results.candidates()),
        ax,
        limit=limit,
        limit_text="policy's limit",
    )
    assert ax.get_xlim()[0] < 100 * limit < ax.get_xlim()[1]
    figure.draw_without_rendering()  # warned that its axes had collapsed


def test_a_unprotected_winding_within_one_decade_of_limits_has_ticks_too() -> None:
    frame = table(
        scheme=["a", "a", "b", "b"],
        candidate=[1, 2, 3, 4],
        p_false_bound=[0.22, 0.55, 0.23, 0.6],
        protected_median=[0.5, 0.6, 0.4, 0.5],
        usable=[True] * 4,
    )
    figure, ax = blank(85)
    unprotected.unprotected_winding(
        unprotected.unprotected_winding_frame(frame),
        ax,
        limit=0.5,
        limit_text="policy's limit, 50 %",
    )
    figure.draw_without_rendering()
    low, high = ax.get_xlim()
    inside = [
        text.get_text()
        for text, at in zip(ax.get_xticklabels(), ax.get_xticks(), strict=True)
        if low <= at <= high
    ]
    assert len(inside) >= 2
    assert all(inside)


@pytest.mark.parametrize("start", [1e-7, 1e-6, 1e-3, 1.0])
def test_numbers_of_many_decades_do_not_meet(start: float) -> None:
    figure, ax = blank(110)
    ax.set_xscale("log")
    ax.set_xlim(start, 130)
    percent_ticks(ax, start)
    figure.draw_without_rendering()
    boxes = [text.get_window_extent() for text in ax.get_xticklabels() if text.get_text()]
    assert len(boxes) >= 3
    assert all(one.x1 < other.x0 for one, other in itertools.pairwise(boxes))


# --- labels -------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(8))
def test_labels_lie_apart_and_inside(seed: int) -> None:
    rng = np.random.default_rng(seed)
    x = np.linspace(0, 100, 201)
    curves = [
        np.column_stack([x, 100 / (1 + np.exp(-(x - middle) / width))])
        for middle, width in zip(rng.uniform(5, 95, 4), rng.uniform(1, 20, 4), strict=True)
    ]
    places = place_labels(curves, np.empty((0, 2)), [(30.0, 8.0)] * 4)
    for place in places:
        assert 0 <= place.left <= 70
        assert 0 <= place.low <= 92
    for one, other in combinations(places, 2):
        assert abs(one.left - other.left) >= 30 or abs(one.low - other.low) >= 8


def test_a_label_touches_no_curve_where_there_is_room() -> None:
    x = np.linspace(0, 100, 201)
    curves = [np.column_stack([x, np.clip(10 * (x - start), 0, 100)]) for start in (10, 50)]
    for place in place_labels(curves, np.empty((0, 2)), [(25.0, 8.0)] * 2):
        for x, y in np.concatenate(curves):
            within = place.left <= x <= place.left + 25 and place.low <= y <= place.low + 8
            assert not within


def test_a_label_goes_round_what_is_drawn_and_is_led_to_what_it_names() -> None:
    crowd = np.array([[x, y] for x in range(40, 61) for y in range(40, 61)], float)
    (place,) = place_labels([np.array([[50.0, 50.0]])], crowd, [(10.0, 4.0)])
    assert place.led
    assert place.line[1] == (50.0, 50.0)
    right, high = place.left + 10, place.low + 4
    assert right <= 40 or place.left >= 60 or high <= 40 or place.low >= 60


def test_labels_of_marks_lie_on_no_mark_and_carry_their_colour() -> None:
    rng = np.random.default_rng(3)
    figure, ax = blank()
    at = rng.uniform(0, 1, (60, 2))
    ax.scatter(*at.T)
    labels = [Label(f"mark {k}", SCHEMES[k], at[k]) for k in range(5)]
    texts = put_labels(ax, labels)
    assert_text_is_readable(figure)
    assert on_marks(figure) == []
    assert [text.get_color() for text in texts] == [ink(label.colour) for label in labels]


def test_ink_can_be_read_and_dark_colours_stay() -> None:
    assert ink("#332288") == "#332288"
    assert ink("#56b4e9") != "#56b4e9"
    assert sum(to_rgb(ink("#56b4e9"))) < sum(to_rgb("#56b4e9"))


# --- files --------------------------------------------------------------------


def test_files_are_the_same_twice_and_text_stays_text(tmp_path: Path) -> None:
    frame = results.chosen_and_existing(results.candidates(), 8, 30)
    written = []
    for name in ("one", "two"):
        folder = tmp_path / name
        folder.mkdir()
        figure, _ = tradeoff(frame, limit=0.01)
        svg, png = write_figure(figure, folder, "tradeoff", "Missed against false")
        written.append((svg.read_bytes(), png.read_bytes()))
    assert written[0] == written[1]
    svg_text = written[0][0].decode()
    assert re.search(r"<text[^>]*>chosen</text>", svg_text)
    assert "<title>Missed against false</title>" in svg_text
    assert "dc:date" not in svg_text


def test_units_have_their_signs(tmp_path: Path) -> None:
    figure, ax = blank()
    ax.set_xlabel("phase 0.1 A, 200 ohm")
    ax.text(0.5, 0.5, "3 uF at 30 deg")
    ax.set_yticks([0.2, 0.4], ["as stated\n2000 ohm", "other"])
    svg, _ = write_figure(figure, tmp_path, "signs", "signs")
    written = svg.read_text(encoding="utf-8")
    assert "phase 0.1 A, 200 Ω" in written
    assert "3 µF at 30°" in written
    assert "2000 Ω" in written
    assert "ohm" not in written


def test_thousands_of_candidates_stay_a_small_file(tmp_path: Path) -> None:
    frame = results.candidates(earths=tuple(np.round(np.linspace(0.02, 0.5, 700), 5)))
    assert len(frame) > trade.MOST_VECTORS
    figure, _ = tradeoff(frame)
    svg, _ = write_figure(figure, tmp_path, "tradeoff", "many")
    assert svg.stat().st_size < 700_000


def test_the_look_leaves_no_trace() -> None:
    import matplotlib as mpl
    from matplotlib._pylab_helpers import Gcf

    before = mpl.rcParams["svg.fonttype"], mpl.rcParams["font.size"]
    with look():
        tradeoff(results.candidates())
    assert (mpl.rcParams["svg.fonttype"], mpl.rcParams["font.size"]) == before
    assert not Gcf.figs


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (0.0, "0 %"),
        (1.0, "100 %"),
        (0.1678, "17 %"),
        (0.00022, "0.022 %"),
        (1.23e-6, "0.00012 %"),
        (3e-7, "3e-5 %"),
        (0.9999, "100 %"),
        (0.004, "0.4 %"),
        (0.05, "5 %"),
    ],
)
def test_percent(value: float, text: str) -> None:
    assert percent(value) == text


def test_percent_takes_more_digits() -> None:
    assert percent(0.16781, 3) == "16.8 %"


def test_a_setting_in_words() -> None:
    row = {
        "phase_pickup_a": 0.1,
        "earth_pickup_a": 0.02,
        "stabilising_resistance_ohm": 300.0,
        "delay_s": 0.1,
        "first_slope": np.nan,
        "second_slope": np.nan,
        "turning_point_a": np.nan,
    }
    assert setting_text(row) == "phase 0.1 A, earth 0.02 A, 300 ohm, 0.1 s"
    assert (
        setting_text(row | {"earth_pickup_a": np.nan, "delay_s": 0.0})
        == "phase 0.1 A, 300 ohm, no delay"
    )
    assert setting_text(row | {"phase_pickup_a": np.nan}) == "earth 0.02 A, 300 ohm, 0.1 s"
    biased = row | {
        "earth_pickup_a": np.nan,
        "stabilising_resistance_ohm": np.nan,
        "first_slope": 0.1,
    }
    assert setting_text(biased) == "phase 0.1 A, slope 0.1, 0.1 s"
    assert (
        setting_text(biased | {"second_slope": 0.5, "turning_point_a": 1.5})
        == "phase 0.1 A, slope 0.1 (0.5 above 1.5 A), 0.1 s"
    )


def test_schemes_in_words() -> None:
    assert scheme_name("biased") == "one biased element per phase"
    assert scheme_name("second_cores") == "second cores"


# --- many schemes -------------------------------------------------------------


def five_schemes() -> pd.DataFrame:
    frame = results.candidates(kinds=results.FIVE)
    none = frame["scheme"] == "biased"
    return frame.assign(stabilising_resistance_ohm=frame["stabilising_resistance_ohm"].where(~none))


def test_five_schemes_stay_readable() -> None:
    frame = results.chosen_and_existing(five_schemes(), 5, 20)
    figure, ax = tradeoff(frame, limit=0.01, limit_text="policy's limit, 1 %")
    assert_text_is_readable(figure)
    words = [text.get_text() for text in figure.legends[0].get_texts()]
    assert "none in the scheme" in words
    assert "restricted earth fault" in words
    (drawn,) = [part for part in ax.collections if part.get_zorder() == 2]
    assert len(drawn.get_offsets()) == frame["usable"].sum()
    figure, ax = blank(85)
    unprotected.unprotected_winding(unprotected.unprotected_winding_frame(frame), ax, limit=0.01)
    assert_text_is_readable(figure)


def test_many_schemes_are_told_apart() -> None:
    frame = results.candidates(kinds=tuple(f"own_{k}" for k in range(2 * len(SCHEMES))))
    styles = scheme_styles(frame["scheme"]).values()
    assert len({style.colour for style in styles}) == 2 * len(SCHEMES)
    # and there is a mark for each
    unprotected.unprotected_winding(unprotected.unprotected_winding_frame(frame), blank()[1])


def test_labels_are_moved_no_farther_than_they_must() -> None:
    assert spread([1.0, 5.0, 9.0], [2.0, 2.0, 2.0]) == [1.0, 5.0, 9.0]
    assert spread([4.0, 4.0], [2.0, 4.0]) == [2.5, 5.5]
    assert spread([0.0, 4.0, 4.0, 4.0], [1.0, 2.0, 2.0, 2.0]) == [0.0, 2.0, 4.0, 6.0]
    assert spread([4.0, 9.0], [2.0, 2.0], top=6.0) == [3.0, 5.0]
    assert spread([-4.0, 0.0], [2.0, 2.0], 0.0, 6.0) == [1.0, 3.0]


def test_a_unprotected_winding_within_one_decade_has_a_tick() -> None:
    frame = results.candidates().assign(p_false_bound=lambda f: 0.07 + 0.0001 * f["candidate"])
    figure, ax = blank(85)
    unprotected.unprotected_winding(unprotected.unprotected_winding_frame(frame), ax)
    assert_text_is_readable(figure)
    assert any(tick.get_text() for tick in ax.get_xticklabels())


def test_long_labels_are_broken_after_commas() -> None:
    assert (
        packed("phase 0.05 A, earth 0.02 A, 100 ohm, 0.1 s")
        == "phase 0.05 A, earth 0.02 A, 100 ohm, 0.1 s"
    )
    assert (
        packed("phase 0.2 A, slope 0.1 (0.5 above 1.5 A), no delay")
        == "phase 0.2 A, slope 0.1 (0.5 above 1.5 A),\nno delay"
    )
