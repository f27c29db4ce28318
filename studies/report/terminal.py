"""Blocks as lines of a terminal."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence
from dataclasses import replace

from studies.report.blocks import Block, Caution, Heading, Items, Paragraph, Section, Table
from studies.report.letters import printable, together

WIDTH = 100  # columns
LEAST = 20  # columns of the last cell of a row, however wide the others
INDENT = "  "


def text_of(blocks: Iterable[Block], width: int = WIDTH) -> str:
    """The lines as one text."""
    return "\n".join(lines(blocks, width))


def lines(blocks: Iterable[Block], width: int = WIDTH) -> list[str]:
    """Blocks as plain text, for a person to read.

    Parameters
    ----------
    blocks : of every kind but pictures and fragments, which only a page shows
    width : columns

    Returns
    -------
    list of lines, none longer than `width` where the cells of a table allow it
    """
    written: list[str] = []
    before: Block | None = None
    for block in blocks:
        if before is not None and _apart(before, block):
            written.append("")
        written += _lines(block, width)
        before = block
    return written


def _apart(before: Block, block: Block) -> bool:
    """Whether a blank line stands between two blocks: not within a text or a list, nor between a
    table and what introduces it."""
    if isinstance(before, Heading):
        return False
    if isinstance(before, Paragraph) and isinstance(block, Table):
        return False
    return type(before) is not type(block) or not isinstance(block, Paragraph | Items)


def _lines(block: Block, width: int) -> list[str]:
    match block:
        case Paragraph(text):
            return _wrapped(text, width)
        case Caution(text):
            return _wrapped(f"Caution: {text}", width)
        case Items(texts):
            return [line for text in texts for line in _wrapped(text, width, "- ", INDENT)]
        case Heading(text):
            return _wrapped(text, width)
        case Table():
            return _table(block, width)
        case Section(heading, blocks):
            inner = lines(blocks, width - len(INDENT))
            return [_shown(heading).upper(), *_indented(inner)]
        case _:
            raise TypeError(f"{type(block).__name__}: has no lines")


def _wrapped(text: str, width: int, first: str = "", others: str = "") -> list[str]:
    """A number and its unit stay on one line."""
    whole = textwrap.wrap(
        together(printable(text)),
        width,
        initial_indent=first,
        subsequent_indent=others,
        break_on_hyphens=False,
    )
    return [line.replace("\u00a0", " ") for line in whole]


def _indented(inner: Iterable[str]) -> list[str]:
    return [(INDENT + line).rstrip() for line in inner]


def _shown(cell: str) -> str:
    return str(printable(cell)).replace("\n", " ").replace("\t", " ")


# --- tables -------------------------------------------------------------------


def _table(table: Table, width: int) -> list[str]:
    """Caption, rows and notes, one below the other."""
    inside = width - len(INDENT)
    below = _flat(_laid_out(table, inside))
    if table.group is not None and max(map(len, below)) > inside:
        below = _grouped(table, table.group, inside)
    below += [line for note in table.notes for line in _wrapped(note, inside)]
    return [*_wrapped(table.caption, width), *_indented(below)]


def _laid_out(table: Table, width: int) -> list[list[str]]:
    """The lines of each row, the head's first: columns under their heads. What is too wide in a
    last column of text is wrapped."""
    rows = [tuple(map(_shown, row)) for row in (table.header, *table.rows) if row]
    sizes = [max(map(len, column)) for column in zip(*rows, strict=True)]
    start = sum(sizes[:-1]) + 2 * (len(sizes) - 1)
    return [_row(row, sizes, table.align, start, max(width - start, LEAST)) for row in rows]


def _row(row: Sequence[str], sizes: Sequence[int], align: str, start: int, room: int) -> list[str]:
    """`start`: where the last column begins, `room`: its columns."""
    cells = [f"{cell:{side}{size}}" for cell, side, size in zip(row, align, sizes, strict=True)]
    if align[-1] == ">":
        return ["  ".join(cells).rstrip()]
    first, *more = textwrap.wrap(row[-1], room, break_on_hyphens=False) or [""]
    return ["  ".join([*cells[:-1], first]).rstrip(), *(" " * start + text for text in more)]


def _grouped(table: Table, group: int, width: int) -> list[str]:
    """Without the column `group`: its values stand above the rows that share them."""
    narrow = replace(
        table,
        header=_without(table.header, group),
        rows=tuple(_without(row, group) for row in table.rows),
        align="".join(_without(table.align, group)),
    )
    each = _laid_out(narrow, width - len(INDENT))
    written = _indented(each.pop(0)) if table.header else []
    names = [row[group] for row in table.rows]
    for name in dict.fromkeys(names):
        mine = [row for row, own in zip(each, names, strict=True) if own == name]
        written += [*_wrapped(name, width), *_indented(_flat(mine))]
    return written


def _flat(rows: Iterable[list[str]]) -> list[str]:
    return [line for row in rows for line in row]


def _without(row: Sequence[str], group: int) -> tuple[str, ...]:
    return (*row[:group], *row[group + 1 :])
