"""What is mended in the SVG of a figure: names of its shapes, and texts of several lines, each line
anchored where the text is aligned.

The figure is laid out with the font that matplotlib brings along; a reader's program shows the text
in its own. A line that is anchored at its start then ends elsewhere, and a right edge is ragged."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from html import unescape
from typing import Any

GROUP = re.compile(r'<g id="text_\d+">(?:(?!</g>).)*</g>', re.DOTALL)
LINE = re.compile(
    r'<text style="(?P<style>[^"]*)" transform="translate\((?P<x>\S+) (?P<y>\S+)\)'
    r'(?: rotate\((?P<angle>\S+)\))?">(?P<text>[^<]*)</text>'
)
HASHED = re.compile(r'(?<=id=")\w*[0-9a-f]{10}(?=")')
REFERRED = re.compile(r"""(?<=["#])\w+(?=[")])""")
SIZE = re.compile(r"([\d.]+)px")
BOLD = re.compile(r"font(?:-weight)?: (?:bold|700)")
ANCHORS = {"start": 0.0, "middle": 0.5, "end": 1.0}  # and how much of a line stands before each
SLACK = 0.05  # points by which aligned lines may differ


@dataclass(frozen=True)
class _Line:
    """A line as it is written: where it starts, in which direction it runs, how long it is."""

    found: re.Match[str]
    x: float
    y: float
    angle: float  # radians
    width: float

    def along(self, anchor: str) -> float:
        """Where its anchor stands in the direction of the text."""
        start = self.x * math.cos(self.angle) + self.y * math.sin(self.angle)
        return start + ANCHORS[anchor] * self.width

    def anchored(self, anchor: str) -> str:
        """The line written from there."""
        ahead = ANCHORS[anchor] * self.width
        x, y = self.x + ahead * math.cos(self.angle), self.y + ahead * math.sin(self.angle)
        turned = f" rotate({self.found['angle']})" if self.found["angle"] else ""
        return (
            f'<text style="{self.found["style"]}; text-anchor: {anchor}"'
            f' transform="translate({x:.6f} {y:.6f}){turned}">{self.found["text"]}</text>'
        )


def numbered(svg: str) -> str:
    """The SVG of a figure whose clips and markers have numbers for names: theirs are checksums of
    places, down to the last bit."""
    names = {name: f"shape_{at}" for at, name in enumerate(dict.fromkeys(HASHED.findall(svg)), 1)}
    return REFERRED.sub(lambda found: names.get(found.group(), found.group()), svg)


def aligned(svg: str) -> str:
    """The SVG of a figure with every text of several lines anchored where its lines meet."""
    return GROUP.sub(lambda group: _group(group.group()), svg)


def _group(text: str) -> str:
    lines = [_line(found) for found in LINE.finditer(text)]
    anchor = _anchor(lines)
    if anchor == "start":
        return text
    written = iter(lines)
    return LINE.sub(lambda _: next(written).anchored(anchor), text)


def _anchor(lines: Sequence[_Line]) -> str:
    """Where the lines meet: at their start unless they meet elsewhere alone."""
    if len(lines) < 2 or any("text-anchor" in line.found["style"] for line in lines):
        return "start"
    spread = {}
    for anchor in ANCHORS:
        places = [line.along(anchor) for line in lines]
        spread[anchor] = max(places) - min(places)
    return next((anchor for anchor in ANCHORS if spread[anchor] < SLACK), "start")


def _line(found: re.Match[str]) -> _Line:
    angle = math.radians(float(found["angle"] or 0.0))
    width = _width(unescape(found["text"]), found["style"])
    return _Line(found, float(found["x"]), float(found["y"]), angle, width)


def _width(text: str, style: str) -> float:
    """Of a text in the font of the layout. [points]"""
    from matplotlib.font_manager import FontProperties
    from matplotlib.textpath import TextToPath

    size = SIZE.search(style)
    font: dict[str, Any] = {"size": float(size[1]) if size else 9.0}
    font["weight"] = "bold" if BOLD.search(style) else "normal"
    return float(TextToPath().get_text_width_height_descent(text, FontProperties(**font), False)[0])
