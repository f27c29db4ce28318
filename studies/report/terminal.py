"""Blocks as lines of a terminal."""

from __future__ import annotations

import shutil
import sys
import textwrap
from collections.abc import Iterable, Sequence
from dataclasses import replace
from functools import partial

from studies.report.blocks import (
    Aside,
    Block,
    Caution,
    Heading,
    Items,
    Lead,
    Paragraph,
    Section,
    Table,
    rewritten,
)
from studies.report.letters import fitting, printable, together

WIDTH = 80  # columns, where nobody says
NARROWEST, WIDEST = 60, 110  # what is read with ease
LEAST = 20  # columns of the last cell of a row, however wide the others
INDENT = "  "
GAPS = ("  ", " ")  # between columns
TALL = (2, 3, 4)  # lines of a head, where one does not fit


def columns() -> int:
    """How wide a text is written: as the terminal or COLUMNS says, within reason."""
    return min(max(shutil.get_terminal_size((WIDTH, 24)).columns, NARROWEST), WIDEST)


def shown(blocks: Iterable[Block]) -> str:
    """The text as this terminal has it: its width, and signs of units if its letters have them."""
    spell = partial(fitting, encoding=getattr(sys.stdout, "encoding", None))
    return text_of([rewritten(block, spell) for block in blocks], columns())


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
    list of lines, none longer than `width` but for a word that is
    """
    written: list[str] = []
    before: Block | None = None
    for block in blocks:
        if isinstance(block, Aside):
            continue
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
        case Lead(texts):
            return [line for text in texts for line in _wrapped(text, width)]
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
    """Caption, rows and notes, one below the other. A table that is too wide puts the values of its
    column `group` above the rows, then has narrower gaps, then heads of several lines. At last it
    puts its last columns below each row."""
    inside = width - len(INDENT)
    below = _flat(_each_row(table, inside, GAPS[0]))
    if not _fits(below, inside):
        below = _narrower(table, inside)
    below += [line for note in table.notes for line in _wrapped(note, inside)]
    return [*_wrapped(table.caption, width), *_indented(below)]


def _narrower(table: Table, width: int) -> list[str]:
    """The first way in which it fits; the last one always does, but for a long cell."""
    if table.group is None:
        return _flat(_first_that_fits(table, width, GAPS[1:]))
    inside, narrow = width - len(INDENT), _without_column(table, table.group)
    return _under_names(table, _first_that_fits(narrow, inside, GAPS), width)


def _first_that_fits(table: Table, width: int, gaps: Sequence[str]) -> list[list[str]]:
    ways = [(gap, 1) for gap in gaps] + [(GAPS[1], lines) for lines in TALL]
    each = (_each_row(table, width, *way) for way in ways)
    return next((rows for rows in each if _fits(_flat(rows), width)), None) or _split(table, width)


def _fits(rows: Iterable[str], width: int) -> bool:
    return max(map(len, rows), default=0) <= width


def _each_row(table: Table, width: int, gap: str, tall: int = 1) -> list[list[str]]:
    """The lines of each row, the head's first: columns under their heads. What is too wide in a
    last column of text is wrapped. A head wider than its cells takes up to `tall` lines."""
    heads = _tall_head(table, tall) if table.header else [()]
    rows = [tuple(map(_shown, row)) for row in (*heads, *table.rows) if row]
    sizes = [max(map(len, column)) for column in zip(*rows, strict=True)]
    start = sum(sizes[:-1]) + len(gap) * (len(sizes) - 1)
    room = max(width - start, LEAST)
    each = [_row(row, sizes, table.align, start, room, gap) for row in rows]
    return [_flat(each[: len(heads)]), *each[len(heads) :]] if table.header else each


def _tall_head(table: Table, most: int) -> list[tuple[str, ...]]:
    """The heads in so many lines at most, as narrow as the cells and that allow; they end together
    above the cells."""
    lines: list[list[str]] = []
    for head, *cells in zip(table.header, *table.rows, strict=True):
        text = together(_shown(head))
        size = max(1, *map(len, (*map(_shown, cells), *text.split(" "))))
        ways = (_wrapped(text, width) or [""] for width in range(size, max(size, len(text)) + 1))
        lines.append(next(way for way in ways if len(way) <= most))
    tallest = max(map(len, lines))
    return [*zip(*([""] * (tallest - len(each)) + each for each in lines), strict=True)]


def _split(table: Table, width: int) -> list[list[str]]:
    """As many columns as there is room for; the others below each row, each with its head."""
    few = len(table.align) - 1
    while few > 1 and not _fits(_flat(_each_row(_first(table, few), width, GAPS[1])), width):
        few -= 1
    each = _each_row(_first(table, few), width, GAPS[1])
    heads = table.header[few:] or ("",) * (len(table.align) - few)
    rows = each[len(each) - len(table.rows) :]
    for written, row in zip(rows, table.rows, strict=True):
        pairs = zip(heads, map(_shown, row[few:]), strict=True)
        more = "; ".join(f"{head} {cell}".strip() for head, cell in pairs)
        written += _wrapped(more, width, INDENT * 2, INDENT * 2)
    return each


def _first(table: Table, few: int) -> Table:
    """Its first columns alone."""
    rows = tuple(row[:few] for row in table.rows)
    return replace(table, header=table.header[:few], rows=rows, align=table.align[:few])


def _row(
    row: Sequence[str], sizes: Sequence[int], align: str, start: int, room: int, gap: str
) -> list[str]:
    """`start`: where the last column begins, `room`: its columns."""
    cells = [f"{cell:{side}{size}}" for cell, side, size in zip(row, align, sizes, strict=True)]
    if align[-1] == ">":
        return [gap.join(cells).rstrip()]
    first, *more = textwrap.wrap(row[-1], room, break_on_hyphens=False) or [""]
    return [gap.join([*cells[:-1], first]).rstrip(), *(" " * start + text for text in more)]


def _without_column(table: Table, group: int) -> Table:
    return replace(
        table,
        header=_without(table.header, group),
        rows=tuple(_without(row, group) for row in table.rows),
        align="".join(_without(table.align, group)),
    )


def _under_names(table: Table, each: list[list[str]], width: int) -> list[str]:
    """The lines of each row under the value of the column `group` that it shares with others."""
    assert table.group is not None
    names = [_shown(row[table.group]) for row in table.rows]
    rows = each[len(each) - len(names) :]
    written = _indented(_flat(each[: len(each) - len(names)]))
    for name in dict.fromkeys(names):
        mine = [row for row, own in zip(rows, names, strict=True) if own == name]
        written += [*_wrapped(name, width), *_indented(_flat(mine))]
    return written


def _flat(rows: Iterable[list[str]]) -> list[str]:
    return [line for row in rows for line in row]


def _without(row: Sequence[str], group: int) -> tuple[str, ...]:
    return (*row[:group], *row[group + 1 :])
