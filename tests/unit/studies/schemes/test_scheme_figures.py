"""Figures of a comparison of schemes: what stands where, and text that can be read."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from studies.report.look import blank, look, side_by_side
from studies.schemes.figures import caught_matrix, missed_and_false
from studies.schemes.frames import ALL_TYPES
from tests.made import schemes
from tests.made.boxes import assert_text_is_readable


@pytest.fixture(autouse=True)
def _look() -> Iterator[None]:
    with look():
        yield


@pytest.mark.parametrize("count", [2, 5])
@pytest.mark.parametrize("backup", [False, True])
@pytest.mark.parametrize("without", [(), ("per_phase",)])
def test_schemes_side_by_side_can_be_read(
    count: int, backup: bool, without: tuple[str, ...]
) -> None:
    figure, axes = side_by_side(2, 35 + 17 * count)
    missed_and_false(
        schemes.schemes(count, without, backup), axes, limit=0.01, limit_text="policy's limit, 1 %"
    )
    assert_text_is_readable(figure)


def test_the_best_stands_above_and_what_has_no_setting_below() -> None:
    _, axes = side_by_side(2, 120)
    missed_and_false(schemes.schemes(5, ("biased",)), axes)
    rows = [
        text.get_text().split("\n")[0]
        for _, text in sorted(
            zip(axes[0].get_yticks(), axes[0].get_yticklabels(), strict=True),
            key=lambda row: -row[0],
        )
    ]
    assert rows[0].startswith("two phase elements")
    assert rows[1:] == [
        "second cores",
        "restricted earth fault",
        "one element per phase",
        "one biased element per phase",
    ]
    assert "no setting can be chosen" in axes[0].get_yticklabels()[-1].get_text()


def test_false_trips_that_were_not_seen_are_said_so() -> None:
    _, axes = side_by_side(2, 120)
    missed_and_false(schemes.schemes(2), axes)
    assert [text.get_text() for text in axes[1].texts] == ["0.13 %", "none seen, < 0.15 %"]


@pytest.mark.parametrize("count", [2, 5])
@pytest.mark.parametrize("hidden", [0.0, 0.0012])
def test_the_matrix_can_be_read_and_holds_every_pair_once(count: int, hidden: float) -> None:
    frame = schemes.caught(schemes.schemes(count), hidden)
    figure, ax = blank(30 + 15 * count)
    caught_matrix(frame[frame["type"] == ALL_TYPES], ax)
    assert_text_is_readable(figure)
    assert len(ax.texts) == 2 * count * (count - 1)
    assert all(label.get_text() for label in ax.get_xticklabels())
    above, below = ax.texts[:2]  # the limits stand under the share
    assert above.get_position()[1] < below.get_position()[1]


def test_a_pair_of_equal_schemes_is_a_row_of_zeros() -> None:
    frame = schemes.caught(schemes.schemes(2)).assign(p=0.0)
    _, ax = blank(60)
    caught_matrix(frame[frame["type"] == ALL_TYPES], ax)
    assert [text.get_text() for text in ax.texts[::2]] == ["0 %", "0 %"]
