"""What a text is made of, as data: paragraphs, lists, tables and pictures in sections.

`terminal.py` writes them as lines, `page.py` as HTML. Nothing here knows a width or a tag, and
nothing reads a block's words to decide anything."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from textwrap import shorten
from typing import Any

READ = ("text", "texts", "header", "rows", "caption", "notes")  # fields that are texts


@dataclass(frozen=True)
class Block:
    """A part of a text."""


@dataclass(frozen=True)
class Lead(Block):
    """What is read first, a sentence each; the first one is the recommendation itself."""

    texts: tuple[str, ...]


@dataclass(frozen=True)
class Heading(Block):
    """Of what follows, within a section."""

    text: str


@dataclass(frozen=True)
class Paragraph(Block):
    """Sentences that belong together."""

    text: str


@dataclass(frozen=True)
class Caution(Block):
    """What a reader must not miss."""

    text: str


@dataclass(frozen=True)
class Items(Block):
    """A list, a text an item."""

    texts: tuple[str, ...]


@dataclass(frozen=True)
class Table(Block):
    """Cells as they are shown.

    Parameters
    ----------
    header : texts of the head; empty for a table without
    rows : texts
    align : str, < or > a column
    caption : what it shows
    notes : what stands below it
    widths : of the columns in per cent, where tables below each other shall have the same
    group : the column whose values may stand once above the rows that share them, where the
        table is too wide otherwise
    """

    header: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    align: str
    caption: str = ""
    notes: tuple[str, ...] = ()
    widths: tuple[int, ...] = ()
    group: int | None = None


@dataclass(frozen=True)
class Picture(Block):
    """A figure; `name` keeps its parts apart from those of others, `title` is what a screen reader
    says; `wide`: a narrow screen moves over it rather than shrink it."""

    name: str
    svg: str
    title: str
    caption: str
    wide: bool = False


@dataclass(frozen=True)
class Leading(Block):
    """The figures that carry the recommendation, small and side by side."""

    pictures: tuple[Picture, ...]


@dataclass(frozen=True)
class Fragment(Block):
    """A part of a page with a template and data of its own."""

    template: str
    data: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Section(Block):
    """Blocks under a heading."""

    heading: str
    blocks: Sequence[Block]

    @property
    def anchor(self) -> str:
        """Its name in an address."""
        return re.sub(r"[^a-z]+", "-", self.heading.lower()).strip("-")


@dataclass(frozen=True)
class Aside(Block):
    """Blocks that a page shows and a terminal has no room for."""

    blocks: tuple[Block, ...]


@dataclass(frozen=True)
class Page:
    """A whole report; `filed`: lines of the document block, what each is and what stands there;
    `signed`: who does what. `first` stands before the document block, `sections` after it."""

    title: str
    subtitle: str
    filed: Mapping[str, str]
    signed: Mapping[str, str]
    sections: Sequence[Section]
    footer: str
    first: Sequence[Section] = ()

    @property
    def all_sections(self) -> list[Section]:
        """In their order."""
        return [*self.first, *self.sections]

    @property
    def running_foot(self) -> str:
        """On every printed page."""
        filed = " ".join(filter(None, [self.filed.get("Document"), self.filed.get("Revision")]))
        return " · ".join(filter(None, [filed, shorten(self.title, 70, placeholder=" ...")]))


def paragraphs(*texts: str) -> list[Block]:
    """A paragraph a text; nothing for an empty one."""
    return [Paragraph(text) for text in texts if text]


def flat(blocks: Iterable[Block]) -> Iterator[Block]:
    """The blocks, those of sections in their place."""
    for block in blocks:
        if isinstance(block, Section | Aside):
            yield from flat(block.blocks)
        else:
            yield block


def rewritten(block: Block, write: Callable[[str], str]) -> Block:
    """The block with every text that is read written by `write`."""

    def each(value: Any) -> Any:
        if isinstance(value, str):
            return write(value)
        return value if value is None else tuple(map(each, value))

    match block:
        case Section(heading, blocks):
            return Section(write(heading), [rewritten(inner, write) for inner in blocks])
        case Aside(blocks):
            return Aside(tuple(rewritten(inner, write) for inner in blocks))
        case Leading(pictures):
            return Leading(tuple(_picture(one, write) for one in pictures))
        case Picture():
            return _picture(block, write)
    names = [field.name for field in fields(block) if field.name in READ]
    return replace(block, **{name: each(getattr(block, name)) for name in names})


def _picture(picture: Picture, write: Callable[[str], str]) -> Picture:
    return replace(picture, title=write(picture.title), caption=write(picture.caption))


def section(heading: str, *blocks: Block) -> list[Block]:
    """The blocks under a heading; nothing without any."""
    return [Section(heading, blocks)] if blocks else []


def items(texts: Iterable[str]) -> list[Block]:
    """One list of the texts; nothing where all are empty."""
    some = tuple(text for text in texts if text)
    return [Items(some)] if some else []
