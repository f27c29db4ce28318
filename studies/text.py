"""Plain text for the terminal: tables and paragraphs that fit a hundred columns, and the line of caution."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Sequence
from typing import TypeVar

__all__ = ["CAUTION", "WIDTH", "heading", "outermost", "paragraph", "table"]

WIDTH = 100
Item = TypeVar("Item")

CAUTION = ("Caution: open CT secondaries are lethal; settings are reviewed by a licensed engineer under the local "
           "code; probabilities hold for the model and its stated inputs.")     # one line, never wrapped


def outermost(values: tuple[Item, ...]) -> tuple[Item, ...]:
    """The first and the last, the finest and the coarsest of a grid."""
    return tuple(dict.fromkeys((values[0], values[-1]))) if values else ()


def heading(text: str) -> list[str]:
    return ["", text.upper()]


_UNIT = re.compile(r"(?<=\d) (?=(?:%|A|V|s|mA|uF|ohm|pu|kV|MVA)(?![A-Za-z]))")


def paragraph(text: str, indent: str = "", hang: str | None = None) -> list[str]:
    """The text in lines of at most `WIDTH`, a number and its unit on the same one; `hang` begins the lines after
    the first."""
    lines = textwrap.wrap(_UNIT.sub("\u00a0", text), WIDTH, initial_indent=indent,
                          subsequent_indent=indent if hang is None else hang, break_on_hyphens=False)
    return [line.replace("\u00a0", " ") for line in lines]


def table(header: Sequence[str] | None, rows: Sequence[Sequence[str]], align: str, indent: str = "  ") -> list[str]:
    """Columns under their heads; `align`: < or > a column. What is too wide in a last column of text is wrapped."""
    every = [*([header] if header else []), *rows]
    widths = [max(map(len, column)) for column in zip(*every, strict=True)]
    start = len(indent) + sum(widths[:-1]) + 2 * (len(widths) - 1)
    lines: list[str] = []
    for row in every:
        cells = [f"{cell:{side}{width}}" for cell, side, width in zip(row, align, widths, strict=True)]
        first, *more = textwrap.wrap(row[-1], max(WIDTH - start, 20), break_on_hyphens=False) or [""]
        cells[-1] = cells[-1] if align[-1] == ">" else first
        lines.append((indent + "  ".join(cells)).rstrip())
        lines += [" " * start + text for text in more if align[-1] == "<"]
    return lines
