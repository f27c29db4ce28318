"""A report as data: sections of paragraphs, lists, tables and pictures; and the page of HTML that
they become.

The page stands alone: no network, its one script allowed by its hash, every text escaped. What a
study file says is shown, never interpreted."""

from __future__ import annotations

import base64
import hashlib
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache
from textwrap import shorten
from typing import TYPE_CHECKING, Any, ClassVar

if TYPE_CHECKING:
    from jinja2 import Environment

__all__ = [
    "Block",
    "Fragment",
    "Items",
    "Page",
    "Picture",
    "Prose",
    "Section",
    "Subhead",
    "Table",
    "css_string",
    "printable",
    "render",
    "together",
]


@dataclass(frozen=True)
class Block:
    """A part of a section; `template` shows it."""

    template: ClassVar[str]


@dataclass(frozen=True)
class Prose(Block):
    text: str
    template: ClassVar[str] = "prose.html"


@dataclass(frozen=True)
class Items(Block):
    """A list, a text an item."""

    texts: tuple[str, ...]
    template: ClassVar[str] = "items.html"


@dataclass(frozen=True)
class Subhead(Block):
    text: str
    template: ClassVar[str] = "subhead.html"


@dataclass(frozen=True)
class Table(Block):
    """Cells as they are shown; `align`: < or > a column; `widths`: of the columns in per cent,
    where tables below each other shall have the same."""

    header: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    align: str
    caption: str = ""
    note: str = ""
    widths: tuple[int, ...] = ()
    template: ClassVar[str] = "table.html"


@dataclass(frozen=True)
class Picture(Block):
    """An SVG in the page itself, its texts still texts; `name` keeps its ids apart from those of
    others."""

    name: str
    svg: str
    title: str
    caption: str
    template: ClassVar[str] = "picture.html"

    @property
    def inline(self) -> str:
        """Without its prolog, ids made its own."""
        svg = self.svg[self.svg.index("<svg") :]
        svg = re.sub(r"<metadata>.*?</metadata>", "", svg, flags=re.DOTALL)
        own = f"{self.name}-"
        svg = re.sub(r'\bid="', f'id="{own}', svg)
        return re.sub(r'(url\(#|href="#)', rf"\g<1>{own}", svg)


@dataclass(frozen=True)
class Fragment(Block):
    """A part with a template and data of its own."""

    template: str  # type: ignore[misc]
    data: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Section:
    heading: str
    blocks: Sequence[Block]

    @property
    def anchor(self) -> str:
        return re.sub(r"[^a-z]+", "-", self.heading.lower()).strip("-")


@dataclass(frozen=True)
class Page:
    """A whole report; `filed`: lines of the head, what each is and what stands there; `signed`: who
    does what."""

    title: str
    subtitle: str
    filed: Mapping[str, str]
    signed: Mapping[str, str]
    sections: Sequence[Section]
    footer: str

    @property
    def running_foot(self) -> str:
        """On every printed page."""
        filed = " ".join(filter(None, [self.filed.get("Document"), self.filed.get("Revision")]))
        return " · ".join(filter(None, [filed, shorten(self.title, 70, placeholder=" ...")]))


def render(page: Page) -> str:
    """The page as HTML."""
    script = (
        _source("explorer.js")
        if any(
            block.template == "explorer.html"
            for section in page.sections
            for block in section.blocks
        )
        else ""
    )
    digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
    allowed = f"'sha256-{digest}'" if script else "'none'"
    policy = (
        "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none';"
        f" form-action 'none'; script-src {allowed}"
    )
    return (
        _environment()
        .get_template("report.html")
        .render(
            page=page,
            policy=policy,
            style=_source("report.css"),
            script=script,
            css_string=css_string,
        )
    )


def printable(value: Any) -> Any:
    """A text with what no page can show, or what would turn its direction, written out."""
    if not isinstance(value, str) or hasattr(value, "__html__"):
        return value
    return "".join(
        c if c.isprintable() or c in "\n\t\u00a0" else c.encode("unicode_escape").decode()
        for c in value
    )


_UNIT = re.compile(r"(?<=\d) (?=(?:%|A|V|s|mA|uF|ohm|pu|kV|MVA)(?![A-Za-z]))")


def together(text: str) -> str:
    """The text with every number on one line with its unit."""
    return _UNIT.sub("\u00a0", text)


def css_string(text: str) -> str:
    """The text as a string of CSS, whatever is in it."""
    return (
        '"'
        + "".join(
            c if c.isascii() and (c.isalnum() or c in " .,-") else f"\\{ord(c):x} "
            for c in printable(text)
        )
        + '"'
    )


@cache
def _environment() -> Environment:
    from jinja2 import Environment, PackageLoader, StrictUndefined

    found = Environment(
        loader=PackageLoader("studies.report"),
        autoescape=True,
        undefined=StrictUndefined,
        finalize=printable,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    found.filters["together"] = together
    return found


def _source(name: str) -> str:
    from importlib.resources import files

    return (files("studies.report") / "templates" / name).read_text(encoding="utf-8")
