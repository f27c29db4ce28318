"""Plain text for the terminal: tables and paragraphs that fit a hundred columns. Every line keeps
what it was broken from, so that a report can set the same sentences and tables anew (`blocks`)."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence
from dataclasses import replace
from itertools import groupby
from typing import TypeVar

from studies.report.page import Block, Items, Prose, Subhead, Table, printable, together

__all__ = ["WIDTH", "Line", "blocks", "heading", "outermost", "paragraph", "table"]

WIDTH = 100
Item = TypeVar("Item")


def outermost(values: tuple[Item, ...]) -> tuple[Item, ...]:
    """The first and the last, the finest and the coarsest of a grid."""
    return tuple(dict.fromkeys((values[0], values[-1]))) if values else ()


def heading(text: str) -> list[str]:
    return ["", text.upper()]


class Line(str):
    """A line of text, and the block that it belongs to; of a table, the row that it shows (None:
    the head)."""

    block: Prose | Items | Table
    row: int | None

    def __new__(cls, text: str, block: Prose | Items | Table, row: int | None = None) -> Line:
        line = super().__new__(cls, text)
        line.block, line.row = block, row
        return line


def paragraph(text: str, indent: str = "", hang: str | None = None) -> list[str]:
    """The text in lines of at most `WIDTH`, a number and its unit on the same one; `hang` begins
    the lines after the first, and makes the text one of a list."""
    lines = textwrap.wrap(
        together(printable(text)),
        WIDTH,
        initial_indent=indent,
        subsequent_indent=indent if hang is None else hang,
        break_on_hyphens=False,
    )
    block = Prose(text) if hang is None else Items((text,))
    return [Line(line.replace("\u00a0", " "), block) for line in lines]


def table(
    header: Sequence[str] | None, rows: Sequence[Sequence[str]], align: str, indent: str = "  "
) -> list[str]:
    """Columns under their heads; `align`: < or > a column. What is too wide in a last column of
    text is wrapped."""
    every = [tuple(map(_cell, row)) for row in (*([header] if header else []), *rows)]
    block = Table(tuple(header or ()), tuple(map(tuple, rows)), align)
    widths = [max(map(len, column)) for column in zip(*every, strict=True)]
    start = len(indent) + sum(widths[:-1]) + 2 * (len(widths) - 1)
    lines: list[str] = []
    for number, row in enumerate(every, -1 if header else 0):
        cells = [
            f"{cell:{side}{width}}" for cell, side, width in zip(row, align, widths, strict=True)
        ]
        first, *more = textwrap.wrap(row[-1], max(WIDTH - start, 20), break_on_hyphens=False) or [
            ""
        ]
        cells[-1] = cells[-1] if align[-1] == ">" else first
        texts = [(indent + "  ".join(cells)).rstrip()]
        texts += [" " * start + text for text in more if align[-1] == "<"]
        lines += [Line(text, block, None if number < 0 else number) for text in texts]
    return lines


def _cell(text: str) -> str:
    return str(printable(text)).replace("\n", " ").replace("\t", " ")


# --- set anew -----------------------------------------------------------------


def blocks(lines: Iterable[str]) -> list[Block]:
    """The paragraphs, lists and tables that the lines were made from. A bare line is the heading of
    a table that follows it, or a note to the one before, as is what begins with a star; else a
    paragraph."""
    found: list[Block] = []
    parts = [
        (key[0], list(part))
        for key, part in groupby(
            lines,
            lambda line: (
                getattr(line, "block", None),
                id(getattr(line, "block", None)),
                bool(line.strip()),
            ),
        )
    ]
    for place, (block, part) in enumerate(parts):
        after = parts[place + 1][0] if place + 1 < len(parts) else None
        if isinstance(block, Table):
            rows = dict.fromkeys(
                line.row for line in part if isinstance(line, Line) and line.row is not None
            )
            if rows:
                found.append(
                    Table(block.header, tuple(block.rows[row] for row in rows), block.align)
                )
            continue
        texts = (
            block.texts
            if isinstance(block, Items)
            else tuple(line.strip() for line in part if line.strip())
        )
        bare = block is None and not isinstance(after, Table)
        if texts and (bare or texts[0].startswith("* ")) and _noted(found, texts):
            continue
        if isinstance(block, Items) and found and isinstance(last := found[-1], Items):
            found[-1] = Items((*last.texts, *texts))
        elif block is not None:
            found.append(block)
        else:
            found += [Prose(text) if bare else Subhead(text.rstrip(":")) for text in texts]
    return found


def _noted(found: list[Block], texts: tuple[str, ...]) -> bool:
    """Whether the texts became a note to the table that stands last, lists after it aside."""
    at = next((at for at in reversed(range(len(found))) if not isinstance(found[at], Items)), None)
    if at is None or not isinstance(last := found[at], Table):
        return False
    found[at] = replace(last, note="; ".join(filter(None, (last.note, *texts))))
    return True
