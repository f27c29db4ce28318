"""The table of how a batch settles, drawn: both panels, the limit within reach, words that keep
apart."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import pytest

from montecarlo.engine.convergence import MOST_POINTS, shares_of
from montecarlo.sampling.design import Design
from studies.report.look import look, stacked
from studies.sweep.convergence import convergence
from tests.made.boxes import assert_text_is_readable

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

LIMIT = "policy's limit, at most 0.1 % of the external events"


@pytest.fixture(autouse=True)
def _look() -> Iterator[None]:
    with look():
        yield


def frame_of(false: float, points: int, low: float = 0.5) -> pd.DataFrame:
    """Bands that halve with every fourfold share."""
    import pandas as pd

    rows = []
    for k in range(points - 1, -1, -1):
        width = 2.0 ** (k / 2)
        rows.append(
            {
                "candidate": 7,
                "share": 0.5**k,
                "samples": 16384 >> k,
                "earth_fault_samples": 4096 >> k,
                "weighted_samples": 16384 >> k,
                "p_missed": 0.19,
                "p_missed_low": 0.19 - 0.001 * width,
                "p_missed_high": 0.19 + 0.001 * width,
                "p_false": false,
                "p_false_low": low * false / width,
                "p_false_high": (false or 1e-4) * (1 + 0.5 * width),
                "batch": 2,
            }
        )
    return pd.DataFrame(rows)


def drawn(frame: pd.DataFrame, limit: float | None = 1e-3) -> tuple[Figure, list[Axes]]:
    figure, axes = stacked(2, 110)
    convergence(
        frame,
        axes,
        heading="tried last, no. 7: phase 0.2 A, earth 0.05 A, 300 ohm, no delay",
        limit=limit,
        limit_text=LIMIT,
    )
    return figure, axes


@pytest.mark.parametrize("false", [0.0, 2e-5, 5e-4, 1e-3, 2e-2])
@pytest.mark.parametrize("points", [2, 5, MOST_POINTS])
@pytest.mark.parametrize("low", [0.0, 0.5])
def test_it_is_readable(false: float, points: int, low: float) -> None:
    assert_text_is_readable(drawn(frame_of(false, points, low))[0])


def test_the_line_holds_the_estimates_in_per_cent_and_ends_with_the_whole() -> None:
    frame = frame_of(5e-4, 5)
    _, axes = drawn(frame, None)
    for ax, name in zip(axes, ("p_missed", "p_false"), strict=True):
        x, y = ax.lines[0].get_data()
        assert list(x) == list(frame["share"])
        assert list(y) == pytest.approx(list(100 * frame[name]))
        assert "whole sample" in ax.texts[0].get_text()
    assert [text.get_text() for text in axes[1].get_xticklabels()] == [
        "1/16",
        "1/8",
        "1/4",
        "1/2",
        "whole",
    ]


@pytest.mark.parametrize(("false", "shown"), [(5e-4, True), (2e-5, False), (2e-2, True)])
def test_the_limit_is_drawn_unless_far_above_the_band(false: float, shown: bool) -> None:
    _, axes = drawn(frame_of(false, 5))
    assert (LIMIT in [text.get_text() for text in axes[1].texts]) == shown
    assert LIMIT not in [text.get_text() for text in axes[0].texts]


def test_none_seen_says_fewer_than() -> None:
    _, axes = drawn(frame_of(0.0, 3))
    assert axes[1].texts[-1].get_text() == "whole sample: none seen, fewer than 0.015 %"


def test_shares_are_halves_down_to_one_event_an_installation_or_four_batches() -> None:
    assert shares_of([Design(16, 16)], 0) == ()
    assert shares_of([Design(16, 16 * 40), Design(16, 64, net=True)], 0) == (0.25, 0.5)
    assert shares_of([Design(16, 16 * 64)], 4096) == (0.125, 0.25, 0.5)  # of 32 batches four
    assert len(shares_of([Design(16, 10**8)], 0)) == MOST_POINTS - 1
