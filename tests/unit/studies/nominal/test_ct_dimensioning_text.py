"""CT dimensioning of a study by hand: the made unit of 60 MVA with unlike CTs, and what has no
core, no current or no offset."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from studies.nominal.ct_dimensioning import (
    Dimensioning,
    ct_dimensioning,
    dimensioning,
    dimensioning_frames,
)
from studies.nominal.desk import Desk
from tests.made.said import words
from tests.made.studies import REMOVE, study_with

FAULT: dict[str, Any] = {"per_year": 0.1, "clearing_time_s": 0.12}
UNIT: dict[str, Any] = {
    # 60 MVA, 13.8 kV: 2510 A; 1.05 / 0.15 = 7 pu behind T_a 0.2 s, wT = 75.4
    "machine.rated_power_va": 60e6,
    "machine.line_voltage_v": 13800,
    "machine.frequency_hz": 60,
    "machine.voltage_factor": 1.05,
    "machine.subtransient_reactance_pu": 0.15,
    "machine.armature_time_constant_s": 0.2,
    "ct.primary_a": 3000,
    "ct.secondary_a": 5,
    "ct.knee_voltage_v": 232,
    "ct.winding_resistance_ohm": 1.1,
    "ct.lead_resistance_ohm": 0.27,
    "ct.remanence_percent": {"dist": "uniform", "low": -70, "high": 40},
    "ct.line_end": {"knee_voltage_v": 168, "winding_resistance_ohm": 0.9},
    "external_events": [
        {"name": "bus", "kind": "three_phase", "external_reactance_pu": 0.0, **FAULT}
    ],
}
EARTH = {"name": "earth", "kind": "phase_earth", **FAULT}


def rows_of(changes: dict[str, Any]) -> list[Dimensioning]:
    return dimensioning(Desk(study_with(UNIT | changes)))


def text_of(changes: dict[str, Any]) -> str:
    return words([*ct_dimensioning(Desk(study_with(UNIT | changes)))])


def test_each_end_by_hand() -> None:
    # 7 pu x 2510 A / 600 = 29.3 A; 29.3 A x 1.37 ohm = 40.1 V; 232 V / 40.1 V = 5.78
    text = text_of({})
    assert "CTs, neutral end: V_k = 232 V, R_ct = 1.1 ohm, one-way lead 0.27 ohm" in text
    assert "bus: saturates after 6.44 ms at worst 0 29.3 40.1 5.78" in text
    assert "CTs, line end: V_k = 168 V, R_ct = 0.9 ohm, one-way lead 0.27 ohm" in text
    assert "bus: saturates after 6.02 ms at worst" in text
    neutral, _, line, worst = rows_of({})
    assert [neutral.ct, line.ct] == ["neutral_end", "line_end"]
    assert neutral.required_knee_v == pytest.approx(40.13 * 76.4, rel=1e-3)
    assert neutral.saturates_after_s == pytest.approx(0.0132, abs=5e-5)
    # 75.4 (1 - e^(-0.12 / 0.2)) + 1
    assert neutral.transient_factor == pytest.approx(35.02, abs=0.01)
    assert worst.remanence_percent == 70
    assert worst.saturation_factor == pytest.approx(0.3 * line.saturation_factor)


def test_equal_ends_stand_together_and_without_remanence_once() -> None:
    text = text_of({"ct.line_end": {}, "ct.remanence_percent": 0})
    assert "CTs, both ends" in text
    assert "line end" not in text
    rows = rows_of({"ct.remanence_percent": 0})
    assert [row.remanence_percent for row in rows] == [0, 0]


def test_leads_count_once_and_twice_in_an_earth_fault() -> None:
    earth = {"external_events": [EARTH]}
    for changes, leads in (
        ({}, 0.27),
        ({"scheme.leads": "six_wire"}, 0.54),
        (earth, 0.54),
        (earth | {"ct.return_core_ohm": 0.1}, 0.37),
        (earth | {"scheme.leads": "six_wire"}, 0.54),
    ):
        row = rows_of(changes)[0]
        assert row.burden_v == pytest.approx(row.current_a * (1.1 + leads))


def test_a_solid_earth_fault_by_symmetrical_components() -> None:
    # E = 3 x 1.05 / (X1 + X2 + X0) = 3.15 / (0.15 + 0.2 + 0.08) pu, all of it through the machine
    solid = {
        "earthing.resistance_ohm": 1e-6,
        "machine.stator_capacitance_f": 0,
        "machine.winding_resistance_ohm": 0,
        "external_events": [EARTH],
    }
    rated = 60e6 / (np.sqrt(3) * 13800) / 600
    assert rows_of(solid)[0].current_a == pytest.approx(3.15 / 0.43 * rated, rel=1e-3)


def test_the_largest_current_and_its_own_offset() -> None:
    # 1.05 / (0.15 + 0.1); (X2 + 0.1) / (R_a + 0.01), R_a = 0.2 / (w 0.2 s)
    event = {
        "external_reactance_pu": {"dist": "uniform", "low": 0.1, "high": 0.4},
        "external_resistance_pu": 0.01,
        "clearing_time_s": {"dist": "uniform", "low": 0.1, "high": 0.3},
    }
    bus = UNIT["external_events"][0] | event
    row = rows_of({"external_events": [bus]})[0]
    assert row.current_a == pytest.approx(4.2 * 2510.2 / 600, rel=1e-4)
    assert row.x_over_r == pytest.approx(0.3 / (0.2 / 75.398 + 0.01), rel=1e-4)
    assert row.cleared_after_s == 0.3


def test_a_grid_beside_the_machine_takes_its_part() -> None:
    beyond = {
        "name": "beyond",
        "kind": "phase_phase_beyond_transformer",
        "transformer_reactance_pu": 0.12,
        **FAULT,
    }
    alone = rows_of({"external_events": [beyond]})[0].current_a
    assert alone == pytest.approx(2 * 1.05 / 0.59 * 2510.2 / 600, rel=1e-4)
    # I1 = 1.05 / (0.27 || 0.05 + 0.32 || 0.05 + 0.4) = 2.163 pu; the machine has 0.05 / 0.32 of it
    # and 0.05 / 0.37 of I2; the phase that carries most has the sum
    far = beyond | {"grid_reactance_pu": 0.05, "external_reactance_pu": 0.2}
    row = rows_of({"external_events": [far]})[0]
    assert row.current_a == pytest.approx((0.3380 + 0.2923) * 2510.2 / 600, rel=1e-3)


INRUSH = {
    "name": "inrush",
    "kind": "transformer_energisation",
    "per_year": 1,
    "air_core_reactance_pu": 0.35,
    "residual_flux_pu": 0.5,
    "decay_time_constant_s": 0.5,
}
NO_ANGLE = {
    "name": "closing",
    "kind": "out_of_phase_closing",
    "angle_deg": 0,
    "external_reactance_pu": 0.1,
    **FAULT,
}


def test_what_has_no_core_no_current_or_no_sinusoid() -> None:
    text = text_of({"external_events": [*UNIT["external_events"], INRUSH]})
    assert "No such formula holds for inrush; a run solves it in time" in text
    assert "CTs without exciting current never saturate: line end" in text_of(
        {"ct.line_end": {"knee_current_a": 0}}
    )
    assert text_of({"ct.knee_current_a": 0}) == ""
    still = {"external_events": [NO_ANGLE]}
    assert "closing: never saturates 0 0 0 -" in text_of(still)
    frame = dimensioning_frames(Desk(study_with(UNIT | still)))["ct_dimensioning"]
    assert frame["saturates_after_s"].isna().all()
    assert not np.isinf(frame.select_dtypes("number")).any(axis=None)
    assert dimensioning_frames(Desk(study_with(UNIT | {"ct.knee_current_a": 0}))) == {}


def test_a_short_fault_is_cleared_first() -> None:
    bus = UNIT["external_events"][0] | {"clearing_time_s": 0.006}
    text = text_of({"external_events": [bus]})
    assert "bus: does not saturate before it is cleared, 6 ms at most" in text


def test_facts_of_machines_and_classes() -> None:
    plain = text_of({})
    assert "0.15 to 0.3 s" in plain
    assert "knee_factor" not in plain
    named = {"ct.knee_voltage_v": REMOVE, "ct.knee_current_a": REMOVE, "ct.class": "C200"}
    assert "A class states the least" in text_of(named | {"ct.line_end": {}})
    small = {"machine.armature_time_constant_s": 0.05}
    assert "0.15 to 0.3 s" not in text_of(small)


GATED: dict[str, Any] = {
    "scheme.kind": "biased",
    "scheme.gates": [
        {"name": "held", "start": "time_difference", "start_pu": 0.5, "wait_s": 0.003},
        {"name": "turned", "start": "angle", "within_degrees": 60.0},
    ],
    "candidates": {"phase_pickup_a": [0.5], "first_slope": [0.2], "gate": ["none", "held"]},
    "internal_faults.shares": {"phase_phase": 1.0},
    "network": {"reactance_pu": 0.2, "x_over_r": 30.0},
}


def test_a_time_difference_gate_has_a_column_and_a_word() -> None:
    # 7 pu, 60 Hz, 3 ms: K_s 0.701; 70 % remanence leaves 5.78 x 0.3 = 1.73
    (_, worst, *_) = rows_of(GATED)
    assert worst.start_factor == pytest.approx(0.701, abs=0.001)
    text = text_of(GATED)
    assert "a time-difference gate needs K_s 0.701 and has 2.5 times that" in text
    assert "start_factor" in dimensioning_frames(Desk(study_with(UNIT | GATED)))["ct_dimensioning"]
    small = text_of(GATED | {"ct.knee_voltage_v": 80})
    assert "before a time-difference gate has started, which needs K_s 0.701" in small


def test_another_gate_or_none_has_neither() -> None:
    for gate in ("turned", "none"):
        grids = GATED["candidates"] | {"gate": [gate]}
        changes = GATED | {"candidates": grids}
        assert "time-difference" not in text_of(changes)
        frames = dimensioning_frames(Desk(study_with(UNIT | changes)))
        assert "start_factor" not in frames["ct_dimensioning"]
