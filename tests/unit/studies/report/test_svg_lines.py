"""Lines of a text in an SVG are anchored where they are aligned, so that a reader's own font keeps
their edge."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from studies.report.look import blank, look, write_figure

TEXT = re.compile(r'<text style="([^"]*)" transform="translate\((\S+) (\S+)\)[^>]*>(long|a)')


@pytest.fixture(autouse=True)
def _look() -> Iterator[None]:
    with look():
        yield


def lines(folder: Path, align: str, angle: float) -> list[tuple[str, float, float]]:
    """Anchor and place of the lines of a text that stands at the middle of a figure."""
    figure, ax = blank()
    style = {"ha": "center", "va": "center", "multialignment": align, "rotation": angle}
    ax.text(0.5, 0.5, "long and longer\na", transform=figure.transFigure, **style)
    svg, _ = write_figure(figure, folder, "figure", "title")
    found = []
    for text, x, y, _ in TEXT.findall(svg.read_text("utf-8")):
        anchor = re.search(r"text-anchor: (\w+)", text)
        found.append((anchor[1] if anchor else "start", float(x), float(y)))
    assert len(found) == 2
    return found


@pytest.mark.parametrize("angle", [0.0, 90.0])
@pytest.mark.parametrize(
    ("align", "wanted"), [("left", "start"), ("center", "middle"), ("right", "end")]
)
def test_lines_are_anchored_where_they_meet(
    align: str, wanted: str, angle: float, tmp_path: Path
) -> None:
    found = lines(tmp_path, align, angle)
    assert [anchor for anchor, _, _ in found] == [wanted, wanted]
    along = [y if angle else x for _, x, y in found]
    assert along[0] == pytest.approx(along[1], abs=0.1)
    across = [x if angle else y for _, x, y in found]
    assert across[1] > across[0] + 5  # the second line stands below, or right of, the first


def test_the_middle_of_centred_lines_is_that_of_the_text(tmp_path: Path) -> None:
    (_, x, _), _ = lines(tmp_path, "center", 0.0)
    assert x == pytest.approx(160 / 25.4 * 72 / 2, abs=0.2)


def test_text_of_one_line_and_letters_that_are_escaped_stay(tmp_path: Path) -> None:
    figure, ax = blank()
    ax.set(xlabel="a < b & c\n<d>", ylabel="alone")
    svg, _ = write_figure(figure, tmp_path, "figure", "title")
    text = svg.read_text("utf-8")
    assert ">a &lt; b &amp; c</text>" in text
    assert ">&lt;d&gt;</text>" in text
    assert text.count(">alone</text>") == 1


def test_last_bits_of_a_place_change_no_name(tmp_path: Path) -> None:
    """matplotlib names clips and markers by a checksum of theirs."""
    pages = []
    for number, edge in enumerate((0.9, 0.9 * (1 + 1e-15))):
        figure, ax = blank()
        ax.set_position((0.1, 0.1, edge, 0.8))
        ax.plot([0, 1], [0, 1], marker="o")
        svg, _ = write_figure(figure, tmp_path, f"figure_{number}", "title")
        pages.append(svg.read_text("utf-8"))
    assert pages[0] == pages[1]
    names = re.findall(r'id="(shape_\d+)"', pages[0])
    assert len({*names}) == len(names) >= 2
    assert {*re.findall(r"#(\w+)", "".join(re.findall(r'(?:url\(|href=")(#\w+)', pages[0])))} <= {
        *names
    }
