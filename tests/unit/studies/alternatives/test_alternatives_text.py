"""What a comparison of alternatives says, from invented tables: no sentence beyond its interval."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.collections import PathCollection
from matplotlib.colors import to_hex

from montecarlo.estimates.verdicts import Verdict
from montecarlo.study.axes import OWN
from studies.alternatives.figures import PANELS, figures, height_mm, side_by_side_figure
from studies.alternatives.text import answer, further, gaps_table
from studies.report.look import look, pale, side_by_side
from tests.made.boxes import assert_text_is_readable
from tests.made.studies import study_with

SETTING = {
    "scheme": "two_phase_one_earth",
    "phase_pickup_a": 0.1,
    "earth_pickup_a": 0.05,
    "stabilising_resistance_ohm": 200.0,
    "delay_s": 0.0,
    "first_slope": np.nan,
    "second_slope": np.nan,
    "turning_point_a": np.nan,
    **dict.fromkeys(OWN, np.nan),
}
NONE = dict.fromkeys(SETTING, np.nan) | {"scheme": ""}


def row(name: str, missed: float = 0.2, false: float = 1e-3, **other: Any) -> dict[str, Any]:
    limits = {
        f"p_{what}{end}": value
        for what, p in (("missed", missed), ("false", false))
        for end, value in (("", p), ("_low", 0.9 * p), ("_high", 1.1 * p + 1e-4))
    }
    return {
        "alternative": name,
        **SETTING,
        **limits,
        "allowed": True,
        "p_false_bound": 2e-3,
    } | other


def gap(name: str, quantity: str, difference: float, half: float) -> dict[str, Any]:
    low, high = difference - half, difference + half
    return {
        "alternative": name,
        "minus": "as stated",
        "quantity": quantity,
        "difference": difference,
        "low": low,
        "high": high,
        "verdict": Verdict.ALIKE if low <= 0 <= high else Verdict.APART,
    }


def frames() -> tuple[pd.DataFrame, pd.DataFrame]:
    rows = [
        row("as stated"),
        row("larger resistor", 0.35, earth_pickup_a=0.1),
        row("new CTs", 0.201, 0.0),
        row("impossible", np.nan, np.nan, **(NONE | {"allowed": False})),
    ]
    gaps = [
        gap("larger resistor", "p_missed", 0.15, 0.01),
        gap("larger resistor", "p_false", 1e-5, 4e-5),
        gap("new CTs", "p_missed", 0.001, 0.004),
        gap("new CTs", "p_false", -0.001, 0.0003),
    ]
    return pd.DataFrame(rows), pd.DataFrame(gaps)


def said(table: pd.DataFrame, gaps: pd.DataFrame) -> list[str]:
    rows = table.to_dict("records")
    return [*answer(study_with(), rows, gaps), *further(rows, gaps)]


def test_what_is_concluded() -> None:
    assert said(*frames()) == [
        (
            "No alternative significantly reduces missed faults, 20 % (18 to 22 %) in the study as"
            " stated."
        ),
        'The best setting changes with "larger resistor" and stays the same with the others.',
        (
            "As stated: two phase elements and an earth element, phase 0.1 A, earth 0.05 A, 200"
            " ohm, no delay."
        ),
        (
            "Dependability: it leaves 20 % (18 to 22 %) of the faults in its scope uncleared:"
            " 0.00198 a year (0.00178 to 0.00218), one in 505 years."
        ),
        (
            "Security: it trips falsely on 0.1 % (0.09 to 0.12 %) of the external events: 0.0012 a"
            " year (0.0011 to 0.0014), one in 830 years."
        ),
        (
            "The policy allows false trips on 1 % of the external events; this setting keeps to 0.2"
            " % with 95 % confidence."
        ),
        'More missed faults: "larger resistor".',
        'No significant difference in missed faults: "new CTs".',
        'Fewer false trips: "new CTs".',
        'No significant difference in false trips: "larger resistor".',
        'No setting can be chosen with "impossible".',
    ]


def test_without_any_choice_no_figure_is_drawn() -> None:
    without = pd.DataFrame([row("as stated", np.nan, np.nan, **NONE)])
    compared: Any = SimpleNamespace(table=without, differences=frames()[1].iloc[:0], results={})
    assert figures(compared) == {}


def test_the_largest_gain_comes_first() -> None:
    table, gaps = frames()
    better = gaps.assign(difference=-gaps["difference"])
    assert said(table, better)[0] == (
        '"larger resistor" reduces missed faults most: from 20 % (18 to 22 %) as stated to 35 %'
        " (31.5 to 38.5 %)."
    )


def test_differences_stand_in_a_table() -> None:
    table, gaps = frames()
    (found,) = gaps_table(table.to_dict("records"), gaps, "")
    assert found.rows == (
        ("larger resistor", "+15 (+14 to +16)", "+0.001 (-0.003 to +0.005)"),
        ("new CTs", "+0.1 (-0.3 to +0.5)", "-0.1 (-0.13 to -0.07)"),
        ("impossible", "-", "-"),
    )
    assert [*gaps_table(table.to_dict("records"), gaps.iloc[:0], "")] == []


def test_what_cannot_be_compared_and_what_is_too_much_to_name() -> None:
    table, gaps = frames()
    nothing = pd.DataFrame(
        [row("as stated", np.nan, np.nan, **NONE), *table.to_dict("records")[1:]]
    )
    assert said(nothing, gaps.iloc[:0]) == [
        "No setting can be chosen for the study as stated, so nothing is compared with it.",
        "The policy allows false trips on 1 % of the external events.",
        'No setting can be chosen with "impossible".',
    ]
    lost = said(table.assign(allowed=False), gaps)
    assert lost[-1].startswith("On the random numbers that all share, the choice misses")
    many = pd.DataFrame([row("as stated"), *(row(f"v{k}", earth_pickup_a=0.2) for k in range(9))])
    some = [
        gap(f"v{k}", quantity, 0.01 * k, 0.005)
        for k in range(9)
        for quantity in ("p_missed", "p_false")
    ]
    found = said(many, pd.DataFrame(some))
    assert found[1] == 'The best setting changes with "v0", "v1", "v2", "v3" and 5 more.'
    assert 'More missed faults: "v8", "v7", "v6", "v5" and 4 more.' in found


def test_the_figure_has_a_mark_an_alternative_and_says_what_is_pale() -> None:
    table, gaps = frames()
    with look():
        figure, axes = side_by_side(2, height_mm(table))
        side_by_side_figure(table, gaps, axes, 2e-3)
    assert_text_is_readable(figure)
    labels = [label.get_text().split("\n")[0] for label in axes[0].get_yticklabels()]
    assert labels == list(table["alternative"])
    pale_rows = []
    for ax, (_, colour, *_) in zip(axes, PANELS, strict=True):
        (marks,) = [part for part in ax.collections if isinstance(part, PathCollection)]
        faces = [to_hex(face) for face in marks.get_facecolors()]
        rows = [int(y) for y in marks.get_offsets()[:, 1]]
        assert {*faces} == {colour.lower(), pale(colour)}
        pale_rows.append([row for row, face in zip(rows, faces, strict=True) if face != colour])
    assert pale_rows == [[2], [1]]
    words = [text.get_text() for ax in axes for text in ax.texts]
    assert "none seen" in words
    assert "policy's limit" in words


def test_ten_alternatives_of_long_names_can_be_read() -> None:
    names = [f"an alternative that somebody has named at length, no. {k}" for k in range(9)]
    table = pd.DataFrame([row("as stated"), *(row(name, false=0.0) for name in names)])
    with look():
        figure, axes = side_by_side(2, height_mm(table))
        side_by_side_figure(table, frames()[1], axes, 2e-3)
    assert_text_is_readable(figure)
