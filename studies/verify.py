"""The command verify: values in print worked out anew, a table a subject, and how many agree."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from montecarlo.report.published import SUBJECTS, Published, published_values
from studies.streams import say
from studies.text import heading, paragraph, table

__all__ = ["HEADER", "closing", "lines_of", "verify"]

HEADER = ("where", "quantity", "printed", "here", "difference", "verdict")


def verify() -> int:
    """Print every subject as soon as it is worked out; 0 if all agree, else 1."""
    say("\n".join(paragraph("Values in print beside those of this installation. It takes half a minute, and a minute "
                            "more where the solvers have to be compiled first. A difference agrees if the printed "
                            "digits, or what the source leaves open, allow it.")))
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
        if one.source != source:
            source = one.source
            yield f"  {source}"
        yield line


def closing(rows: Sequence[Published]) -> Iterator[str]:
    """How many agree and how well their sources are known; which do not, each by name."""
    agree, memory = sum(one.agrees for one in rows), sum("from memory" in one.source for one in rows)
    second = sum("companion" in one.source or "quoted" in one.source for one in rows)
    yield from paragraph(f"{len(rows)} values: {agree} agree, {len(rows) - agree} differ. {memory} rest on a source "
                         f"remembered and not read again, {second} on a page that quotes the source.")
    for one in rows:
        if not one.agrees:
            yield f"{one.cells[-1]}: {one.source}, {one.place}: {one.quantity}"
