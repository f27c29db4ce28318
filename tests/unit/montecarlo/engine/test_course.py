"""The course of an earth fault with hybrid earthing: by hand, by quadrature of the current in
pieces, and what the resistor's branch has of it."""

from __future__ import annotations

import itertools
from typing import Any

import numpy as np
import pytest
from scipy.integrate import quad

from montecarlo.engine import primary
from montecarlo.engine.block import Block
from montecarlo.engine.course import Course
from montecarlo.errors import StudyError
from montecarlo.plant.internal import EarthFault
from montecarlo.quantities import Array
from tests.made.studies import study_with
from tests.unit.montecarlo.plant.test_fault_energy import BARE, PHASE_V, sampled

HYBRID: dict[str, Any] = {
    "earthing.resistance_ohm": PHASE_V / 390,
    "earthing.high_resistance_ohm": PHASE_V / 10,
    "earthing.switch_time_s": 0.08,
    "fault_energy.field_decay_time_constant_s": 1.0,
    "internal_faults.earth_fault_resistance_ohm": 0.0,
}

NOT_HYBRID = {
    **{key: value for key, value in HYBRID.items() if "high" not in key and "switch" not in key},
    "earthing.resistance_ohm": PHASE_V / 400,
}


def in_fault(fault: EarthFault) -> Array:
    return np.abs(fault.fault_current_a)


def course_of(changes: dict[str, Any]) -> tuple[Block, Course]:
    block, _ = sampled(HYBRID | changes)
    return block, Course.of(block, np.ones((len(block), 1)))


def test_a_hybrid_earthed_fault_at_the_terminals_by_hand() -> None:
    """400 A for 0.1 s, then 10 A that decays with 1 s: 821 A^1.5 s (derived); 6,133 if the
    resistor stays."""
    _, course = course_of({})
    emf = course.block.samples["machine.voltage_factor"][:, None, None]
    trip = np.full((len(course.block), 1, 1), 0.02)
    whole, after = course.integral(in_fault, trip, 1.5)
    assert whole / emf**1.5 == pytest.approx(821.08, rel=2e-3)
    assert after / emf**1.5 == pytest.approx(10**1.5 / 1.5, rel=2e-3)
    block, _ = sampled(NOT_HYBRID)
    course = Course.of(block, np.ones((len(block), 1)))
    whole, after = course.integral(in_fault, trip, 1.5)
    assert whole / emf**1.5 == pytest.approx(6133.3, rel=2e-3)
    assert after / whole == pytest.approx(0.8696, rel=1e-3)


@pytest.mark.parametrize("switch_s", [0.03, 0.3])
def test_pieces_against_quadrature(switch_s: float) -> None:
    block, course = course_of({"earthing.switch_time_s": switch_s})
    assert course.closed_high is not None
    assert course.opened_high is not None
    low, low_after, high, high_after = (
        float(in_fault(one)[0, 0])
        for one in (course.closed, course.opened, course.closed_high, course.opened_high)
    )
    breaker, trip, k = 0.08, 0.2, 1.3

    def current(t: float) -> float:
        """RMS, t from inception."""
        switched, alone = t > trip + switch_s, t > trip + breaker
        if not alone:
            return high if switched else low
        return (high_after if switched else low_after) * float(np.exp(-(t - trip - breaker)))

    ends = [0, trip, trip + min(breaker, switch_s), trip + max(breaker, switch_s), 1, 3, 40]
    pieces = [
        quad(lambda t: current(t) ** k, begin + 1e-12, end)[0]
        for begin, end in itertools.pairwise(ends)
    ]
    found, _ = course.integral(in_fault, np.full((len(block), 1, 1), trip), k)
    assert found[0, 0, 0] == pytest.approx(sum(pieces), rel=1e-6)


def test_the_resistors_branch_is_cold_once_it_is_open() -> None:
    """390 A of 400 A until 0.2 s; then nothing, with the switch as fast as the breaker."""
    block, faults = sampled(HYBRID | {"candidates.delay_s": [0.1]})
    emf = block.samples["machine.voltage_factor"].max()
    assert np.nanmax(faults.solid_neutral_a) == pytest.approx(390 * emf, rel=1e-3)
    seen = (faults.seen == 1) & np.isclose(faults.lasts_s, 0.12)
    most = np.nanmax(faults.neutral_a2s[seen]) / emf**2
    assert most == pytest.approx(390**2 * 0.2, rel=0.15)
    assert most <= 390**2 * 0.2 * 1.001


def test_the_neutral_is_both_in_parallel() -> None:
    block, _ = sampled(HYBRID)
    both = 1 / (390 / PHASE_V + 10 / PHASE_V)
    assert primary.neutral(block) == pytest.approx(both)
    assert primary.neutral(block, switched=True) == pytest.approx(PHASE_V / 10)


@pytest.mark.parametrize("key", ["high_resistance_ohm", "switch_time_s"])
def test_half_of_it_is_refused(key: str) -> None:
    half = BARE | {one: value for one, value in HYBRID.items() if one != f"earthing.{key}"}
    with pytest.raises(StudyError) as refused:
        study_with(half)
    (fault,) = refused.value.faults
    assert fault.startswith(f"earthing.{key}: missing; hybrid earthing needs high_resistance_ohm")
