"""The finder of texts that cannot be read finds them."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from studies.report.look import blank, look
from tests.made.boxes import assert_text_is_readable, cut, on_marks, overlaps


@pytest.fixture(autouse=True)
def _look() -> Iterator[None]:
    with look():
        yield


def test_a_plain_figure_has_no_fault() -> None:
    figure, ax = blank()
    ax.plot([0, 1], [0, 1], "o", label="a")
    ax.annotate("beside", (0.5, 0.2))
    ax.set(xlabel="x, A", ylabel="y, V", title="heading", xlim=(-0.1, 1.1))
    ax.legend(loc="upper left")
    assert_text_is_readable(figure)
    assert on_marks(figure) == []


def test_texts_on_each_other_are_found() -> None:
    figure, ax = blank()
    ax.text(0.5, 0.5, "one")
    ax.text(0.5, 0.51, "two")
    assert overlaps(figure) == [("one", "two")]
    with pytest.raises(AssertionError):
        assert_text_is_readable(figure)


def test_a_text_beyond_the_page_is_found() -> None:
    figure, ax = blank()
    ax.annotate("far to the right", (1.0, 0.5), annotation_clip=False).set_in_layout(False)
    assert cut(figure) == ["far to the right"]


def test_numbers_of_an_axis_that_meet_are_found() -> None:
    figure, ax = blank()
    ax.set_xticks([0.5, 0.505], ["0.500", "0.505"])
    assert overlaps(figure) == [("0.500", "0.505")]


def test_a_text_on_a_mark_is_found() -> None:
    figure, ax = blank()
    ax.plot([0.0, 0.5, 1.0], [0.0, 0.5, 1.0], "o")
    ax.text(0.5, 0.5, "upon", ha="center", va="center")
    ax.text(0.7, 0.2, "apart")
    assert on_marks(figure) == ["upon"]


def test_what_is_hidden_is_no_fault() -> None:
    figure, ax = blank()
    ax.text(0.5, 0.5, "seen")
    ax.text(0.5, 0.5, "hidden", visible=False)
    other = ax.inset_axes((0.4, 0.4, 0.2, 0.2))
    other.text(0.5, 0.5, "within")
    other.set_visible(False)
    assert overlaps(figure) == []
