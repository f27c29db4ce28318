"""The command verify: published values worked out anew, and how many of each kind agree."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from studies.report.blocks import Block, Paragraph, Section, Table, items
from studies.report.streams import say
from studies.report.terminal import shown
from studies.report.words import plural
from studies.verify.published import DIFFERS, KINDS, SUBJECTS, Published, counted, published_values

HEADER = ("source", "where", "quantity", "value given", "here", "difference", "verdict")


def verify() -> int:
    """Print every subject as soon as it is worked out; 0 if all agree, else 1.

    Returns
    -------
    int
        Exit code.
    """
    opening: list[Block] = [
        Paragraph(
            "Published values beside those of this program. This takes half a minute, and one"
            " minute more if the solvers must be compiled first. A value agrees if the difference"
            " is within the printed digits or within what the source leaves open. Each source is"
            " followed by how its value is known. The last lines explain these words."
        )
    ]
    say(shown(opening))
    found: list[Published] = []
    for subject, rows in published_values(SUBJECTS):
        say(f"\n{shown([Section(subject, [of_subject(rows)])])}")
        found += rows
    say(f"\n{shown(closing(found))}")
    return 0 if all(one.agrees for one in found) else 1


def of_subject(rows: Sequence[Published]) -> Table:
    """A source stands once above its rows.

    Parameters
    ----------
    rows : sequence of Published

    Returns
    -------
    Table
    """
    cells = tuple((one.cited, one.place, *one.cells) for one in rows)
    return Table(HEADER, cells, "<<<>>><", group=0)


def closing(rows: Sequence[Published]) -> Iterator[Block]:
    """How many of each kind of source agree, and what the kinds mean; which do not, each by
    name.

    Parameters
    ----------
    rows : sequence of Published

    Yields
    ------
    Block
    """
    agree = sum(one.agrees for one in rows)
    yield Table(KINDS, tuple(one.cells for one in counted(rows)), "<>><")
    values = plural("value", len(rows))
    yield Paragraph(f"{len(rows)} {values}: {agree} agree, {len(rows) - agree} differ.")
    yield from items(
        f"{DIFFERS}: {one.source}, {one.place}: {one.quantity}" for one in rows if not one.agrees
    )
