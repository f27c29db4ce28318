"""The steps towards the place where a limit breaks."""

from __future__ import annotations

import math

import numpy as np
import pytest

from montecarlo.engine.radius import _Side
from montecarlo.engine.shifted import Used
from montecarlo.quantities import half_width
from montecarlo.study.shifts import Way, uncertain_inputs
from tests.made.studies import study_with

ITEM = uncertain_inputs(study_with())[0]


def steps(end: float, place: float) -> list[float]:
    """Distances that are solved where the limit is used little up to `place`, then broken by far: a
    step, on which a straight line closes in slowly."""
    side = _Side(ITEM, (), Way.HIGHER, end, end, good_log=math.log(0.5))
    side.break_at_end(Used(3.0, 3.0))
    found = []
    while side.open:
        found.append(side.next())
        used = 0.5 if found[-1] < place else 3.0
        side.take(found[-1], Used(used, used))
    assert side.good <= place <= side.bad
    return found


def test_last_bits_change_no_step() -> None:
    """The middle halves the gap, but for last bits: whether the next step is a middle too is no
    matter of these."""
    rng = np.random.default_rng(20270104)
    width = half_width(ITEM.distribution)
    for end in width * rng.uniform(3.0, 6.0, 200):
        place = end * rng.uniform(0.05, 0.9)
        for bits in (-1e-15, 1e-15):
            assert steps(end * (1 + bits), place) == pytest.approx(steps(end, place), rel=1e-12)
