"""The primary current that just operates an element, by phasors."""

from __future__ import annotations

import numpy as np

from montecarlo.relays.places import CHANNELS, PHASES, PLACES, STAR_LINK
from montecarlo.relays.schemes import Axis
from montecarlo.study.candidates import Lattice
from studies.nominal.desk import Desk

POINTS = 400  # currents that are tried


def operating_a(desk: Desk, lattice: Lattice, axis: Axis, setting_a: float, most_a: float) -> float:
    """Primary current that just operates the first element. [A]

    An earth fault fed from the neutral for the earth element, a fault between two phases for a
    phase element. Between groups of branches it is the current of the groups' difference, or that
    of the star link.

    Parameters
    ----------
    desk : Desk
    lattice : Lattice
    axis : str
        "phase" or "earth".
    setting_a : float
        Pick-up (A).
    most_a : float
        The largest that is tried (A).

    Returns
    -------
    float
        NaN above `most_a`.
    """
    scheme, kind = desk.scheme(lattice.scheme), lattice.scheme
    leg = scheme.elements[scheme.of(axis)[0]].leg
    first = scheme.places[int(np.flatnonzero(scheme.table[leg])[0])]
    turns = desk.turns_of(kind, axis)
    current = np.linspace(0.5 * turns * setting_a, most_a, POINTS)
    if desk.between_groups(kind, axis):
        primary = np.zeros((current.size, 9), complex)
        whole = 2 if PLACES[first] == STAR_LINK else 1
        primary[:, 6 + _phase(first)] = whole * current
    else:
        one = int(CHANNELS[first]) % 3
        primary = np.zeros((current.size, 6), complex)
        primary[:, one] = current
        if axis == "phase":
            primary[:, (one + 1) % 3] = -current
    compared = desk.compared_a(lattice, axis, primary)[:, 0]
    return float(np.interp(setting_a, np.maximum.accumulate(compared), current, right=np.nan))


def _phase(place: int) -> int:
    """Number of a CT's phase; the first where it is in none."""
    name = PLACES[place].rpartition(".")[2]
    return PHASES.index(name) if name in PHASES else 0
