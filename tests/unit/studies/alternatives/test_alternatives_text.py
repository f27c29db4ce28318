"""What a comparison of alternatives says, from invented tables: no sentence beyond its interval."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from matplotlib.collections import PathCollection
from matplotlib.colors import to_hex

from montecarlo.estimates.verdicts import Verdict
from studies.alternatives.figures import PANELS, height_mm, side_by_side_figure
from studies.alternatives.text import conclusion
from studies.report.look import look, pale, side_by_side
from tests.made.boxes import assert_text_is_readable

SETTING = {
    "scheme": "two_phase_one_earth",
    "phase_pickup_a": 0.1,
    "earth_pickup_a": 0.05,
    "stabilising_resistance_ohm": 200.0,
    "delay_s": 0.0,
    "first_slope": np.nan,
    "second_slope": np.nan,
    "turning_point_a": np.nan,
}
NONE = dict.fromkeys(SETTING, np.nan) | {"scheme": ""}


def row(name: str, missed: float = 0.2, false: float = 1e-3, **other: Any) -> dict[str, Any]:
    limits = {
        f"p_{what}{end}": value
        for what, p in (("missed", missed), ("false", false))
        for end, value in (("", p), ("_low", 0.9 * p), ("_high", 1.1 * p + 1e-4))
    }
    return {"alternative": name, **SETTING, **limits, "allowed": True} | other


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


def test_what_is_concluded() -> None:
    assert conclusion(*frames()) == [
        (
            "As stated, two phase elements, one earth element with phase 0.1 A, earth 0.05 A, 200"
            " ohm, no delay is best: it misses 20 % (18 to 22 %) of the internal faults within"
            " reach and trips falsely on 0.1 % (0.09 to 0.12 %) of the external events."
        ),
        'The choice moves under "larger resistor"; the others keep it.',
        (
            'Missed faults: more under "larger resistor" (+15, +14 to +16); not distinguishable'
            ' under "new CTs".'
        ),
        (
            'False trips: fewer under "new CTs" (-0.1, -0.13 to -0.07); not distinguishable under'
            ' "larger resistor".'
        ),
        'Under "impossible" no candidate can be chosen.',
        (
            "Each stands at its own best setting, on the same random numbers; differences are in"
            " percentage points, with 95 % limits that hold for all alternatives together."
        ),
    ]


def test_three_sentences_at_least_and_six_at_most_whatever_happened() -> None:
    table, gaps = frames()
    nothing = pd.DataFrame(
        [row("as stated", np.nan, np.nan, **NONE), *table.to_dict("records")[1:]]
    )
    said = conclusion(nothing, gaps.iloc[:0])
    assert said[0] == "As stated no candidate can be chosen, so that nothing is compared with it."
    assert len(said) == 3
    lost = table.assign(allowed=False)
    assert len(conclusion(lost, gaps)) == 6
    many = pd.DataFrame([row("as stated"), *(row(f"v{k}", earth_pickup_a=0.2) for k in range(9))])
    said = conclusion(
        many,
        pd.DataFrame(
            [
                gap(f"v{k}", quantity, 0.01 * k, 0.005)
                for k in range(9)
                for quantity in ("p_missed", "p_false")
            ]
        ),
    )
    assert said[1] == 'The choice moves under "v0", "v1", "v2", "v3" and 5 more; none keeps it.'
    assert '"v8" (+8, +7.5 to +8.5), ' in said[2]
    assert ' and 4 more; not distinguishable under "v0".' in said[2]


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
