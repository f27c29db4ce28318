"""Curves of exceedance: how often an event drives an element beyond a pick-up."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from montecarlo.estimates.tally import Pickups
from montecarlo.quantities import Array
from montecarlo.relays.schemes import STAGES, Axis
from montecarlo.study.candidates import Lattice

GRID = 25  # pick-ups of a curve between its lowest and highest


@dataclass(frozen=True)
class Curve:
    """One critical pick-up of a circuit: of its phase elements, its earth element or its high-set
    elements, for one delay."""

    lattice: Lattice
    axis: Axis
    delay_s: float

    def of(self, pickups: Pickups) -> Array:
        """Its critical pick-up in each sample. [A]

        Parameters
        ----------
        pickups : Pickups
            Of its lattice.

        Returns
        -------
        (n,) array
        """
        held: Array = getattr(pickups, self.axis)
        return held[:, self.lattice.delays_of(self.axis).index(self.delay_s)]

    @property
    def thresholds(self) -> tuple[float, ...]:
        """The candidates' pick-ups. [A]"""
        return self.lattice.pickups_of(self.axis)

    @property
    def grid(self) -> tuple[float, ...]:
        """Pick-ups of the curve: the candidates' and, if there are several, points at
        equal ratios between them."""
        if len(self.thresholds) < 2:
            return self.thresholds
        low, high = min(self.thresholds), max(self.thresholds)
        between = np.geomspace(low, high, GRID)
        return tuple(sorted({*self.thresholds, *(float(f"{x:.4g}") for x in between)}))


def curves(lattices: Sequence[Lattice]) -> list[Curve]:
    """Every curve: lattice by lattice, elements by elements, delay by delay.

    Parameters
    ----------
    lattices : sequence of Lattice

    Returns
    -------
    list of Curve
    """
    return [
        Curve(lattice, axis, delay)
        for lattice in lattices
        for axis in STAGES
        if lattice.pickups_of(axis)
        for delay in lattice.delays_of(axis)
    ]
