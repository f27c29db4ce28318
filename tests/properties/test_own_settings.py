"""Settings that elements have for themselves: equal to the common ones they change nothing, and a
high-set element is one more element on the same leg."""

from __future__ import annotations

from typing import Any

import pandas as pd
import pytest

from montecarlo import Result, run_study
from tests.made.studies import FEW_TYPES, faults_of, study_with

SMALL: dict[str, Any] = FEW_TYPES | {
    "study.samples": 256,
    "study.installations": 32,
    "study.earth_fault_samples": 64,
    "policy.p_false_max": 1e-9,  # none may be chosen: all rows are of the first batch
}
REFS = [
    {
        "name": "both",
        "legs": [
            {"name": phase, "cts": [f"neutral_end.{phase}", f"-line_end.{phase}"]}
            for phase in ("L1", "L2", "L3")
        ]
        + [{"name": "residual", "cts": [f"neutral_end.L{k}" for k in (1, 2, 3)]}],
        "elements": [
            {
                "leg": phase,
                "setting": "phase",
                "bias_cts": [f"neutral_end.{phase}", f"line_end.{phase}"],
            }
            for phase in ("L1", "L2", "L3")
        ]
        + [
            {
                "leg": "residual",
                "setting": "earth",
                "bias_cts": [f"neutral_end.L{k}" for k in (1, 2, 3)],
            }
        ],
    }
]
NUMBERS = [
    "p_missed",
    "p_missed_low",
    "p_missed_high",
    "p_false",
    "p_false_low",
    "p_false_high",
    "protected_median",
    "missed_line_end_law",
    "load_operates_share",
    "unresolved",
]


def test_slopes_of_the_earth_element_need_its_first_slope() -> None:
    grids = {"candidates.earth_second_slope": [0.5], "candidates.earth_turning_point_a": [1.0]}
    biased = {"candidates.first_slope": [0.1], "scheme.kind": "both", "scheme.custom": REFS}
    told = (
        "candidates.earth_first_slope: missing; earth_second_slope and earth_turning_point_a go"
        " with it"
    )
    assert told in faults_of(biased | grids)


def per_phase(**grids: Any) -> Result:
    candidates = {"stabilising_resistance_ohm": [100.0]} | grids
    return run_study(
        study_with(SMALL | {"scheme.kind": "per_phase", "candidates": candidates}), workers=1
    )


def two_stages(**grids: Any) -> Result:
    candidates = {"phase_pickup_a": [0.1, 0.3], "earth_pickup_a": [0.02, 0.05]} | grids
    changes = {"scheme.kind": "both", "scheme.custom": REFS, "candidates": candidates}
    return run_study(study_with(SMALL | changes), workers=1)


def same(one: pd.DataFrame, other: pd.DataFrame) -> None:
    pd.testing.assert_frame_equal(
        one[NUMBERS].reset_index(drop=True), other[NUMBERS].reset_index(drop=True)
    )


def test_a_high_set_at_a_pickup_is_a_phase_element_at_that_pickup() -> None:
    plain = per_phase(phase_pickup_a=[0.05, 0.2], delay_s=[0.0, 0.05]).candidates
    coarse = per_phase(
        phase_pickup_a=[0.2], delay_s=[0.0, 0.05], high_set_pickup_a=[0.05]
    ).candidates
    same(plain[plain["phase_pickup_a"] == 0.05], coarse)


def test_a_high_set_at_once_beside_delayed_elements_trips_where_either_does() -> None:
    fine = per_phase(phase_pickup_a=[0.05], delay_s=[0.1]).candidates.iloc[0]
    coarse = per_phase(phase_pickup_a=[0.1], delay_s=[0.0]).candidates.iloc[0]
    both = per_phase(
        phase_pickup_a=[0.05], delay_s=[0.1], high_set_pickup_a=[0.1], high_set_delay_s=[0.0]
    ).candidates.iloc[0]
    assert max(fine.p_false, coarse.p_false) <= both.p_false <= fine.p_false + coarse.p_false
    assert both.p_missed <= min(fine.p_missed, coarse.p_missed)
    assert coarse.p_false > fine.p_false


def test_a_high_set_out_of_reach_changes_nothing() -> None:
    grids: dict[str, Any] = {"phase_pickup_a": [0.05, 0.2], "delay_s": [0.0, 0.05]}
    same(
        per_phase(**grids).candidates,
        per_phase(**grids, high_set_pickup_a=[50.0], high_set_delay_s=[0.1]).candidates,
    )


def test_settings_of_its_own_that_are_the_common_ones_change_nothing() -> None:
    grids: dict[str, Any] = {
        "delay_s": [0.02],
        "first_slope": [0.1],
        "second_slope": [0.5],
        "turning_point_a": [1.0],
    }
    own = {f"earth_{key}": values for key, values in grids.items()}
    same(two_stages(**grids).candidates, two_stages(**grids, **own).candidates)


@pytest.mark.parametrize("delay_s", [0.0, 0.1])
def test_a_delay_of_the_earth_element_leaves_phase_elements_alone(delay_s: float) -> None:
    """Where the phase elements are out of reach, all that is left is the earth element."""
    grids: dict[str, Any] = {"phase_pickup_a": [50.0], "first_slope": [0.05]}
    common = two_stages(**grids, delay_s=[delay_s]).candidates
    own = two_stages(**grids, delay_s=[0.05], earth_delay_s=[delay_s]).candidates
    same(common, own)


def test_a_second_earth_slope_raises_what_is_missed_and_lowers_false_trips() -> None:
    grids: dict[str, Any] = {"phase_pickup_a": [50.0], "first_slope": [0.05]}
    low = two_stages(**grids).candidates
    high = two_stages(**grids, earth_first_slope=[0.6]).candidates
    assert (high["p_missed"] >= low["p_missed"]).all()
    assert (high["p_false"] <= low["p_false"]).all()
    assert high["p_missed"].sum() > low["p_missed"].sum()


def test_every_combination_of_own_settings_is_a_candidate() -> None:
    result = two_stages(
        first_slope=[0.1],
        earth_delay_s=[0.0, 0.1],
        high_set_pickup_a=[5.0, 8.0],
        high_set_delay_s=[0.0],
    )
    frame = result.candidates
    own = ["phase_pickup_a", "earth_pickup_a", "earth_delay_s", "high_set_pickup_a"]
    assert len(frame) == len(frame[own].drop_duplicates()) == 16
