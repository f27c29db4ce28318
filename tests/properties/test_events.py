"""Whole small studies with other external events than faults between phases."""

from __future__ import annotations

from typing import Any

import pandas as pd

from montecarlo import run_study
from tests.unit.studies import study_table, study_with

EARTH_FAULT: dict[str, Any] = {"name": "earth_fault", "kind": "phase_earth", "per_year": 1.0, "clearing_time_s": 0.12}
FINE: dict[str, Any] = {
    "study.samples": 256, "study.earth_fault_samples": 32, "candidates.earth_pickup_a": [0.004, 0.04],
    "candidates.phase_pickup_a": [0.5], "candidates.stabilising_resistance_ohm": [0], "load.current_pu": 0.3,
    "ct.turns_ratio_error_percent": 0, "ct.knee_current_a": 0.001, "ct.remanence_percent": 0}


def by_type(changes: dict[str, Any], event: dict[str, Any]) -> pd.DataFrame:
    """p of the event by earth pick-up, batch 1."""
    result = run_study(study_with(FINE | changes | {"external_events": [event, *study_table()["external_events"][:1]]}),
                       workers=1)
    rows = result.by_type[(result.by_type["type"] == event["name"]) & (result.by_type["batch"] == 1)]
    settings = result.candidates[["candidate", "earth_pickup_a"]].drop_duplicates()
    return rows.merge(settings, on="candidate").set_index("earth_pickup_a")["p"]


def test_a_fine_earth_pickup_trips_on_the_zones_own_capacitance() -> None:
    # 3w(C_s + C_z)E = 3 x 314.2 x 2.2 uF x 6351 V = 13.2 A, 8.8 mA secondary: above 4 mA, below 40 mA
    large = by_type({"machine.terminal_capacitance_f": 2e-6}, EARTH_FAULT)
    small = by_type({"machine.stator_capacitance_f": 1e-9}, EARTH_FAULT)
    assert large[0.004] == 1
    assert large[0.04] == 0
    assert small[0.004] < 0.1
