"""One value in print beside ours."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["AGREES", "DIFFERS", "Published"]

AGREES, DIFFERS = "agrees", "DIFFERS"


@dataclass(frozen=True)
class Published:
    """`source`: the work, `place`: where in it; `tolerance`: what the printed digits, or the reading of them, leave
    open. `at_most`: the printed value is a limit, and ours may lie anywhere below it."""

    source: str
    place: str
    quantity: str
    unit: str
    printed: float
    ours: float
    tolerance: float
    at_most: bool = False

    @property
    def agrees(self) -> bool:
        return self.difference <= self.tolerance and (self.at_most or self.difference >= -self.tolerance)

    @property
    def difference(self) -> float:
        return self.ours - self.printed

    @property
    def cells(self) -> tuple[str, str, str, str, str]:
        """What a table shows: quantity, printed value with its unit, ours, difference, verdict."""
        unit = "" if self.unit == "-" else f" {self.unit}"
        limit = "at most " if self.at_most else ""
        none = abs(self.difference) <= 1e-9 * abs(self.printed)            # rounding
        return (self.quantity, f"{limit}{self.printed:.7g}{unit}", f"{self.ours:.6g}",
                "0" if none else f"{self.difference:+.2g}", AGREES if self.agrees else DIFFERS)
