"""High-set elements by hand, on the tests' study: 25 MVA, 11 kV, CT 1500/1 A, 1312 A = 0.8748 A
secondary, X''_d = X_2 = 0.2 pu, largest through fault 4 pu = 3.499 A."""

from __future__ import annotations

from typing import Any

import pytest

from studies.nominal.desk import Desk
from studies.nominal.high_set import high_set
from tests.made.said import words
from tests.made.studies import study_with


def said(pickups: list[float], **changes: Any) -> str:
    keys = {"candidates.high_set_pickup_a": pickups} | changes
    return words([*high_set(Desk(study_with(keys)))])


def test_nothing_is_said_without_such_elements() -> None:
    assert [*high_set(Desk(study_with()))] == []


def test_the_two_limits_may_contradict_each_other() -> None:
    """1.3 x 1.73 x 3.499 A = 7.88 A; 1.732 / 0.4 x 0.8748 A = 3.79 A, half of it 1.89 A."""
    text = said([2.0])
    assert "1.3 x 1.73 i_f = 7.88 A" in text
    assert "= 3.79 A, half of it 1.89 A" in text
    assert "contradict each other" in text


@pytest.mark.parametrize(
    ("pickups", "verdict"),
    [
        ([0.7, 0.8], "All pick-ups keep to both."),
        ([0.2, 0.8], "0.2 A lies below the first."),
        ([0.2, 0.3, 2.0], "0.2 A and 0.3 A lie below the first; 2 A lies above the second."),
    ],
)
def test_pickups_outside_the_limits_are_named(pickups: list[float], verdict: str) -> None:
    """Behind 1.5 pu the through fault is 1 / 1.7 pu of its own base and far smaller."""
    far = {"dist": "uniform", "low": 4.0, "high": 4.5}
    events = [
        {
            "name": "far",
            "kind": "three_phase",
            "per_year": 0.2,
            "external_reactance_pu": far,
            "clearing_time_s": 0.12,
        }
    ]
    text = said(pickups, **{"external_events": events, "relay.measure": "fundamental"})
    assert text.endswith(verdict), text
