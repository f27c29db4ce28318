"""Alternatives side by side, by who clears faults and by damage."""

from __future__ import annotations

from typing import Any

import pytest

from montecarlo.study.assumption_sets import AS_STATED
from studies.alternatives.frames import run_side_by_side
from studies.alternatives.run import findings
from studies.alternatives.text import alternatives_text
from tests.made.clearing import NEUTRAL, SCHEME, SMALL, TIMES, part, with_parts
from tests.made.said import words
from tests.made.studies import study_with

COST: dict[str, Any] = {
    "missed_fault": 300.0,
    "false_trip": 40.0,
    "unit": "kEUR",
    "damage": {"at_reference": 10.0, "reference_s": 2.0},
}


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
    given = SMALL | with_parts(trips, test_cost=2.0)
    given |= {"fault_energy": TIMES, "damage": {"exponent": 1.5}}
    given |= {"policy": {"least_annual_cost": COST}, "study.kind": "alternatives"}
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
    assert rows.idxmin() == "tests"
    assert words(alternatives_text(compared)).startswith('"tests" reduces the total cost most:')
    told = findings(compared, rough=True).frames["alternative_differences"]
    assert set(told.loc[told["quantity"] == column, "unit"]) == {"kEUR a year"}


def test_each_side_counts_false_trips_by_its_own_rates_and_prices() -> None:
    given = SMALL | with_parts(part("relay", *SCHEME, *NEUTRAL, rate=0.05))
    given |= {"fault_energy": TIMES, "damage": {"exponent": 1.5}, "study.kind": "alternatives"}
    given |= {"policy": {"least_annual_cost": COST}}
    changes = [
        {"name": "rates", "changes": {"external_events.near_fault.per_year": 5.0}},
        {"name": "prices", "changes": {"policy.least_annual_cost.false_trip": 400.0}},
        {"name": "free", "changes": {"policy.least_annual_cost.false_trip": 0.0}},
    ]
    compared = run_side_by_side(study_with(given | {"alternatives": changes}), workers=1)
    rows = compared.table.set_index("alternative")
    assert rows.loc["as stated", "p_false"] > 0
    gaps = compared.differences.query("quantity == 'decision_cost_per_year'")
    for gap in gaps.to_dict("records"):
        cost = rows["decision_cost_per_year"]
        assert gap["difference"] == pytest.approx(cost[gap["alternative"]] - cost["as stated"])
        assert gap["low"] <= gap["difference"] <= gap["high"]
    assert len(gaps) == len(changes)


def test_what_is_counted_otherwise_is_not_compared() -> None:
    given = SMALL | {"fault_energy": TIMES, "damage": {"exponent": 1.5}}
    given |= {"policy": {"least_annual_cost": COST}, "study.kind": "alternatives"}
    changes = [
        {
            "name": "no price",
            "changes": {
                "policy.least_annual_cost": {name: COST[name] for name in COST if name != "damage"}
            },
        },
    ]
    compared = run_side_by_side(study_with(given | {"alternatives": changes}), workers=1)
    found = compared.differences.groupby("alternative")["quantity"].agg(set)
    damage, cost = "damage_mean_s", "decision_cost_per_year"
    assert {name: {damage, cost} & every for name, every in found.items()} == {
        "no price": {damage},
    }
