"""Settings that a search finds, against a pick-up that follows by hand.

Two CTs of a phase have ratio errors that are uniform between -d and d. Their difference is then
triangular, so that a through current I drives more than a through the element with the probability
(1 - a/(2 d I))^2. Three phases trip unless none does. Derived; the sum of two uniform variables is
in every textbook of probability."""

from __future__ import annotations

import math
from typing import Any

import pytest

from montecarlo.engine.run import run
from montecarlo.study.description import Study
from tests.made.studies import REMOVE, study_with

ERROR, LIMIT, STEP_A = 0.03, 0.01, 0.002
REACTANCE_PU = 0.31  # machine and what lies outside
STIFF = {"dist": "uniform", "low": -100 * ERROR, "high": 100 * ERROR, "varies": "event"}
STUDY: dict[str, Any] = {
    "study.samples": 16384,
    "study.earth_fault_samples": 256,
    "study.installations": 256,
    "study.rare_samples": 0,
    "scheme.kind": "per_phase",
    "load.current_pu": 0.05,
    "machine.subtransient_reactance_pu": 0.3,  # one reactance: the current does not decay
    "machine.transient_reactance_pu": 0.3,
    "machine.synchronous_reactance_pu": 0.3,
    "ct.turns_ratio_error_percent": STIFF,
    "ct.knee_voltage_v": 5000,
    "ct.knee_current_a": 1e-5,
    "relay.pickup_error_percent": 0,
    "relay.step_a": STEP_A,
    "relay.range_a": [STEP_A, 2.0],
    "external_events": [
        {
            "name": "through",
            "kind": "three_phase",
            "per_year": 1,
            "external_reactance_pu": 0.01,
            "external_resistance_pu": 1.0,  # it ends the direct current within a millisecond
            "clearing_time_s": 0.2,
        }
    ],
    "candidates.phase_pickup_a": {"from": STEP_A, "to": 2.0},
    "candidates.earth_pickup_a": REMOVE,
    "candidates.stabilising_resistance_ohm": [0],
    "candidates.delay_s": [0, 0.02, 0.04],
    "policy.p_false_max": LIMIT,
}


def through_a(study: Study) -> float:
    """The through current, secondary. [A]"""
    machine = study.machine
    return machine.rated_current_a / REACTANCE_PU / study.ct.at("line_end").leg_ratio


def p_false(study: Study, pickup_a: float) -> float:
    """That one of three phases trips. [-]"""
    silent = 1 - max(1 - pickup_a / (2 * ERROR * through_a(study)), 0.0) ** 2
    return 1 - silent**3


@pytest.mark.slow
def test_the_pickup_found_is_the_one_by_hand() -> None:
    study = study_with(STUDY)
    outcome = run(study, workers=1)
    assert outcome.chosen is not None
    assert outcome.chosen.phase_pickup_a is not None
    each = 1 - (1 - LIMIT) ** (1 / 3)
    by_hand = 2 * ERROR * through_a(study) * (1 - math.sqrt(each))
    assert p_false(study, by_hand) == pytest.approx(LIMIT, rel=1e-9)
    upper = 1 - (1 - 0.8 * LIMIT) ** (1 / 3)  # what the limit leaves to samples, at most
    most = 2 * ERROR * through_a(study) * (1 - math.sqrt(upper))
    assert by_hand <= outcome.chosen.phase_pickup_a <= most + STEP_A
