"""Every place where the insulation between two conductors of the winding may fail.

Two coil sides share each slot; the ends of neighbouring coils lie side by side; the turns of a coil
lie upon each other. Each such place counts once, which says nothing about how often it fails;
`currents.TurnFaults.weights` has what its voltage makes of it.

A turn has four quarters, as the current runs: half of the first side, its other half, half of the
second side, its other half. A fault in a slot lies in the middle of both sides; one between ends
lies between the sides, away from the connections. Between coils it meets their middle turns."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from montecarlo.plant.turns.layout import Coils
from montecarlo.quantities import Array, Flags, Index

BETWEEN_PHASES, BETWEEN_BRANCHES, WITHIN_BRANCH, WITHIN_COIL = CLASSES = (
    "between_phases",
    "between_branches",
    "within_branch",
    "within_coil",
)
WITHIN_PHASE = (BETWEEN_BRANCHES, WITHIN_BRANCH, WITHIN_COIL)
SLOT, END_WINDING, COIL = PLACES = ("slot", "end_winding", "coil")


@dataclass(frozen=True, eq=False)
class Contacts:
    """Places of possible faults between two coils, or between turns of one; arrays (contacts,)."""

    coils: Coils
    turns: int  # of a coil
    place: Index  # of PLACES
    first: Index  # numbers of the two coils; the same one within a coil
    second: Index
    quarters: Index  # (contacts, 2): of the middle turn, before the fault; not within a coil
    count: Index  # of such places: within a coil one between each two of its turns

    @cached_property
    def kind(self) -> Index:
        """Number of CLASSES."""
        first, second = self.first, self.second
        same_phase = self.coils.phase[first] == self.coils.phase[second]
        same_branch = same_phase & (self.coils.branch[first] == self.coils.branch[second])
        found = np.where(same_phase, CLASSES.index(BETWEEN_BRANCHES), 0)
        found[same_branch] = CLASSES.index(WITHIN_BRANCH)
        found[first == second] = CLASSES.index(WITHIN_COIL)
        return found

    def of(self, name: str) -> Flags:
        """Those of one class.

        Parameters
        ----------
        name : str
            One of `CLASSES`.

        Returns
        -------
        (contacts,) array of bool
        """
        return np.asarray(self.kind == CLASSES.index(name))

    @cached_property
    def loops(self) -> Array:
        """How a fault's loop runs through each quarter of each coil, over the coil's turns:
        (contacts, coils, 4). From the neutral to one conductor and back from the other; one turn
        within a coil."""
        found = self._up_to(self.first, self.quarters[:, 0])
        found -= self._up_to(self.second, self.quarters[:, 1])
        (inside,) = np.nonzero(self.of(WITHIN_COIL))
        found[inside, self.first[inside]] = 1 / self.turns
        return found

    def _up_to(self, coil: Index, quarters: Index) -> Array:
        path = up_to(self.coils, self.coils.row[coil], self.coils.order[coil])
        entered = np.arange(4) < quarters[:, None]
        path[np.arange(coil.size), coil] = ((self.turns - 1) // 2 + entered) / self.turns
        return path

    @property
    def shorted(self) -> Array:
        """Share of a branch's turns that a fault within it shorts; nan between branches. [-]"""
        share = np.abs(self.loops.sum(axis=(1, 2))) / (4 * self.coils.in_series)
        inside = self.of(WITHIN_BRANCH) | self.of(WITHIN_COIL)
        return np.asarray(np.where(inside, share, np.nan))


def up_to(coils: Coils, row: Index, order: Index) -> Array:
    """Paths from the neutral through whole coils of a branch.

    Parameters
    ----------
    coils : Coils
    row, order : (k,) array of int
        Branch, and how many of its coils.

    Returns
    -------
    (k, coils, 4) array
        1 in the quarters of those coils.
    """
    before = (coils.row == row[:, None]) & (coils.order < order[:, None])
    return np.repeat(before[..., None], 4, axis=2).astype(float)


def contacts(coils: Coils, turns: int) -> Contacts:
    """All of a winding: slot by slot, then end-winding neighbours, then the coils of several turns.

    Parameters
    ----------
    coils : Coils
    turns : int
        Of a coil.

    Returns
    -------
    Contacts
    """
    at_upper, at_lower = np.argsort(coils.upper), np.argsort(coils.lower)
    inside = np.arange(at_upper.size if turns > 1 else 0)
    first = np.concatenate([at_upper, at_upper, inside])
    second = np.concatenate([at_lower, np.roll(at_upper, -1), inside])
    place = np.repeat(np.arange(3), [at_upper.size, at_upper.size, inside.size])
    slot = np.concatenate([coils.upper[at_upper]] * 2 + [coils.upper[inside]])
    in_slot = [np.where(coils.first[each] == slot, 1, 3) for each in (first, second)]
    quarters = np.where(place[:, None] == PLACES.index(SLOT), np.stack(in_slot, axis=1), 2)
    count = np.where(place == PLACES.index(COIL), turns - 1, 1)
    return Contacts(coils, turns, place, first, second, quarters, count)
