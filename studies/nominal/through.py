"""What CTs carry of a current that passes the zone."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from montecarlo.plant.machine import PHASE_ROTATION
from montecarlo.quantities import Complex
from montecarlo.relays.places import OF_BRANCHES, carried, places_of
from studies.nominal.desk import Desk

THROUGH: Complex = np.tile(PHASE_ROTATION, 2)  # of three phases, per unit


def through_share(group: str) -> float:
    """What a CT carries of a three-phase current that passes the zone: 1 at the ends, half at a
    group of branches, nothing elsewhere.

    Parameters
    ----------
    group : str
        Table of [ct].

    Returns
    -------
    float
    """
    shares = np.abs(carried(THROUGH, tuple(places_of(group))))
    return float(shares.max().round(12))


def through_a(desk: Desk, groups: Sequence[str]) -> float:
    """The largest through fault as CTs of some tables of [ct] give it, RMS. [A]

    Parameters
    ----------
    desk : Desk
    groups : sequence of str

    Returns
    -------
    float
    """
    if groups[0] not in OF_BRANCHES:
        return desk.fault_a
    ratio = desk.study.ct.at(groups[0]).leg_ratio
    return through_share(groups[0]) * desk.through_fault().primary_a / ratio
