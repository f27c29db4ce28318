"""Currents of settings in per cent and per unit: converted while read, one key a current."""

from __future__ import annotations

from typing import Any

import pytest

from montecarlo.study.axes import OTHER_KEYS
from montecarlo.study.read import digest
from studies.nominal.desk import Desk
from tests.made.studies import REMOVE, faults_of, study_with

BIASED = {
    "scheme.kind": "biased",
    "candidates.earth_pickup_a": REMOVE,
    "candidates.stabilising_resistance_ohm": REMOVE,
    "candidates.first_slope": [0.1],
    "relay.rated_current_a": 5.0,
}


def study_of(**grids: Any) -> Any:
    return study_with(
        BIASED
        | {"candidates.second_slope": [0.5]}
        | {f"candidates.{key}": value for key, value in grids.items()}
    )


def shares(desk: Desk, amperes: float) -> dict[str, float]:
    """What the report shows of a current, in each unit of a key."""
    _, _, percent, machine_pu = desk.bases(amperes)
    return {
        "relay_percent": percent,
        "relay_pu": percent / 100,
        "machine_percent": 100 * machine_pu,
        "machine_pu": machine_pu,
    }


@pytest.mark.parametrize("unit", ["relay_percent", "relay_pu", "machine_percent", "machine_pu"])
def test_what_is_shown_in_a_unit_is_read_in_it(unit: str) -> None:
    """There and back, for grids and for the existing setting; the digest is that of amperes."""
    pickups, turning, served = (0.1, 0.25), (1.5,), 0.2
    amperes = study_of(
        phase_pickup_a=[*pickups],
        turning_point_a=[*turning],
        existing={
            "phase_pickup_a": served,
            "first_slope": 0.1,
            "second_slope": 0.5,
            "turning_point_a": 1.5,
        },
    )
    desk = Desk(amperes)

    def given(values: Any) -> list[float]:
        return [shares(desk, value)[unit] for value in values]

    other = study_of(
        phase_pickup_a=REMOVE,
        **{f"phase_pickup_{unit}": given(pickups), f"turning_point_{unit}": given(turning)},
        existing={
            f"phase_pickup_{unit}": given([served])[0],
            "first_slope": 0.1,
            "second_slope": 0.5,
            f"turning_point_{unit}": given(turning)[0],
        },
    )
    assert other.candidates.phase_pickup_a == pytest.approx(pickups, rel=1e-11)
    assert other.candidates.turning_point_a == pytest.approx(turning, rel=1e-11)
    assert other.candidates.existing.phase_pickup_a == pytest.approx(served, rel=1e-11)
    assert other.candidates.existing.turning_point_a == pytest.approx(1.5, rel=1e-11)
    assert not any(getattr(other.candidates, key) for key in OTHER_KEYS)
    if unit.startswith("relay"):  # numbers without dust: the very same study
        assert digest(other) == digest(amperes)


def test_machine_units_are_those_of_the_line_end_cts() -> None:
    study = study_with(
        {"candidates.phase_pickup_a": REMOVE, "candidates.phase_pickup_machine_pu": [0.1]}
    )
    machine, ct = study.machine, study.ct
    rated_a = machine.rated_power_va / (3**0.5 * machine.line_voltage_v)
    assert study.candidates.phase_pickup_a == pytest.approx(
        [0.1 * rated_a * ct.secondary_a / ct.primary_a], rel=1e-11
    )


def test_a_grid_of_steps_and_the_relay_s_steps() -> None:
    study = study_with(
        {
            "candidates.phase_pickup_a": REMOVE,
            "candidates.phase_pickup_relay_percent": {"from": 10, "to": 14, "step": 1},
            "relay.step_a": 0.02,
            "relay.range_a": [0.02, 2.0],
        }
    )
    assert study.candidates.phase_pickup_a == (0.1, 0.12, 0.14)
    keys = [move.key for move in study.moves]
    assert "candidates.phase_pickup_relay_percent" in keys


def test_a_high_set_takes_the_relay_s_steps_and_has_a_range_of_its_own() -> None:
    study = study_with(
        {
            "candidates.high_set_pickup_a": [8.013, 12.0],
            "relay.step_a": 0.02,
            "relay.range_a": [0.02, 2.0],
        }
    )
    assert study.candidates.high_set_pickup_a == (8.02, 12.0)
    moves = {move.key: move for move in study.moves}
    assert moves["candidates.high_set_pickup_a"].pairs == ((8.013, 8.02),)


@pytest.mark.parametrize(
    ("changes", "fault"),
    [
        (
            {"candidates.phase_pickup_relay_pu": [0.1]},
            "candidates.phase_pickup_relay_pu: given beside candidates.phase_pickup_a; keep one of"
            " them",
        ),
        (
            {
                "candidates.phase_pickup_a": REMOVE,
                "candidates.phase_pickup_relay_pu": [0.1],
                "candidates.phase_pickup_machine_percent": [10],
            },
            "candidates.phase_pickup_machine_percent: given beside"
            " candidates.phase_pickup_relay_pu; keep one of them",
        ),
        (
            {
                "candidates.existing": {
                    "phase_pickup_a": 0.1,
                    "earth_pickup_a": 0.1,
                    "earth_pickup_relay_percent": 10.0,
                }
            },
            "candidates.existing.earth_pickup_relay_percent: given beside"
            " candidates.existing.earth_pickup_a; keep one of them",
        ),
        (
            {
                "candidates.phase_pickup_a": REMOVE,
                "candidates.phase_pickup_relay_percent": [10, 6000],
            },
            "candidates.phase_pickup_relay_percent: 6000 % is 60 A secondary, must be above 0 and"
            " at most 50 A",
        ),
        (
            {"candidates.phase_pickup_a": REMOVE, "candidates.phase_pickup_relay_pu": [0, 0.1]},
            "candidates.phase_pickup_relay_pu: 0 pu is 0 A secondary, must be above 0 and at most"
            " 50 A",
        ),
        (
            {"candidates.phase_pickup_a": REMOVE, "candidates.phase_pickup_machine_pu": [-0.1]},
            "candidates.phase_pickup_machine_pu: -0.1 pu, must be at least 0 pu",
        ),
        (
            {
                "candidates.phase_pickup_a": REMOVE,
                "candidates.phase_pickup_machine_pu": [0.1],
                "machine.rated_power_va": -1,
            },
            "machine.rated_power_va: -1 VA, must be",
        ),
        (
            BIASED | {"candidates.earth_pickup_relay_percent": [2]},
            "candidates.earth_pickup_relay_percent: [0.1], but biased has no earth element; take"
            " it out or name a scheme that has one",
        ),
    ],
)
def test_a_fault_is_one_line_with_the_key_that_was_given(
    changes: dict[str, Any], fault: str
) -> None:
    (found,) = faults_of(changes)
    assert found.startswith(fault)


def test_an_alternative_with_other_cts_keeps_the_share_of_the_machine_s_current() -> None:
    study = study_with(
        {
            "study.kind": "alternatives",
            "candidates.phase_pickup_a": REMOVE,
            "candidates.phase_pickup_machine_percent": [10],
            "alternatives": [{"name": "half the ratio", "changes": {"ct.primary_a": 750}}],
        }
    )
    ((_, other),) = study.alternative_studies
    ratio = study.ct.primary_a / 750
    (before,), (after,) = study.candidates.phase_pickup_a, other.candidates.phase_pickup_a
    assert after == pytest.approx(before * ratio)
