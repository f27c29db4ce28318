"""The figure of the best setting at each limit on false trips."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from studies.report.look import blank, look
from studies.sweep.front import NOT_SHOWN, drawable, front
from tests.made.boxes import assert_text_is_readable

ENDS = (0.1, 1e-5)


def table(limits: list[float], missed: list[float], scheme: str = "per_phase") -> pd.DataFrame:
    p = np.array(missed)
    limit = np.array(limits)
    return pd.DataFrame(
        {
            "scheme": scheme,
            "p_false_limit": limit,
            "p_missed": p,
            "p_missed_low": p - 0.02,
            "p_missed_high": p + 0.02,
            "p_false": 0.3 * limit,
            "p_false_low": 0.0,
            "p_false_bound": 0.8 * limit,
        }
    )


FALLING = table([0.1, 0.046, 0.01, 1e-3], [0.1, 0.1, 0.2, 0.5])
TWO = pd.concat([FALLING, table([0.1, 0.01], [0.3, 0.4], "biased")], ignore_index=True)


@pytest.mark.parametrize("frame", [FALLING, TWO])
def test_texts_are_readable(frame: pd.DataFrame) -> None:
    with look():
        figure, ax = blank(85)
        front(frame, ax, ENDS, limit=0.01, limit_text="policy's limit, 1 %")
        assert_text_is_readable(figure)


def test_a_setting_serves_from_its_limit_to_the_next() -> None:
    with look():
        _, ax = blank(85)
        front(FALLING, ax, ENDS)
        (line,) = (one for one in ax.lines if one.get_drawstyle() == "steps-post")
    assert line.get_xdata().tolist() == pytest.approx([0.1, 1, 4.6, 10, 10])
    assert line.get_ydata().tolist() == pytest.approx([50, 20, 10, 10, 10])


def hatched(frame: pd.DataFrame) -> tuple[list[str], float]:
    """Texts of the axes, and up to where they are hatched (%)."""
    with look():
        _, ax = blank(85)
        front(frame, ax, ENDS)
    spans = [patch.get_extents().x1 for patch in ax.patches if patch.get_hatch()]
    end = ax.transData.inverted().transform((max(spans, default=0.0), 0))[0] if spans else 0.0
    return [text.get_text() for text in ax.texts], float(end)


def test_what_no_setting_is_shown_to_keep_to_is_hatched() -> None:
    texts, end = hatched(FALLING)
    assert NOT_SHOWN in texts
    assert end == pytest.approx(0.08, rel=0.01)  # the lowest bound
    texts, end = hatched(table([0.1, 1e-5], [0.1, 0.9]))
    assert NOT_SHOWN not in texts
    assert end == 0.0


def test_one_setting_for_all_limits_is_no_picture() -> None:
    assert drawable(FALLING)
    assert drawable(TWO)
    assert not drawable(table([0.1, 0.01], [0.3, 0.3]))
