"""Windings as tables of coils: text of a file, and a fractional-slot winding by the star of
slots."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from montecarlo.plant.turns.layout import BELTS
from montecarlo.plant.turns.table import COLUMNS, PHASES, Coil


def table_text(coils: Iterable[Iterable[Any]]) -> str:
    """A CSV file of them."""
    return "\n".join([",".join(COLUMNS), *(",".join(map(str, coil)) for coil in coils)]) + "\n"


def fractional(slots: int = 54, pole_pairs: int = 4, pitch: int = 6) -> list[Coil]:
    """Every upper side goes to the belt of 60 degrees in which its slot's phasor lies; each half of
    the bore is a branch. Textbook (star of slots)."""
    found, count = [], [[0, 0], [0, 0], [0, 0]]
    for slot in range(slots):
        phase, direction = BELTS[6 * slot * pole_pairs // slots % 6]
        branch = 2 * slot // slots
        count[phase][branch] += 1
        lower = (slot + pitch) % slots + 1
        side = "upper" if direction > 0 else "lower"
        order = count[phase][branch]
        found.append(Coil(slot + 1, lower, PHASES[phase], branch + 1, order, side))
    return found
