"""Runs with internal faults in time: what holds of evolving faults and of faults with their DC
offset, whatever the numbers."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from montecarlo import run_study, sample_frames
from montecarlo.frames.result import Result
from tests.made.studies import FEW_TYPES, REMOVE, study_with

if TYPE_CHECKING:
    import pandas as pd

EVOLVING: dict[str, Any] = FEW_TYPES | {
    "study.samples": 128,
    "study.installations": 16,
    "study.earth_fault_samples": 16,
    "study.rare_samples": 0,
    "scheme": {"kind": "biased", "bias_form": "sum", "bias_current": "mean"},
    "candidates": {
        "phase_pickup_a": [0.1, 0.3, 1.0],
        "first_slope": [0.1, 0.5],
        "second_slope": [0.8],
        "turning_point_a": [1.0],
        "delay_s": [0, 0.03],
    },
    "relay.earth_burden_ohm": REMOVE,
    "internal_faults.allowed_time_s": 0.2,
    "internal_faults.phase_fault_resistance_ohm": 0.02,
    "internal_faults.shares": {"earth": 0.5, "phase_phase": 0.3, "evolving": 0.2},
    "internal_faults.evolving": {
        "event": "near_fault",
        "after_s": {"dist": "uniform", "low": 0.005, "high": 0.08},
        "kind": "phase_phase",
    },
    "backup.neutral_voltage": {"pickup_percent": 10, "delay_s": 0.1},
    "backup.allowed_time_s": 1.0,
    "policy.p_false_max": 0.9,
}
OFFSET = {"internal_faults.dc_offset": True}


@pytest.fixture(scope="module")
def result() -> Result:
    return run_study(study_with(EVOLVING | OFFSET), workers=1)


def of_type(result: Result, kind: str) -> pd.DataFrame:
    rows = result.by_type
    return rows[(rows["side"] == "internal") & (rows["type"] == kind)].set_index("candidate")


def test_it_is_a_type_of_its_own(result: Result) -> None:
    rows = of_type(result, "evolving")
    assert len(rows) == len(result.candidates)
    assert (rows["samples"] == 128).all()
    assert rows["weight"].unique() == pytest.approx([0.2])
    # the back-up sees nothing of it
    assert "evolving" not in set(result.backup["type"])
    assert (rows["p_nobody"] == rows["p"]).all()


def test_samples_tell_what_the_table_counts(result: Result) -> None:
    """By the critical pick-ups of each delay, as a reader of the frame finds them."""
    study = study_with(EVOLVING | OFFSET)
    for name in ("internal.evolving", "internal.phase_phase"):
        frame = sample_frames(study, [name])[name]
        rows = of_type(result, name.partition(".")[2])
        selection = result.candidates[result.candidates["batch"] == 1]
        assert len(selection) > 2
        for _, one in selection.iterrows():
            words = f"slope {one['first_slope']:g} (0.8 above 1 A)"
            (column,) = (
                key
                for key in frame.columns
                if key.startswith("critical_pickup_a")
                and words in key
                and key.endswith(f"{one['delay_s']:g} s]")
            )
            missed = float((frame[column] <= one["phase_pickup_a"]).mean())
            assert rows.loc[one["candidate"], "p"] == pytest.approx(missed, abs=1e-7)


def test_more_time_never_misses_more() -> None:
    """The same samples in windows of 60 and 200 ms: what is sustained within the shorter one is
    within the longer one, sample by sample."""
    longer, shorter = (
        sample_frames(study_with(EVOLVING | OFFSET | changes))
        for changes in ({}, {"internal_faults.allowed_time_s": 0.06})
    )
    for name in ("internal.evolving", "internal.phase_phase"):
        columns = [key for key in longer[name].columns if key.startswith("critical_pickup_a")]
        assert len(columns) == 4
        few, more = (frame[name][columns].to_numpy() for frame in (shorter, longer))
        assert (few <= more + 1e-9).all()  # rounding: exponentials are made by recurrence
        assert (few < more - 1e-3).any()


def test_a_longer_delay_never_misses_less(result: Result) -> None:
    for kind in ("evolving", "phase_phase"):
        p = of_type(result, kind)["p"].to_numpy().reshape(-1, 2)
        assert (result.candidates["delay_s"].to_numpy().reshape(-1, 2) == [0, 0.03]).all()
        assert (p[:, 0] <= p[:, 1]).all()


def test_other_types_have_the_numbers_that_they_had() -> None:
    """A type more and an offset that is not asked for change nothing else."""
    both = [
        sample_frames(study_with(changes), ["internal.phase_phase", "external.near_fault"])
        for changes in (
            EVOLVING,
            {key: value for key, value in EVOLVING.items() if not key.endswith("evolving")}
            | {"internal_faults.shares": {"earth": 0.7, "phase_phase": 0.3}},
        )
    ]
    for name, frame in both[0].items():
        for key in both[1][name].columns:
            np.testing.assert_array_equal(frame[key].to_numpy(), both[1][name][key].to_numpy())
