"""Stability by hand: restricted earth fault, leads. All numbers worked by hand
from the tests' study: 25 MVA, 11 kV (1312 A, E = 6351 V), CT 1500/1 A with 5 + 1 ohm, largest
through fault 4 pu = 3.499 A secondary."""

from __future__ import annotations

from typing import Any

from studies.nominal.desk import Desk
from studies.nominal.stability import stabilising_resistance, stability
from tests.made.said import words
from tests.made.studies import REMOVE, study_with

RESTRICTED: dict[str, Any] = {
    "scheme.kind": "restricted_earth_fault",
    "ct.neutral_conductor": {},
    "candidates": {"earth_pickup_a": [0.05]},
}


def said(changes: dict[str, Any]) -> str:
    desk = Desk(study_with(changes))
    return words([*stability(desk), *stabilising_resistance(desk)])


def test_restricted_earth_fault_by_hand() -> None:
    text = said(RESTRICTED)
    assert "line end and neutral conductor: one-way leads 3.499 A x (5 + 1) ohm = 20.99 V" in text
    assert "loop 3.499 A x (5 + 2 x 1) ohm = 24.49 V" in text
    # 6351 V / 21.2 ohm = 299.6 A; 0.1997 A x (5 + 2 x 1) ohm = 1.398 V: the through fault
    # decides
    assert "= 299.6 A primary. Its leads form a loop: 0.1997 A x (5 + 2 x 1) ohm = 1.398 V" in text
    # 20.99 V / 0.05 A - 0.1 ohm and 24.49 V / 0.05 A - 0.1 ohm
    assert "earth 0.05 A 0.1 419.8 489.8" in text
    assert "V_k >= 2 V_s: 41.99 V with one-way leads, 48.99 V with the loop" in text


def test_an_earth_fault_outside_decides_where_the_neutral_carries_more() -> None:
    # 6351 V / 1 ohm: 4.234 A x 7 ohm = 29.64 V either way
    text = said(RESTRICTED | {"earthing.resistance_ohm": 1.0})
    assert "4.234 A x (5 + 2 x 1) ohm = 29.64 V" in text
    # 29.64 V / 0.05 A - 0.1 ohm
    assert "earth 0.05 A 0.1 592.6 592.6" in text


def test_which_leads_a_fault_sees() -> None:
    shared = said({"ct.return_core_ohm": 0.5})
    assert "loop 3.499 A x (5 + 1 + 0.5) ohm = 22.74 V" in shared
    assert "core of 0.5 ohm that the three CTs of an end share" in shared
    assert "ct.return_core_ohm is 0" in said({})
    assert "Six-wire leads: the loop applies to every fault" in said({"scheme.leads": "six_wire"})


def test_second_cores_stand_for_themselves() -> None:
    legs = [
        {"name": "L1", "cts": ["neutral_end.L1", "-line_end.L1"]},
        {"name": "rest", "cts": ["second_neutral_end.L1", "-second_line_end.L1"]},
    ]
    own = {
        "name": "own",
        "legs": legs,
        "elements": [{"leg": "L1", "setting": "phase"}, {"leg": "rest", "setting": "earth"}],
    }
    text = said(
        {
            "scheme": {"kind": "own", "custom": [own]},
            "candidates.stabilising_resistance_ohm": REMOVE,
            "ct.second_neutral_end": {"winding_resistance_ohm": 3.0, "knee_voltage_v": 40.0},
            "ct.second_line_end": {"winding_resistance_ohm": 3.0, "knee_voltage_v": 40.0},
        }
    )
    assert (
        "second cores: one-way leads 3.499 A x (3 + 1) ohm = 14 V; loop 3.499 A x (3 + 2 x 1) ohm ="
        " 17.5 V" in text
    )
    assert "the CTs have 40 V: met" in text
