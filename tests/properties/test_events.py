"""Whole small studies with other external events than faults between phases."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from montecarlo import run_study
from montecarlo.plant.events.kinds import KINDS
from tests.made.events import currents_of, event_of, scene_of
from tests.made.studies import study_table, study_with

EARTH_FAULT: dict[str, Any] = {
    "name": "earth_fault",
    "kind": "phase_earth",
    "per_year": 1.0,
    "clearing_time_s": 0.12,
}
FINE: dict[str, Any] = {
    "study.samples": 256,
    "study.earth_fault_samples": 32,
    "candidates.earth_pickup_a": [0.004, 0.04],
    "candidates.phase_pickup_a": [0.5],
    "candidates.stabilising_resistance_ohm": [0],
    "load.current_pu": 0.3,
    "ct.turns_ratio_error_percent": 0,
    "ct.knee_current_a": 0.001,
    "ct.remanence_percent": 0,
}


DECAY = {"clearing_time_s": {"dist": "uniform", "low": 0.06, "high": 0.12}}
OTHERS: list[dict[str, Any]] = [  # one event of every kind that the small study lacks
    EARTH_FAULT,
    DECAY
    | {
        "name": "line_earth",
        "kind": "phase_earth_beyond_transformer",
        "per_year": 0.5,
        "transformer_reactance_pu": 0.12,
        "zero_sequence_reactance_pu": 0.08,
        "grid_reactance_pu": 0.2,
    },
    DECAY
    | {
        "name": "line_pair",
        "kind": "phase_phase_beyond_transformer",
        "per_year": 0.3,
        "transformer_reactance_pu": 0.12,
    },
    {
        "name": "inrush",
        "kind": "transformer_energisation",
        "per_year": 2.0,
        "air_core_reactance_pu": 0.35,
        "residual_flux_pu": {"dist": "uniform", "low": -0.8, "high": 0.8},
        "decay_time_constant_s": 0.5,
        "duration_s": 0.3,
    },
    DECAY
    | {
        "name": "bad_closing",
        "kind": "out_of_phase_closing",
        "per_year": 0.01,
        "external_reactance_pu": 0.2,
        "angle_deg": {"dist": "uniform", "low": 10, "high": 120},
    },
    {
        "name": "pump",
        "kind": "motor_start",
        "per_year": 50.0,
        "motor_rating_pu": 0.08,
        "run_up_time_s": 5.0,
        "duration_s": 0.2,
    },
]


def test_a_study_file_of_every_kind_runs() -> None:
    listed = [*study_table()["external_events"], *OTHERS]
    assert {event["kind"] for event in listed} == KINDS.keys()
    study = study_with(
        {
            "external_events": listed,
            "study.samples": 256,
            "study.earth_fault_samples": 32,
            "candidates.stabilising_resistance_ohm": [0],
        }
    )
    result = run_study(study, workers=1)
    first = result.by_type[result.by_type["batch"] == 1]
    assert {event["name"] for event in listed} <= set(first["type"])
    assert (first["unresolved"] == 0).all()
    assert first[first["side"] == "external"].groupby("type")["p"].max().gt(0).sum() >= 4
    inputs = set(result.inputs["key"])
    assert {
        "external_events.inrush.residual_flux_pu",
        "external_events.bad_closing.angle_deg",
    } <= inputs


def test_only_the_earth_faults_currents_differ_between_the_ends() -> None:
    t = np.arange(-10, 30) / 1600
    for event in OTHERS:
        keys = {
            key: value for key, value in event.items() if key not in ("kind", "name", "per_year")
        }
        assert currents_of(event["kind"], t=t, **keys).shape == (
            1,
            6 if event["kind"] == "phase_earth" else 3,
            40,
        )


def test_any_time_before_an_event_is_cycles_of_the_load() -> None:
    """A record may begin half a second before it: 32 samples are a cycle."""
    t = np.arange(-800, 0) / 1600
    for event in [*study_table()["external_events"], *OTHERS]:
        keys = {
            key: value for key, value in event.items() if key not in ("kind", "name", "per_year")
        }
        before = currents_of(event["kind"], t=t, **keys)
        assert np.abs(before[..., 32:] - before[..., :-32]).max() < 1e-6, event["kind"]


def test_an_event_that_lifts_the_neutral_says_so() -> None:
    """Before it is cleared the three phases at the neutral end bring what `neutral_current` says,
    or nothing."""
    t = np.arange(-32, 60) / 1600
    for event in OTHERS:
        keys = {
            key: value for key, value in event.items() if key not in ("kind", "name", "per_year")
        }
        made = event_of(
            event["kind"], **keys | ({"clearing_time_s": 1.0} if "clearing_time_s" in keys else {})
        )
        scene = scene_of(made, {"load.current_pu": 0.7})
        brought, told = made.currents(scene, t)[:, :3].sum(axis=1), made.neutral_current(scene, t)
        assert np.abs(brought - (0.0 if told is None else told)).max() < 1e-6, event["kind"]


def by_type(changes: dict[str, Any], event: dict[str, Any]) -> pd.DataFrame:
    """p of the event by earth pick-up, batch 1."""
    result = run_study(
        study_with(
            FINE | changes | {"external_events": [event, *study_table()["external_events"][:1]]}
        ),
        workers=1,
    )
    rows = result.by_type[
        (result.by_type["type"] == event["name"]) & (result.by_type["batch"] == 1)
    ]
    settings = result.candidates[["candidate", "earth_pickup_a"]].drop_duplicates()
    return rows.merge(settings, on="candidate").set_index("earth_pickup_a")["p"]


def test_a_fine_earth_pickup_trips_on_the_zones_own_capacitance() -> None:
    # 3w(C_s + C_z)E = 3 x 314.2 x 2.2 uF x 6351 V = 13.2 A, 8.8 mA secondary: above 4 mA, below
    # 40 mA
    large = by_type({"machine.terminal_capacitance_f": 2e-6}, EARTH_FAULT)
    small = by_type({"machine.stator_capacitance_f": 1e-9}, EARTH_FAULT)
    assert large[0.004] == 1
    assert large[0.04] == 0
    assert small[0.004] < 0.1
