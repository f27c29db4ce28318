"""Damage of earth faults, and failure on demand of what is tested now and then."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from montecarlo.formulas.damage import (
    FaultCurrents,
    damage,
    hybrid_damage,
    iron_volume_cm3,
    share_after_opening,
)
from montecarlo.formulas.dependability import HOURS_A_YEAR, pfd_1oo1, pfd_1oo2
from montecarlo.quantities import Array
from studies.verify.published.data import beside
from studies.verify.published.row import Published

COVERAGE = np.array([0.0, 0.6, 0.9])
COMMON = np.array([0.02, 0.1])


def rows() -> Iterator[Published]:
    """Damage, then failure on demand.

    Yields
    ------
    Published
    """
    fault = (400.0, 0.1, 400.0, 1.0)
    low, high = FaultCurrents(400.0, 400.0), FaultCurrents(10.0, 10.0)
    yield from beside(
        "damage",
        damage(*fault, 1.5),
        *(100 * share_after_opening(*fault, [1.0, 1.5, 2.0])),
        hybrid_damage(0.02, 0.08, 0.08, low, high, 1.0, 1.5),
        damage(10.0, 1.0, 10.0, 1.0, 1.5),
        1e-3 / iron_volume_cm3(1.0, 1.0),
    )
    single, double = zip(*map(_on_demand, (0.5e-7, 0.5e-6)), strict=True)
    yield from beside("on_demand", *np.ravel(single), *np.ravel(double))


def _on_demand(failures_per_h: float) -> tuple[Array, Array]:
    """Of one channel by `COVERAGE`, of two without coverage by `COMMON`; 1 year, 8 h."""
    rate = failures_per_h * HOURS_A_YEAR
    single = pfd_1oo1(rate * (1 - COVERAGE), rate * COVERAGE, 1.0, 8.0)
    return single, pfd_1oo2(rate, 0.0, 1.0, 8.0, common=COMMON, common_detected=COMMON / 2)
