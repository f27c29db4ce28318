"""What makes a study meaningless though every key is right by itself."""

from __future__ import annotations

from typing import Any

import pytest

from montecarlo.study.description import Study
from tests.made.studies import REMOVE, faults_of, study_with

EARTH_DELAY = (
    "candidates.delay_s: 0.49 s, must be at most internal_faults.allowed_time_s less one cycle ="
    " 0.48 s; shorten the delay or allow more time"
)


PAIRS = (
    "pairs of candidates to compare, as [[12, 40]] with numbers of candidates.csv: first minus"
    " second, paired on the same events"
)


@pytest.mark.parametrize(
    ("changes", "line"),
    [
        (
            {"candidates.earth_pickup_a": REMOVE},
            (
                "candidates.earth_pickup_a: missing; the scheme two_phase_one_earth has an earth"
                " element, name its pick-ups in A secondary"
            ),
        ),
        (
            {"scheme.kind": "per_phase"},
            (
                "candidates.earth_pickup_a: [0.02, 0.04, 0.06, 0.08, 0.1], but per_phase has no"
                " earth element; take it out or name a scheme that has one"
            ),
        ),
        ({"candidates.delay_s": [0, 0.49]}, EARTH_DELAY),
        (
            {
                "candidates.existing": {
                    "phase_pickup_a": 0.1,
                    "earth_pickup_a": 0.1,
                    "delay_s": 0.49,
                }
            },
            EARTH_DELAY.replace("delay_s:", "existing.delay_s:", 1),
        ),
        (
            {"policy": {}},
            (
                "policy: none given; give exactly one of p_false_max, false_per_year_max and"
                " least_annual_cost"
            ),
        ),
        (
            {"policy.false_per_year_max": 0.1},
            (
                "policy: p_false_max and false_per_year_max given; give exactly one of "
                "p_false_max, false_per_year_max and least_annual_cost"
            ),
        ),
        (
            {"policy.least_annual_cost": {"missed_fault": 1, "false_trip": 1}},
            (
                "policy: p_false_max and least_annual_cost given; give exactly one of p_false_max,"
                " false_per_year_max and least_annual_cost"
            ),
        ),
        (
            {"policy": {"least_annual_cost": {"missed_fault": 0, "false_trip": 0}}},
            (
                "policy.least_annual_cost: missed_fault and false_trip are both 0, and every"
                " setting costs the same; give at least one above 0"
            ),
        ),
        (
            {"policy": {"least_annual_cost": {"missed_fault": 1}}},
            (
                "policy.least_annual_cost.false_trip: missing; give a number: cost of one false"
                " trip, in the same unit [-]"
            ),
        ),
        (
            {"policy": {"least_annual_cost": {"missed_fault": -1, "false_trip": 1}}},
            "policy.least_annual_cost.missed_fault: -1, must be at least 0 and at most 1e+15; give"
            " such a value: cost of one missed internal fault, in a unit of your choice",
        ),
        (
            {"external_events": []},
            (
                "external_events: [] is empty; give at least one event, each a table "
                "[[external_events]]"
            ),
        ),
        (
            {"external_events.far_fault.name": "near_fault"},
            'external_events[1].name: "near_fault" is used before; give each event its own name',
        ),
        (
            {"external_events.far_fault.name": "far fault"},
            (
                'external_events[1].name: "far fault", must be a word of at most 60 letters, digits'
                " and _ that does not start with a digit; it becomes part of keys and file columns"
            ),
        ),
        (
            {"external_events.far_fault.per_year": 0, "external_events.near_fault.per_year": 0},
            "external_events: per_year is 0 for every event; give at least one a frequency above 0",
        ),
        ({"scheme.kind": []}, "scheme.kind: [] is empty; name at least one scheme"),
        (
            {"scheme.kind": ["two_phase_one_earth"] * 2},
            (
                'scheme.kind: ["two_phase_one_earth", "two_phase_one_earth"] names a scheme twice;'
                " leave each once"
            ),
        ),
        (
            {"machine.transient_reactance_pu": 0.1},
            (
                "machine.subtransient_reactance_pu: 0.2 pu, must be at most"
                " machine.transient_reactance_pu = 0.1 pu; are the two swapped?"
            ),
        ),
        (
            {"machine.synchronous_reactance_pu": 0.25},
            (
                "machine.transient_reactance_pu: 0.3 pu, must be at most"
                " machine.synchronous_reactance_pu = 0.25 pu; are the two swapped?"
            ),
        ),
        (
            {"ct.line_end.secondary_a": 5},
            (
                "ct.line_end.secondary_a: neutral_end has 1500/1 A, line_end 1500/5 A; load"
                " current would then flow through the elements; give both the same ratio, or"
                " ct.line_end.ratio_matching = 0.2"
            ),
        ),
        (
            {"ct.neutral_end.remanence_bound_percent": 50},
            (
                "ct.remanence_percent: reaches -60 ... 60 %, must stay within"
                " ct.neutral_end.remanence_bound_percent = 50 % either way; truncate = [-50, 50]"
            ),
        ),
        (
            {"study.samples": 31},
            (
                "study.samples: 31, must be at least study.installations = 32, one event per"
                " installation; take more samples or fewer installations"
            ),
        ),
        (
            {"study.compare": [[1, 2], [0, 21]]},  # 2 phase x 5 earth x 2 resistances
            (
                "study.compare[1]: 0 and 21, must be candidates' numbers, 1 ... 20; take them from"
                " candidates.csv"
            ),
        ),
        (
            {
                "study.compare": [[22, 21]],
                "candidates.existing": {"phase_pickup_a": 0.1, "earth_pickup_a": 0.5},
            },
            (
                "study.compare[0]: 22, must be candidates' numbers, 1 ... 21; take them from"
                " candidates.csv"
            ),
        ),
        (
            {
                "study.compare": [[1, 2]],
                "candidates.earth_pickup_a": {"from": 0.001, "to": 1.0, "step": 0.001},
            },
            (
                "study.compare: pairs of numbers, but the ranges in [candidates] are searched, so"
                " that no candidate has a number before the run; leave compare out, or give lists"
                " of settings"
            ),
        ),
        (
            {"study.compare": [[7, 7]]},
            "study.compare[0]: 7 stands there twice, must be two candidates; name another",
        ),
        (
            {"study.compare": [[1, 2]] * 51},
            "study.compare: 51 pairs, must be at most 50; leave some out",
        ),
        (
            {"study.compare": [1, 2]},
            "study.compare: [1, 2]; expected a list, each a list of 2, each a whole number: "
            + PAIRS,
        ),
        (
            {"study.compare": [[1, 2, 3]]},
            "study.compare: [[...]]; expected a list, each a list of 2, each a whole number: "
            + PAIRS,
        ),
        (
            {"internal_faults.shares": {"inter_turn": 1}},
            (
                "internal_faults.shares.inter_turn: 1, must be below 1; no fault is left on which"
                " a longitudinal differential scheme can operate"
            ),
        ),
        (
            {"relay.range_a": [0.2, 0.1]},
            "relay.range_a: [0.2, 0.1], must be [low, high] with 0 <= low < high, in A",
        ),
        (
            {"relay.range_a": [0.01, 0.5], "relay.step_a": 1},
            (
                "relay.step_a: 1 A, must be at most the width of relay.range_a = 0.49 A; give the"
                " smallest step of the setting"
            ),
        ),
        (
            {"candidates.existing": {"phase_pickup_a": 0.1}},
            (
                "candidates.existing.earth_pickup_a: missing; give the earth element's existing"
                " pick-up, in A secondary"
            ),
        ),
        (
            {"candidates.existing": {"earth_pickup_a": 0.1}},
            (
                "candidates.existing.phase_pickup_a: missing; give the phase elements' existing"
                " pick-up, in A secondary"
            ),
        ),
        (
            {"candidates.existing": {"scheme": "per_phase", "phase_pickup_a": 0.1}},
            'candidates.existing.scheme: "per_phase"; name one of scheme.kind: two_phase_one_earth',
        ),
        (
            {
                "scheme.kind": ["per_phase", "two_phase_one_earth"],
                "candidates.existing": {"phase_pickup_a": 0.1, "earth_pickup_a": 0.1},
            },
            (
                "candidates.existing.scheme: missing; name one of scheme.kind: per_phase or"
                " two_phase_one_earth"
            ),
        ),
        (
            {
                "scheme.kind": ["per_phase", "two_phase_one_earth"],
                "candidates.existing": {
                    "scheme": "per_phase",
                    "phase_pickup_a": 0.1,
                    "earth_pickup_a": 0.1,
                },
            },
            (
                "candidates.existing.earth_pickup_a: 0.1 A, but per_phase has no earth element;"
                " take it out"
            ),
        ),
    ],
)
def test_a_study_that_means_nothing_is_refused(changes: dict[str, Any], line: str) -> None:
    assert faults_of(changes) == (line,)


@pytest.mark.parametrize(
    "changes",
    [
        {"scheme.kind": "per_phase", "candidates.earth_pickup_a": REMOVE},
        {"scheme.kind": ["per_phase", "two_phase_one_earth"]},
        {"study.compare": [[1, 20], [20, 1]]},
        {"candidates.delay_s": [0.48]},
        {"policy": {"false_per_year_max": 0.1}},
        {"policy": {"least_annual_cost": {"missed_fault": 1, "false_trip": 0, "unit": "EUR"}}},
        {"ct.line_end": {"primary_a": 3000, "secondary_a": 2}},
        {"candidates.existing": {"phase_pickup_a": 0.1, "earth_pickup_a": 0.1}},
        {"machine.transient_reactance_pu": 0.2},
        {"ct.remanence_percent": {"dist": "normal", "mean": 0, "sd": 40, "truncate": [-80, 80]}},
    ],
)
def test_a_study_that_means_something_is_taken(changes: dict[str, Any]) -> None:
    assert isinstance(study_with(changes), Study)


PUMP = {
    "name": "pump",
    "kind": "motor_start",
    "per_year": 50.0,
    "motor_rating_pu": 0.08,
    "run_up_time_s": 5.0,
}


def test_a_lasting_event_is_simulated_for_longer_than_the_longest_delay() -> None:
    slow = {"internal_faults.allowed_time_s": 2.0, "candidates.delay_s": [0, 0.7]}
    line = (
        "external_events.pump.duration_s: 0.5 s, must be at least the longest delay of the"
        " candidates and one cycle = 0.72 s; simulate the event for longer or shorten the delay"
    )
    assert faults_of(slow | {"external_events": [PUMP]}) == (line,)
    assert isinstance(study_with(slow | {"external_events": [PUMP | {"duration_s": 0.72}]}), Study)


def correlated(one: str, other: str, rho: float = 0.5) -> dict[str, Any]:
    return {"between": [one, other], "rho": rho}


NORMAL = {"dist": "normal", "mean": 0.03, "sd": 0.002, "truncate": [0.02, 0.04]}


@pytest.mark.parametrize(
    ("pairs", "words"),
    [
        ([correlated("ct.knee_voltage", "ct.knee_current_a")], "not an input"),
        ([correlated("ct.knee_voltage_v", "ct.knee_voltage_v")], "itself"),
        ([correlated("ct.knee_voltage_v", "ct.primary_a")], "not an input"),
        ([correlated("ct.knee_voltage_v", "machine.transient_reactance_pu")], "plain number"),
        ([correlated("ct.knee_voltage_v", "ct.remanence_percent")], "varies"),
        (
            [correlated("ct.knee_voltage_v", "earthing.resistance_ohm")],
            "shared = true on the wider one",
        ),
        (
            [
                correlated("ct.knee_voltage_v", "ct.knee_current_a"),
                correlated("ct.knee_current_a", "ct.knee_voltage_v"),
            ],
            "twice",
        ),
        (
            [correlated("external_events.near_fault.per_year", "earthing.resistance_ohm")],
            'between: "external_events.near_fault.per_year" is a frequency',
        ),
        (
            [correlated("ct.winding_resistance_ohm", "ct.knee_voltage_v")],
            "needs continuous distributions",
        ),
        (
            [
                correlated("ct.knee_voltage_v", "ct.knee_current_a", 0.9),
                correlated("ct.knee_voltage_v", "ct.turns_ratio_error_percent", 0.9),
                correlated("ct.turns_ratio_error_percent", "ct.knee_current_a", -0.9),
            ],
            "contradict",
        ),
    ],
)
def test_a_correlation_that_cannot_be_is_refused(pairs: list[Any], words: str) -> None:
    changes = {
        "correlations": pairs,
        "ct.knee_current_a": NORMAL,
        "ct.winding_resistance_ohm": {"dist": "empirical", "values": [4, 5, 6]},
        "external_events.near_fault.per_year": {"dist": "uniform", "low": 0.1, "high": 0.3},
    }
    faults = faults_of(changes)
    assert any(words in fault for fault in faults)
    assert all(fault.startswith("correlations") for fault in faults)


def test_correlations_of_like_inputs_are_taken() -> None:
    pairs = [
        correlated("ct.knee_voltage_v", "ct.knee_current_a", -0.5),
        correlated("external_events.near_fault.external_reactance_pu", "load.current_pu", 0.2),
    ]
    assert len(study_with({"correlations": pairs, "ct.knee_current_a": NORMAL}).correlations) == 2
