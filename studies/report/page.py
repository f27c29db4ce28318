"""The page of HTML that a report becomes.

The page stands alone: no network, its one script allowed by its hash, every text escaped. What a
study file says is shown, never interpreted."""

from __future__ import annotations

import base64
import hashlib
import re
from collections.abc import Sequence
from dataclasses import replace
from functools import cache
from typing import TYPE_CHECKING

from studies.report.blocks import Block, Fragment, Page, Picture, Section, rewritten
from studies.report.letters import printable, together, with_symbols

if TYPE_CHECKING:
    from jinja2 import Environment

EXPLORER = "explorer.html"
WHOLE = "figure_1"  # id of all that a figure of matplotlib draws


def render(page: Page) -> str:
    """The page as HTML."""
    page = _with_signs(page)
    templates = {_template(block) for section in page.all_sections for block in section.blocks}
    script = _source("explorer.js") if EXPLORER in templates else ""
    digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
    allowed = f"'sha256-{digest}'" if script else "'none'"
    policy = (
        "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none';"
        f" form-action 'none'; script-src {allowed}"
    )
    return (
        _environment()
        .get_template("report.html")
        .render(page=page, policy=policy, style=_source("report.css"), script=script)
    )


def _with_signs(page: Page) -> Page:
    """With the signs of units in all that is read; what was typed or filed stays."""
    return replace(page, first=_written(page.first), sections=_written(page.sections))


def _written(sections: Sequence[Section]) -> list[Section]:
    return [
        replace(section, blocks=[rewritten(block, with_symbols) for block in section.blocks])
        for section in sections
    ]


def _template(block: Block) -> str:
    """The file that shows a block: table.html a Table."""
    return block.template if isinstance(block, Fragment) else f"{type(block).__name__.lower()}.html"


def inline(picture: Picture) -> str:
    """A figure's SVG within a page: without its prolog, ids made its own."""
    svg = picture.svg[picture.svg.index("<svg") :]
    svg = re.sub(r"<metadata>.*?</metadata>", "", svg, flags=re.DOTALL)
    own = f"{picture.name}-"
    svg = re.sub(r'\bid="', f'id="{own}', svg)
    return re.sub(r'(url\(#|href="#)', rf"\g<1>{own}", svg)


def again(picture: Picture) -> Picture:
    """The same picture once more: what it shows stands in the page already."""
    box = re.search(r'viewBox="([^"]*)"', picture.svg)
    shown = f'<svg viewBox="{box[1] if box else "0 0 1 1"}"><use href="#{WHOLE}"/></svg>'
    return replace(picture, svg=shown)


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
    found.filters |= {
        "together": together,
        "css_string": css_string,
        "inline": inline,
        "template": _template,
    }
    return found


def _source(name: str) -> str:
    from importlib.resources import files

    return (files("studies.report") / "templates" / name).read_text(encoding="utf-8")
