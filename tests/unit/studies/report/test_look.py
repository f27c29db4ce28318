"""What the look of every figure rests on outside this project."""

from __future__ import annotations

import io
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from studies.report.look import NO_LETTER, SLOW, _Without, blank, look, write_figure

ROOT = Path(__file__).parents[4]
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


def test_drawing_needs_no_densities_and_leaves_them_to_others() -> None:
    """In a process of its own, as this one may have them."""
    script = (
        "import sys; from studies.report.look import loaded; sns = loaded();"
        f"assert not {{*{SLOW!r}}} & {{*sys.modules}}; import scipy.stats;"
        "assert sns.kdeplot; assert not any(type(f).__name__ == '_Without' for f in sys.meta_path)"
    )
    subprocess.run([sys.executable, "-c", script], check=True, cwd=ROOT)


def test_only_the_thread_that_loads_goes_without() -> None:
    own = _Without(threading.get_ident())
    with pytest.raises(ModuleNotFoundError):
        own.find_spec(SLOW[0], None)
    assert own.find_spec("numpy", None) is None
    assert _Without(threading.get_ident() + 1).find_spec(SLOW[0], None) is None


def test_a_png_may_be_left_out(tmp_path: Path) -> None:
    with look():
        figure, _ = blank()
    svg, png = write_figure(figure, tmp_path, "one", "Nothing", png=False)
    assert svg.exists()
    assert not png.exists()
