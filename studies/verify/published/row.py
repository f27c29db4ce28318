"""One value of somebody else's beside ours, and how that value came to be known."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import Enum

AGREES, DIFFERS = "agrees", "DIFFERS"
KINDS = ("known", "values", "agree", "what that means")  # the head of a table of counts


class Kind(Enum):
    """How a value came to be known; its value is the word that tables show."""

    PRINT = "in print"
    SCRIPT = "script"
    QUOTED = "quoted"
    MEMORY = "from memory"
    DERIVED = "derived"

    @property
    def meaning(self) -> str:
        """What the word says of the source."""
        return _MEANINGS[self]


_MEANINGS = {
    Kind.PRINT: "read in the work itself, or in the pages of its own publisher",
    Kind.SCRIPT: (
        "given by a public script or program that computes the example with the same formula; the"
        " work itself was not read, so this checks arithmetic, not the formula"
    ),
    Kind.QUOTED: "read in another book or page that quotes the work",
    Kind.MEMORY: "value or formula from memory; the work was not at hand",
    Kind.DERIVED: "follows from a theorem or a definition; computed in this program",
}


@dataclass(frozen=True)
class Published:
    """`source`: the work, `place`: where in it, `given`: its value, `kind`: how that came to be
    known.

    `tolerance`: what its digits, or the reading of them, leave open. `at_most`: it is a limit, and
    ours may lie anywhere below it."""

    source: str
    place: str
    quantity: str
    unit: str
    given: float
    ours: float
    tolerance: float
    kind: Kind
    at_most: bool = False

    @property
    def agrees(self) -> bool:
        """Whether ours lies within what the source leaves open."""
        above, below = self.difference <= self.tolerance, self.difference >= -self.tolerance
        return bool(above and (self.at_most or below))

    @property
    def difference(self) -> float:
        """Ours less the value given."""
        return self.ours - self.given

    @property
    def cited(self) -> str:
        """The work and the kind of source, as a table shows them."""
        return f"{self.source} ({self.kind.value})"

    @property
    def cells(self) -> tuple[str, str, str, str, str]:
        """What a table shows: quantity, value given with its unit, ours, difference, verdict."""
        unit = "" if self.unit == "-" else f" {self.unit}"
        limit = "at most " if self.at_most else ""
        none = abs(self.difference) <= 1e-9 * abs(self.given)  # rounding
        return (
            self.quantity,
            f"{limit}{self.given:.7g}{unit}",
            f"{self.ours:.6g}",
            "0" if none else f"{self.difference:+.2g}",
            AGREES if self.agrees else DIFFERS,
        )


@dataclass(frozen=True)
class Count:
    """Values of one kind of source, and how many of them agree."""

    kind: Kind
    values: int
    agree: int

    @property
    def cells(self) -> tuple[str, str, str, str]:
        """What a table shows, under `KINDS`."""
        return (self.kind.value, f"{self.values}", f"{self.agree}", self.kind.meaning)


def counted(rows: Sequence[Published]) -> Iterator[Count]:
    """Every kind that occurs, the firmest first.

    Parameters
    ----------
    rows : sequence of Published

    Yields
    ------
    Count
    """
    for kind in Kind:
        if of_kind := [one for one in rows if one.kind is kind]:
            yield Count(kind, len(of_kind), sum(one.agrees for one in of_kind))
