"""Shares of faults between phases and between turns that come of the winding's places."""

from __future__ import annotations

from typing import Any

import pytest

from montecarlo.engine.groups import turn_faults
from montecarlo.plant.turns.catalogue import BETWEEN_PHASES
from montecarlo.study.description import Study
from montecarlo.study.read import digest
from tests.made.branches import BRANCHES, WINDING
from tests.made.studies import faults_of, study_with

SHARES = {"earth": 0.5, "phase_phase": 0.2, "three_phase": 0.05, "inter_turn": 0.25}
STUDY: dict[str, Any] = BRANCHES | {
    "winding": WINDING | {"slots": 72, "pole_pairs": 4, "pitch": 7},
    "scheme.kind": "core_balance",
    "candidates": {"phase_pickup_a": [0.05]},
    "internal_faults.shares": SHARES,
}
ASKED = {"internal_faults.turns.shares_from_catalogue": True}
EXPONENT = "internal_faults.turns.voltage_exponent"


def within(study: Study, exponent: float) -> float:
    """Share of the weight that lies within a phase."""
    assert study.winding is not None
    faults = turn_faults(study.winding)
    weights = faults.contacts.count * abs(faults.emf) ** exponent
    return float(weights[~faults.contacts.of(BETWEEN_PHASES)].sum() / weights.sum())


@pytest.mark.parametrize("exponent", [0, 2.5, 12])
def test_the_places_divide_the_sum_of_both(exponent: float) -> None:
    study = study_with(STUDY | ASKED | {EXPONENT: exponent})
    shares = study.internal_faults.shares
    assert shares.inter_turn == pytest.approx(0.45 * within(study, exponent), rel=1e-11)
    assert shares.phase_phase + shares.inter_turn == pytest.approx(0.45, rel=1e-11)
    assert (shares.earth, shares.three_phase) == (0.5, 0.05)
    moved = {"internal_faults.shares": SHARES | {"phase_phase": 0.0, "inter_turn": 0.45}}
    other = study_with(STUDY | ASKED | {EXPONENT: exponent} | moved)
    assert other == study  # their sum alone counts
    assert digest(other) == digest(study)


def test_places_alone_leave_shares_as_they_are() -> None:
    assert study_with(STUDY | {EXPONENT: 10}).internal_faults.shares == (
        study_with(STUDY).internal_faults.shares
    )
    assert study_with(STUDY).internal_faults.shares.model_dump()["inter_turn"] == 0.25


def test_changed_keys_divide_anew() -> None:
    sets = [
        {"name": "by voltage", "changes": {EXPONENT: 9}},
        {"name": "as given", "changes": {"internal_faults.turns.shares_from_catalogue": False}},
        {"name": "other coils", "changes": {"winding.turns_per_coil": 1}},
    ]
    study = study_with(STUDY | ASKED | {"policy.assumption_sets": sets})
    found = {name: one.internal_faults.shares.inter_turn for name, one in study.assumption_sets}
    assert found["by voltage"] == pytest.approx(0.45 * within(study, 9), rel=1e-11)
    assert found["as given"] == 0.25
    (*_, (_, other)) = study.assumption_sets
    assert found["other coils"] == pytest.approx(0.45 * within(other, 0), rel=1e-11)
    assert found["other coils"] < study.internal_faults.shares.inter_turn


def test_an_alternative_divides_anew() -> None:
    given = [{"name": "by voltage", "changes": {EXPONENT: 9}}]
    changes = {"study.kind": "alternatives", "alternatives": given}
    study = study_with(STUDY | ASKED | changes)
    ((_, one),) = study.alternative_studies
    assert one.internal_faults.shares.inter_turn == pytest.approx(0.45 * within(study, 9), rel=1e-9)


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        (
            {"internal_faults.shares": {"earth": 0.9, "three_phase": 0.1}},
            "internal_faults.turns.shares_from_catalogue: true, but shares.phase_phase and"
            " shares.inter_turn are both 0",
        ),
        ({EXPONENT: 20.5}, f"{EXPONENT}: 20.5, must be at least 0 and at most 20"),
        ({EXPONENT: -1}, f"{EXPONENT}: -1, must be at least 0 and at most 20"),
        (
            {EXPONENT: 3}
            | {"winding": WINDING | {"slots": 6, "pole_pairs": 1, "pitch": 3, "turns_per_coil": 1}},
            f"{EXPONENT}: 3, must be 0; no two conductors of a phase that touch",
        ),
    ],
)
def test_each_error_is_one_line(changes: dict[str, Any], said: str) -> None:
    (line,) = faults_of(STUDY | ASKED | changes)
    assert line.startswith(said)


def test_it_needs_the_winding() -> None:
    alone = {
        "internal_faults.turns": {"shares_from_catalogue": True},
        "internal_faults.shares": SHARES,
    }
    assert faults_of(alone) == (
        "winding: missing; [internal_faults.turns] needs the coils; add [winding]",
    )
