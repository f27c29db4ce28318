"""States through a study file: overload, an open CT circuit, the breaker open."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from montecarlo import Result, run_study
from montecarlo.estimates.refusals import Rule
from tests.made.studies import FEW_TYPES, study_with

SMALL: dict[str, Any] = FEW_TYPES | {
    "study.samples": 128,
    "study.installations": 32,
    "study.earth_fault_samples": 64,
    "candidates.stabilising_resistance_ohm": [0.0],
}


def run(changes: dict[str, Any]) -> Result:
    return run_study(study_with(SMALL | changes), workers=1)


def test_an_overload_that_operates_an_element_rules_the_candidate_out() -> None:
    """Ratio errors of up to ±2 % a CT: a spill of up to 4 % of the load, on overload more."""
    changes = {
        "ct.turns_ratio_error_percent": {"dist": "uniform", "low": -2.0, "high": 2.0},
        "candidates.earth_pickup_a": [0.06, 0.5],
        "load.current_pu": 0.2,
    }
    quiet = run(changes).candidates
    assert quiet["usable"].all()
    heavy = run(changes | {"states.overload_current_pu": 2.0})
    frame = heavy.candidates.set_index(["phase_pickup_a", "earth_pickup_a"])
    assert not frame.loc[(0.2, 0.06), "usable"]
    assert frame.loc[(0.2, 0.06), "load_operates_share"] > 0
    assert frame.loc[(0.2, 0.06), "refusals"][0].rule is Rule.ON_LOAD
    assert frame.loc[(0.2, 0.5), "usable"]
    assert set(heavy.by_type.loc[heavy.by_type["side"] == "state", "type"]) == {"load", "overload"}


def test_one_open_core_operates_every_sensitive_element_and_only_if_load_reaches_the_setting() -> (
    None
):
    """Rated load 1312 A on 1500/1: 0.79 to 0.87 A through the leg of the open core and through the
    earth leg."""
    changes = {
        "states.open_ct_circuit_per_year": 0.01,
        "load.current_pu": {"dist": "uniform", "low": 0.9, "high": 1.0},
        "candidates.phase_pickup_a": [0.3, 1.2],
        "candidates.earth_pickup_a": [0.05, 1.2],
    }
    result = run(changes)
    share = result.candidates.set_index(["phase_pickup_a", "earth_pickup_a"])[
        "open_ct_circuit_operates_share"
    ]
    assert share.loc[(1.2, 0.05)] == 1.0
    assert share.loc[(1.2, 1.2)] == 0.0
    assert share.loc[(0.3, 1.2)] == pytest.approx(4 / 6)  # the cores of the two watched phases
    types = set(result.by_type.loc[result.by_type["side"] == "state", "type"])
    assert {"open_ct_circuit_neutral_end_L1", "open_ct_circuit_line_end_L3"} <= types
    assert result.candidates["usable"].all()  # reported by itself


def test_an_open_core_counts_among_the_events_only_if_the_study_says_so() -> None:
    changes = {
        "states.open_ct_circuit_per_year": 1.2,
        "load.current_pu": {"dist": "uniform", "low": 0.9, "high": 1.0},
        "candidates.phase_pickup_a": [1.2],
        "candidates.earth_pickup_a": [0.05],
    }
    apart, counted = run(changes), run(changes | {"states.open_ct_circuit_counts": True})
    assert counted.candidates["false_per_year"].iloc[0] == pytest.approx(
        apart.candidates["false_per_year"].iloc[0] + 1.2, rel=1e-9
    )
    events = [each.by_type.query("side == 'external'")["weight"].sum() for each in (apart, counted)]
    assert np.isclose(events[1], events[0] + 1.2)


def test_with_the_breaker_open_there_is_no_load_and_no_infeed() -> None:
    """Internal faults then see the machine alone: the same as a study without network and load."""
    alone = {"load.current_pu": 0.0, "network.external_capacitance_f": 0.0}
    network = {"network.reactance_pu": 0.4, "network.external_capacitance_f": 0.3e-6}
    open_always = run(network | {"states.breaker_open_share": 1.0}).by_type.query(
        "side == 'internal'"
    )
    by_itself = run(alone).by_type.query("side == 'internal'")
    assert open_always["p"].to_numpy() == pytest.approx(by_itself["p"].to_numpy(), abs=1e-12)
    synchronised = run(network).by_type.query("side == 'internal'")
    assert not np.allclose(synchronised["p"], open_always["p"])
    half = run(network | {"states.breaker_open_share": 0.5}).by_type.query(
        "side == 'internal' and type == 'earth'"
    )
    low, high = sorted(
        (
            synchronised.query("type == 'earth'")["p"].iloc[0],
            open_always.query("type == 'earth'")["p"].iloc[0],
        )
    )
    assert low - 0.01 < half["p"].iloc[0] < high + 0.01
