"""A setting at the end of what was tried."""

from __future__ import annotations

import pytest

from montecarlo.study.axes import Setting
from montecarlo.study.candidates import End, ends_of_ranges
from tests.made.studies import study_with


def setting(
    phase: float = 0.15, earth: float = 0.06, ohm: float = 200.0, delay: float = 0.1
) -> Setting:
    return Setting("two_phase_one_earth", phase, earth, ohm, delay)


GRIDS = {
    "candidates": {
        "phase_pickup_a": [0.1, 0.15, 0.2],
        "earth_pickup_a": [0.02, 0.06, 0.1],
        "stabilising_resistance_ohm": [0, 200, 600],
        "delay_s": [0, 0.1, 0.2],
    }
}


@pytest.mark.parametrize(
    ("chosen", "ends"),
    [
        (setting(), []),
        (setting(phase=0.1), [End("phase_pickup_a", 0.1, 0.1, 0.2)]),
        (
            setting(phase=0.2, earth=0.02),
            [End("earth_pickup_a", 0.02, 0.02, 0.1), End("phase_pickup_a", 0.2, 0.1, 0.2)],
        ),
        (
            setting(ohm=600, delay=0.2),
            [End("stabilising_resistance_ohm", 600, 0, 600), End("delay_s", 0.2, 0, 0.2)],
        ),
        (setting(ohm=0, delay=0), []),  # nothing below 0
    ],
)
def test_ends_of_ranges_are_told_axis_by_axis(chosen: Setting, ends: list[End]) -> None:
    assert [*ends_of_ranges(study_with(GRIDS), chosen)] == ends


def test_where_the_relays_own_range_ends_there_is_nothing_to_extend() -> None:
    relay = {"relay.range_a": [0.02, 0.2], "relay.step_a": 0.01}
    assert ends_of_ranges(study_with(GRIDS | relay), setting(phase=0.2, earth=0.02)) == ()
    wider = {"relay.range_a": [0.02, 0.205], "relay.step_a": 0.01}  # less than a step is left
    assert ends_of_ranges(study_with(GRIDS | wider), setting(phase=0.2)) == ()
    finer = {"relay.range_a": [0.01, 0.2], "relay.step_a": 0.01}
    assert [
        end.axis
        for end in ends_of_ranges(study_with(GRIDS | finer), setting(phase=0.2, earth=0.02))
    ] == ["earth_pickup_a"]


def test_a_list_of_one_value_is_no_range() -> None:
    grids = {"candidates": GRIDS["candidates"] | {"delay_s": [0.1], "phase_pickup_a": [0.15]}}
    assert ends_of_ranges(study_with(grids), setting()) == ()
