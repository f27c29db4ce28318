"""Alternatives side by side, by who clears faults and by damage."""

from __future__ import annotations

import pytest

from montecarlo.study.assumption_sets import AS_STATED
from studies.alternatives.frames import run_side_by_side
from tests.made.clearing import NEUTRAL, SCHEME, SMALL, TIMES, part, with_parts
from tests.made.studies import study_with


def test_alternatives_are_compared_by_who_clears_faults_and_by_damage() -> None:
    """Half of the time between tests: half of the failures; a faster breaker: less damage."""
    parts = with_parts(part("trip_supply", *SCHEME, *NEUTRAL, rate=0.02))
    given = SMALL | parts | {"fault_energy": TIMES, "damage": {"exponent": 1.5}}
    changes = {
        "study.kind": "alternatives",
        "policy": {"p_false_max": 0.9},
        "alternatives": [
            {"name": "tests", "changes": {"dependability.proof_test_years": 1}},
            {"name": "breaker", "changes": {"fault_energy.breaker_time_s": 0.02}},
        ],
    }
    compared = run_side_by_side(study_with(given | changes), workers=1)
    rows = compared.differences.set_index(["alternative", "quantity"])["difference"]
    stated = compared.clearing[AS_STATED]
    sound = stated.nobody((0.0, 1.0)).p
    assert rows["tests", "p_nobody"] == pytest.approx(-0.01 * (1 - sound), rel=1e-9)
    assert rows["breaker", "p_nobody"] == 0
    assert rows["breaker", "damage_mean_s"] < 0
    assert rows["tests", "damage_mean_s"] < 0


def test_costs_differ_by_what_their_rows_differ() -> None:
    """Tests that are paid more often and parts that trip more often among them."""
    trips = part("relay", *SCHEME, *NEUTRAL, rate=0.05, spurious_per_year=0.01)
    cost = {
        "missed_fault": 300.0,
        "false_trip": 40.0,
        "unit": "kEUR",
        "damage": {"at_reference": 10.0, "reference_s": 2.0},
    }
    given = SMALL | with_parts(trips, test_cost=7.0)
    given |= {"fault_energy": TIMES, "damage": {"exponent": 1.5}}
    given |= {"policy": {"least_annual_cost": cost}, "study.kind": "alternatives"}
    changes = [
        {"name": "tests", "changes": {"dependability.proof_test_years": 1}},
        {"name": "trips", "changes": {"dependability.parts.relay.spurious_per_year": 0.5}},
    ]
    compared = run_side_by_side(study_with(given | {"alternatives": changes}), workers=1)
    column = "decision_cost_per_year"
    rows = compared.table.set_index("alternative")[column]
    gaps = compared.differences.query(f"quantity == '{column}'").set_index("alternative")
    for name in ("tests", "trips"):
        assert gaps.loc[name, "difference"] == pytest.approx(rows[name] - rows["as stated"])
    assert gaps.loc["trips", "difference"] == pytest.approx(40.0 * (0.5 - 0.01))
