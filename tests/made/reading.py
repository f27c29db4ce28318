"""Texts as a person reads them: sentences of a document, of a page and of a program's words."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterable, Iterator
from html.parser import HTMLParser

SHORT = ("no", "e.g", "i.e", "ch", "pp", "vs", "cf", "etc")  # a point that ends no sentence
END = re.compile("".join(rf"(?<!\b{one})" for one in SHORT) + r"(?<!\.)[.?!][\"')\]*]*\s+", re.I)
SILENT = {"script", "style", "head", "svg"}  # of a page: nothing that is read as a sentence
APART = {
    "address", "button", "caption", "dd", "div", "dt", "figcaption", "footer", "h1", "h2", "h3",
    "h4", "header", "label", "li", "option", "p", "section", "summary", "td", "text", "th", "title",
    "tr",
}  # fmt: skip


def sentences(paragraph: str) -> list[str]:
    """A paragraph's sentences; no. 68, e.g. and decimals end none."""
    return [part for part in END.split(" ".join(paragraph.split())) if part]


def words(sentence: str) -> int:
    """How many words and numbers are read."""
    return sum(bool(re.search(r"\w", part)) for part in sentence.split())


def paragraphs(document: str) -> Iterator[str]:
    """Of Markdown: paragraphs, items of lists, cells of tables and headings, without code."""
    text = re.sub(r"^ {4}.*$", "", document, flags=re.MULTILINE)  # code; no item is so deep
    text = re.sub(r"!?\[([^\]]*)\]\([^)]*\)", r"\1", text)
    for block in re.split(r"\n\s*\n|\n(?=- |\d+\. |#|\|)", text):
        if block.lstrip().startswith("|"):
            yield from (
                cell.strip() for cell in re.split(r"(?<!\\)\|", block) if cell.strip(" -\n")
            )
        elif block.strip():
            yield re.sub(r"^(?:- |\d+\. |#+ )", "", block.strip())


def without_code(paragraph: str) -> str:
    """Keys and names of files left out: what stands in backticks."""
    return re.sub(r"`[^`]*`", "x", paragraph)


class _Page(HTMLParser):
    def __init__(self, silent: Iterable[str]) -> None:
        super().__init__()
        self.silent = {*silent}
        self.parts: list[str] = [""]
        self.closed = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.closed += tag in self.silent
        if tag in APART or tag == "br":
            self.parts.append("")

    def handle_endtag(self, tag: str) -> None:
        self.closed -= tag in self.silent
        if tag in APART:
            self.parts.append("")

    def handle_data(self, data: str) -> None:
        if not self.closed:
            self.parts[-1] += data


def page_paragraphs(page: str, silent: Iterable[str] = SILENT) -> list[str]:
    """Of HTML: the texts of its elements."""
    reader = _Page(silent)
    reader.feed(page)
    return [text for part in reader.parts if (text := " ".join(part.split()))]


def literals(source: str) -> Iterator[tuple[int, str]]:
    """Strings of a program that hold words, docstrings left out: line and text; what an f-string
    puts in is x."""
    tree = ast.parse(source)
    skipped = {id(part) for node in ast.walk(tree) for part in _unread(node)}
    for node in ast.walk(tree):
        if id(node) in skipped:
            continue
        if isinstance(node, ast.JoinedStr):
            parts = [
                str(part.value) if isinstance(part, ast.Constant) else "x" for part in node.values
            ]
            yield node.lineno, "".join(parts)
        elif isinstance(node, ast.Constant) and isinstance(node.value, str):
            yield node.lineno, node.value


def _unread(node: ast.AST) -> Iterator[ast.AST]:
    """Docstrings, and the parts of f-strings, which are read as one."""
    if isinstance(node, ast.JoinedStr):
        yield from (part for part in ast.walk(node) if part is not node)
    if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
        yield node.value
