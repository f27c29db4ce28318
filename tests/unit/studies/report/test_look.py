"""What the look of every figure rests on outside this project."""

from __future__ import annotations

import io
from pathlib import Path

import pytest

from studies.report.look import NO_LETTER, blank, look, write_figure

NO_FONT_HAS_IT = "\u4e00"


def test_matplotlib_still_says_so_of_a_letter_without_a_font(tmp_path: Path) -> None:
    with look():
        figure, ax = blank()
        ax.set_title(NO_FONT_HAS_IT)
        with pytest.warns(UserWarning, match=NO_LETTER):
            figure.savefig(io.BytesIO())
    write_figure(figure, tmp_path, "one", "A letter that no font has")


def test_other_warnings_are_told(tmp_path: Path) -> None:
    """A layout without room for its axes is no letter."""
    with look():
        figure, ax = blank(12.0)
        ax.set_title("\n".join(["a title"] * 20))
    with pytest.warns(UserWarning, match="constrained_layout"):
        write_figure(figure, tmp_path, "one", "No room")
