"""The command verify: published values worked out anew, and how many of each kind agree."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from studies.report.streams import say
from studies.report.text import heading, paragraph, table
from studies.verify.published import KINDS, SUBJECTS, Published, counted, published_values

__all__ = ["HEADER", "closing", "lines_of", "verify"]

HEADER = ("where", "quantity", "value given", "here", "difference", "verdict")


def verify() -> int:
    """Print every subject as soon as it is worked out; 0 if all agree, else 1."""
    say(
        "\n".join(
            paragraph(
                "Published values beside those of this installation. It takes half a minute, and a"
                " minute more where the solvers have to be compiled first. A difference agrees if"
                " the digits given, or what the source leaves open, allow it. How each value came"
                " to be known stands behind its source; what the words mean stands at the end."
            )
        )
    )
    found: list[Published] = []
    for subject, rows in published_values(SUBJECTS):
        say("\n".join([*heading(subject), *lines_of(rows)]))
        found += rows
    say("\n".join(["", *closing(found)]))
    return 0 if all(one.agrees for one in found) else 1


def lines_of(rows: Sequence[Published]) -> Iterator[str]:
    """The table of a subject; a source stands once above its rows."""
    head, *lines = table(HEADER, [(one.place, *one.cells) for one in rows], "<<>>><", indent="    ")
    yield head
    source = None
    for one, line in zip(rows, lines, strict=True):
        if one.cited != source:
            source = one.cited
            yield f"  {source}"
        yield line


def closing(rows: Sequence[Published]) -> Iterator[str]:
    """How many of each kind of source agree, and what the kinds mean; which do not, each by
    name."""
    yield from table(KINDS, [one.cells for one in counted(rows)], "<>><")
    agree = sum(one.agrees for one in rows)
    yield ""
    yield f"{len(rows)} values: {agree} agree, {len(rows) - agree} differ."
    for one in rows:
        if not one.agrees:
            yield f"{one.cells[-1]}: {one.source}, {one.place}: {one.quantity}"
