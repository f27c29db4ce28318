"""The kind of study itself, small: what it writes, what it says, what it refuses."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
import pytest

from montecarlo.errors import StudyError
from studies.drivers.answers import Drivers, find_drivers
from studies.drivers.run import findings
from studies.protocol import Findings
from studies.report.terminal import lines
from tests.made.said import words
from tests.made.studies import REMOVE, study_with

RUN: dict[str, Any] = {
    "study.kind": "uncertainty_drivers",
    "study.samples": 2048,
    "study.installations": 16,
    "study.earth_fault_samples": 64,
    "candidates.stabilising_resistance_ohm": [0],
    "candidates.phase_pickup_a": [0.5],
    "candidates.earth_pickup_a": [0.2, 0.3],
    "policy.p_false_max": REMOVE,
    "policy.least_annual_cost": {"missed_fault": 1e5, "false_trip": 1e4, "unit": "EUR"},
}
FEW = 3  # inputs of which what-ifs are worked out
LIMITS = {
    "drivers": ("first", "total"),
    "elasticities": ("by_centre", "by_spread"),
    "what_if": ("difference",),
    "worth_of_measuring": ("difference",),
}


@pytest.fixture(scope="module")
def found() -> Iterator[Drivers]:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("studies.drivers.answers.MOST_CHANGED", FEW)
        yield find_drivers(study_with(RUN), workers=1)


@pytest.fixture(scope="module")
def written(found: Drivers) -> Findings:
    return findings(found)


def test_every_table_has_estimates_within_limits(written: Findings) -> None:
    for name, columns in LIMITS.items():
        frame = written.frames[name]
        assert len(frame)
        for column in columns:
            low, p, high = (frame[f"{column}{end}"] for end in ("_low", "", "_high"))
            inside = (low <= p + 1e-12) & (p <= high + 1e-12)
            assert (
                inside if name != "drivers" else inside | (frame["total"] < 0.05)
            ).all()  # bootstrap percentiles
    assert {"drivers", "elasticities", "what_if", "tradeoff"} <= set(written.figures)


def test_the_text_says_first_what_to_specify_and_to_measure(written: Findings) -> None:
    conclusion = words(written.text)
    assert conclusion.startswith("Specify first: ")
    for begin in (
        "Measure first: ",
        "These answers hold for the recommended setting: no. ",
        "protected part of the winding",
        "currents in the elements",
    ):
        assert begin in conclusion
    assert max(map(len, lines(written.text, 80))) <= 80
    assert "nan" not in words(written.text).split()


def test_the_rows_agree_with_the_study_s_own_batch(found: Drivers) -> None:
    """Two estimates of the chosen setting on independent random numbers; 5 sigma each."""
    place = found.outcome.first.settings.index(found.setting)
    for quantity, judged in (
        ("p_missed", found.outcome.first.judgement.missed),
        ("p_false", found.outcome.first.judgement.false),
    ):
        own, now = (judged.high[place] - judged.low[place]) / 3.92, found.now[quantity]
        assert abs(now.p - judged.total[place]) < 5 * np.hypot(own, (now.high - now.low) / 3.92)


def test_what_ifs_say_which_inputs_and_why(found: Drivers, written: Findings) -> None:
    keys = list(dict.fromkeys(each.change.key for each in found.what_if))
    assert 1 <= len(keys) <= FEW
    assert "internal_faults.position" not in keys
    strong = {
        answer.key
        for answer in found.answers
        if any(part.low > 0 or part.high < 0 for part in answer.elasticity)
    }
    assert set(keys) <= strong
    assert "largest elasticities of p_missed and p_false" in words(written.text)


def test_costs_are_never_worse_for_knowing(found: Drivers) -> None:
    assert found.worths
    for worth in found.worths.values():
        assert worth.flattering["cost_per_year"] <= 1e-6
        assert worth.difference["cost_per_year"].low <= 0


def test_one_candidate_makes_measuring_worth_0() -> None:
    found = find_drivers(
        study_with(
            RUN
            | {
                "candidates.earth_pickup_a": [0.2],
                "external_events": [
                    {
                        "name": "near_fault",
                        "kind": "three_phase",
                        "per_year": 0.2,
                        "external_reactance_pu": 0.1,
                        "clearing_time_s": 0.1,
                    }
                ],
            }
        ),
        workers=1,
    )
    for worth in found.worths.values():
        assert all(
            float(gap.p) == float(gap.low) == float(gap.high) == 0
            for gap in worth.difference.values()
        )


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        (
            {"candidates.earth_pickup_a": {"from": 0.01, "to": 3.0, "step": 0.005}},
            "candidates: 599 settings, at most 500",
        ),
        (
            {"states.open_ct_circuit_counts": True, "states.open_ct_circuit_per_year": 0.1},
            "states.open_ct_circuit_counts: true",
        ),
        (
            {"policy.assumption_sets": [{"name": "slow", "changes": {"load.current_pu": 0.5}}]},
            "policy.assumption_sets: 1",
        ),
    ],
)
def test_what_it_cannot_answer_is_refused_before_sampling(
    changes: dict[str, Any], words: str
) -> None:
    with pytest.raises(StudyError) as caught:
        find_drivers(study_with(RUN | changes), workers=1)
    assert any(fault.startswith(words) for fault in caught.value.faults)
