"""Figures of earthing options: what is drawn is what the table says."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from matplotlib.collections import PathCollection
from matplotlib.colors import to_hex

from studies.earthing.figures import (
    damage_against_nobody,
    options_side_by_side,
    protection_against_energy,
)
from studies.report.look import FALSE, blank, look, pale, side_by_side
from tests.made.boxes import assert_text_is_readable, on_marks

if TYPE_CHECKING:
    import pandas as pd


def options(count: int = 3) -> pd.DataFrame:
    """Larger currents cover more and burn more; the last has no setting."""
    import pandas as pd

    rows: list[dict[str, Any]] = []
    for k in range(count):
        protected, joule = 0.9 * k / count, 10.0 ** (2 + k)
        rows.append(
            {
                "option": f"{10**k:g} A",
                "protected_median": protected,
                "protected_p05": protected / 2,
                "protected_p95": min(1.2 * protected, 1),
                "p_missed": 1 - protected,
                "p_missed_low": 0.9 * (1 - protected),
                "p_missed_high": 1.0,
                "p_false": 1e-4 * k,
                "p_false_low": 0.0,
                "p_false_high": 1e-3,
                "fault_energy_j_mean": joule,
                "fault_energy_j_mean_low": 0.8 * joule,
                "fault_energy_j_mean_high": 1.2 * joule,
                "fault_energy_j_p05": joule / 50,
                "fault_energy_j_p95": 4 * joule,
            }
        )
    none = dict.fromkeys(rows[0], math.nan) | {"option": "none"}
    return pd.DataFrame([*rows, none])


def test_a_mark_an_option_at_mean_energy_and_protected_part() -> None:
    table = options()
    with look():
        figure, ax = blank()
        protection_against_energy(table, ax)
    (found,) = [part for part in ax.collections if isinstance(part, PathCollection)]
    marks = np.asarray(found.get_offsets())
    want = [
        (row["fault_energy_j_mean"] / 1e3, 100 * row["protected_median"])
        for row in table.to_dict("records")[:3]
    ]
    assert marks == pytest.approx(np.array(want))
    assert on_marks(figure) == []
    assert_text_is_readable(figure)
    assert [text.get_text() for text in ax.texts] == ["1 A", "10 A", "100 A"]
    assert ax.get_xscale() == "log"
    low, high = ax.get_xlim()
    assert low <= table["fault_energy_j_p05"].min() / 1e3
    assert high >= table["fault_energy_j_p95"].max() / 1e3
    bars = [
        tuple(map(tuple, path.vertices)) for part in ax.collections for path in part.get_paths()
    ]
    # 5 to 95 % of the first
    assert any(np.allclose(bar, [(0.002, 0), (0.4, 0)]) for bar in bars)
    assert any(np.allclose(bar, [(0.08, 0), (0.12, 0)]) for bar in bars)  # limits of its mean


@pytest.mark.parametrize("protected", [0.0, 0.5, 1.0])
def test_labels_of_eight_options_of_one_height_lie_apart(protected: float) -> None:
    table = options(8)
    names = [f"{text}, an option of a name that is long" for text in table["option"]]
    table = table.assign(option=names, protected_median=[*[protected] * 8, math.nan])
    with look():
        figure, ax = blank()
        protection_against_energy(table, ax)
        other, axes = side_by_side(3, 110)
        options_side_by_side(table, axes, limit=2e-3)
    assert_text_is_readable(figure)
    assert on_marks(figure) == []
    assert_text_is_readable(other)
    colours = {text.get_color() for text in ax.texts}
    assert len(colours) == 8


def test_energies_of_solid_faults_alone_have_a_plain_axis() -> None:
    table = options()
    energies = [column for column in table if column.startswith("fault_energy")]
    table[energies] = np.where(table[energies].notna(), 0.0, math.nan)
    with look():
        figure, ax = blank()
        protection_against_energy(table, ax)
        other, axes = side_by_side(3, 60)
        options_side_by_side(table, axes)
        figure.canvas.draw()
        other.canvas.draw()
    assert ax.get_xscale() == axes[2].get_xscale() == "linear"


def test_rows_have_marks_and_limits_and_none_seen_is_pale() -> None:
    table = options()
    with look():
        figure, axes = side_by_side(3, 60)
        options_side_by_side(table, axes, limit=2e-3)
        figure.canvas.draw()
    assert [text.get_text() for text in axes[0].get_yticklabels()] == list(table["option"])
    (marks,) = [part for part in axes[1].collections if isinstance(part, PathCollection)]
    assert np.asarray(marks.get_offsets())[:3, 0] == pytest.approx([0, 0.01, 0.02])
    faces = marks.get_facecolors()
    assert [to_hex(face) for face in faces] == [pale(FALSE), FALSE, FALSE]
    assert_text_is_readable(figure)
    assert axes[1].get_xlim()[1] >= 0.2  # the policy's limit, in per cent
    assert axes[1].get_xlim()[0] < 0  # room for a mark at 0
    assert axes[0].get_ylim()[0] > axes[0].get_ylim()[1]  # the first option on top
    assert axes[2].get_xscale() == "log"


def decision(seconds: list[float], nobody: list[float], half: float = 0.1) -> pd.DataFrame:
    import pandas as pd

    rows = [
        {"option": f"{2**k:g} A, a resistor of a name that is long"}
        | {f"damage_mean_s{end}": by * s for end, by in ends(half)}
        | {f"p_nobody{end}": by * p for end, by in ends(0.1)}
        for k, (s, p) in enumerate(zip(seconds, nobody, strict=True))
    ]
    none = dict.fromkeys(rows[0], math.nan) | {"option": "none"}
    return pd.DataFrame([*rows, none])


def ends(half: float) -> tuple[tuple[str, float], ...]:
    return ("", 1.0), ("_low", 1 - half), ("_high", 1 + half)


@pytest.mark.parametrize(
    ("nobody", "scale"),
    [([0.4, 0.1, 0.02], "log"), ([0.06, 0.05, 0.04], "linear"), ([0.1, 0.01, 0.0], "linear")],
)
def test_a_mark_an_option_at_mean_damage_and_who_is_left_to_nobody(
    nobody: list[float], scale: str
) -> None:
    seconds = [3.0, 40.0, 700.0]
    with look():
        figure, ax = blank()
        damage_against_nobody(decision(seconds, nobody), ax, reference_a=10)
    (found,) = [part for part in ax.collections if isinstance(part, PathCollection)]
    want = [*zip(seconds, [100 * p for p in nobody], strict=True)]
    assert np.asarray(found.get_offsets()) == pytest.approx(np.array(want))
    assert (ax.get_xscale(), ax.get_yscale()) == ("log", scale)
    assert len(ax.texts) == 3
    assert on_marks(figure) == []
    assert_text_is_readable(figure)
    assert "seconds of 10 A" in ax.get_xlabel()
    bars = [
        tuple(map(tuple, path.vertices)) for part in ax.collections for path in part.get_paths()
    ]
    assert any(np.allclose(bar, [(2.7, want[0][1]), (3.3, want[0][1])]) for bar in bars)


def test_a_limit_that_is_not_above_0_reaches_the_edge() -> None:
    with look():
        figure, ax = blank()
        damage_against_nobody(decision([3.0, 40.0], [0.4, 0.1], half=1.5), ax, reference_a=10)
        figure.canvas.draw()
    low = ax.get_xlim()[0]
    starts = [path.vertices[0][0] for part in ax.collections for path in part.get_paths()]
    assert low > 0
    assert low in starts


def test_labels_of_eight_options_close_to_one_another_lie_apart() -> None:
    rows = decision([10 + k for k in range(8)], [0.05] * 8)
    with look():
        figure, ax = blank()
        damage_against_nobody(rows, ax, reference_a=10)
    assert_text_is_readable(figure)
    assert on_marks(figure) == []
