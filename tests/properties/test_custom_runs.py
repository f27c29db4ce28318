"""Whole small studies on schemes of the study's own: rebuilt ones, shared cores, own second
cores."""

from __future__ import annotations

from typing import Any

import pandas as pd
import pytest

from montecarlo import run_study
from montecarlo.relays.schemes import OF_GROUPS
from montecarlo.study.description import Study
from tests.made.branches import BRANCHES
from tests.made.custom_schemes import REBUILT, element, leg, line_ends, phase_leg
from tests.made.studies import study_with
from tests.properties.test_scheme_runs import FAST, GRIDS, IDEAL, NUMBERS, SMALL

SLOPES = {"first_slope": [0.1, 0.3]}
FOUR = [0.02, 0.05, 0.1, 0.2]
EVERY = GRIDS | {
    "biased_restricted_earth_fault": {"earth_pickup_a": [0.02, 0.05]} | SLOPES,
    "biased_with_restricted_earth_fault": GRIDS["biased"] | {"earth_pickup_a": [0.05]},
    "split_phase": {"phase_pickup_a": FOUR},
    "core_balance": {"phase_pickup_a": FOUR},
    "neutral_to_neutral": {"earth_pickup_a": FOUR},
}


def rows(study: Study) -> dict[str, pd.DataFrame]:
    """The candidates' numbers by scheme."""
    frame = run_study(study, workers=1).candidates
    return {
        kind: group.sort_values("candidate").reset_index(drop=True)
        for kind, group in frame.groupby("scheme")
    }


@pytest.mark.parametrize(
    "kind",
    [kind if kind in FAST else pytest.param(kind, marks=pytest.mark.slow) for kind in REBUILT],
)
def test_a_rebuilt_scheme_gives_the_built_in_s_numbers(kind: str) -> None:
    """Bit for bit, pick-up errors of each element included."""
    found = rows(
        study_with(
            SMALL
            | {
                "scheme": {
                    "kind": [kind, "mine"],
                    "watched_phases": ["L2", "L3"],
                    "custom": [REBUILT[kind](("L2", "L3"))],
                },
                "ct.neutral_conductor": {},
                "candidates": EVERY[kind],
            }
            | (BRANCHES if kind in OF_GROUPS else {})
        )
    )
    assert len(found["mine"]) == 4
    pd.testing.assert_frame_equal(found["mine"][NUMBERS], found[kind][NUMBERS], check_exact=True)


def test_an_added_scheme_leaves_the_numbers_of_the_others() -> None:
    alone = rows(
        study_with(SMALL | {"scheme": {"kind": "per_phase"}, "candidates": GRIDS["per_phase"]})
    )
    more = {"kind": ["mine", "per_phase"], "custom": [REBUILT["two_phase_one_earth"](("L1", "L2"))]}
    both = rows(
        study_with(
            SMALL
            | {
                "scheme": more,
                "candidates": GRIDS["two_phase_one_earth"] | GRIDS["per_phase"],
            }
        )
    )
    pd.testing.assert_frame_equal(
        alone["per_phase"][NUMBERS], both["per_phase"][NUMBERS], check_exact=True
    )


# --- one element per phase beside one for earth faults -------------------------


def beside(name: str, line_end: str) -> dict[str, Any]:
    """Three phase legs, and a residual leg of some line-end cores against the neutral conductor's
    CT."""
    phases = ("L1", "L2", "L3")
    return {
        "name": name,
        "legs": [
            *(phase_leg(phase) for phase in phases),
            leg("earth", "neutral_conductor", *line_ends("-", line_end), stabilising=True),
        ],
        "elements": [*(element(phase, "phase") for phase in phases), element("earth", "earth")],
    }


SHARED, OWN = beside("shared", "line_end"), beside("own", "second_line_end")
GRID = {"phase_pickup_a": [0.1], "earth_pickup_a": [0.05], "stabilising_resistance_ohm": [300]}


def four(changes: dict[str, Any], grid: dict[str, Any]) -> dict[str, pd.DataFrame]:
    return rows(
        study_with(
            SMALL
            | {
                "scheme": {
                    "kind": ["per_phase", "restricted_earth_fault", "shared", "own"],
                    "custom": [SHARED, OWN],
                },
                "ct.neutral_conductor": {},
                "ct.second_line_end": {},
                "candidates": grid,
            }
            | changes
        )
    )


def test_ideal_cts_do_not_know_whether_they_are_shared() -> None:
    """And what both elements miss is what the finer one does: earth faults alone."""
    found = four(IDEAL | {"internal_faults.shares": {"earth": 1.0}}, GRID)
    pd.testing.assert_frame_equal(found["shared"][NUMBERS], found["own"][NUMBERS], rtol=1e-9)
    one = found["restricted_earth_fault"]["p_missed"][0]
    assert found["shared"]["p_missed"][0] == pytest.approx(one, abs=2e-4)
    assert one < found["per_phase"]["p_missed"][0] - 0.1


@pytest.mark.slow
def test_own_cores_leave_the_phase_elements_alone_and_shared_ones_do_not() -> None:
    """An earth element that never operates: only its leg is there. The per-phase scheme on no ohms
    beside it."""
    quiet = GRID | {"earth_pickup_a": [50.0], "stabilising_resistance_ohm": [0, 300]}
    found = four({"policy.ignore_knee_rule": True}, quiet)
    plain = found["per_phase"].iloc[[0]].reset_index(drop=True)
    columns = [
        "p_missed",
        "p_false",
        "p_false_bound",
        "missed_line_end_law",
        "installation_false_p95",
    ]
    for row in (0, 1):
        own = found["own"].iloc[[row]].reset_index(drop=True)
        pd.testing.assert_frame_equal(own[columns], plain[columns], rtol=1e-9)
    assert found["shared"]["p_false"][0] == pytest.approx(plain["p_false"][0], abs=0.05)
    assert abs(found["shared"]["p_missed"][1] - plain["p_missed"][0]) > 1e-3
