"""Whole small studies with each remanence model, and with the option that compares them."""

from __future__ import annotations

from typing import Any

import pytest
from pandas.testing import assert_frame_equal

from montecarlo import Result, run_study
from montecarlo.engine.workers import Workers
from studies.sweep.run import findings
from tests.made.said import words
from tests.made.studies import FEW_TYPES, study_with

EXISTING = {"phase_pickup_a": 0.5, "earth_pickup_a": 0.3, "stabilising_resistance_ohm": 50.0}
SMALL: dict[str, Any] = FEW_TYPES | {
    "study.samples": 256,
    "study.installations": 32,
    "study.earth_fault_samples": 64,
    "policy.p_false_max": 0.5,
    "candidates.existing": EXISTING,
}
SHIFTED = {"ct.remanence_model": "shifted_curve"}
BOTH = {"study.compare_remanence_models": True}
TABLES = ("candidates", "by_type", "protected_winding")


@pytest.fixture(scope="module")
def both() -> Result:
    return run_study(study_with(SMALL | BOTH), workers=1)


@pytest.fixture(scope="module")
def shifted() -> Result:
    return run_study(study_with(SMALL | SHIFTED), workers=1)


def test_the_second_run_is_the_study_with_the_other_model(both: Result, shifted: Result) -> None:
    assert both.other is not None
    assert shifted.other is None
    assert shifted.remanence_models is None
    one, other = (
        result.candidates[result.candidates["batch"] == 1] for result in (shifted, both.other)
    )
    shared = one["candidate"][one["candidate"].isin(other["candidate"])]
    assert len(shared) > 10
    assert_frame_equal(
        one[one["candidate"].isin(shared)].reset_index(drop=True),
        other[other["candidate"].isin(shared)].reset_index(drop=True),
        check_exact=True,
    )
    assert both.other.chosen == shifted.chosen


def test_the_first_run_does_not_know_of_the_second(both: Result) -> None:
    alone = run_study(study_with(SMALL), workers=1)
    for table in TABLES:
        assert_frame_equal(getattr(alone, table), getattr(both, table), check_exact=True)


def test_the_models_differ_only_in_what_cores_do(both: Result) -> None:
    assert both.other is not None
    assert both.study.ct.remanence_model == "stop_operators"
    assert both.other.study.ct.remanence_model == "shifted_curve"
    assert_frame_equal(both.inputs, both.other.inputs, check_exact=True)
    assert not both.other.candidates["p_missed"].equals(both.candidates["p_missed"])


def test_the_table_has_what_each_chooses_and_the_existing_in_both(both: Result) -> None:
    table, other = both.remanence_models, both.other
    assert table is not None
    assert other is not None
    assert list(dict.fromkeys(table["remanence_model"])) == ["stop_operators", "shifted_curve"]
    for model, result, rival in (("stop_operators", both, other), ("shifted_curve", other, both)):
        rows = table[table["remanence_model"] == model].set_index("candidate")
        assert rows.index[rows["chosen"]].tolist() == [result.chosen]
        assert rows.index[rows["chosen_by_other"]].tolist() == [rival.chosen]
        assert rows["existing"].sum() == 1
        full = result.candidates.set_index("candidate")
        assert rows["p_missed"].to_dict() == full.loc[rows.index, "p_missed"].to_dict()
        assert (rows["batch"] == 2).loc[[result.chosen]].all()
    second = table[table["remanence_model"] == "shifted_curve"]
    # what the first run chose is judged on fresh numbers too
    assert (second["batch"] == 2).all()


@pytest.mark.slow
def test_ideal_cts_remember_nothing_in_either() -> None:
    result = run_study(study_with(SMALL | BOTH | {"ct.knee_current_a": 0.0}), workers=1)
    assert result.other is not None
    assert result.chosen == result.other.chosen
    for table in TABLES:
        assert_frame_equal(getattr(result, table), getattr(result.other, table), check_exact=True)


def test_the_option_makes_a_file_and_a_sentence(both: Result) -> None:
    made = findings(both, Workers(1))
    assert "remanence_models" in made.frames
    assert both.other is not None
    same = both.chosen == both.other.chosen
    said = "the same setting is chosen" if same else f"no. {both.other.chosen} is chosen"
    assert f"With the remanence model shifted_curve {said}" in words(made.text)
    record = made.provenance["other_model"]
    assert record["remanence_model"] == "shifted_curve"
    assert record["chosen"] == both.other.chosen


def test_without_it_there_is_neither(shifted: Result) -> None:
    made = findings(shifted, Workers(1))
    assert "remanence_models" not in made.frames
    assert made.provenance["other_model"] is None
    assert made.provenance["remanence_model"] == "shifted_curve"


def test_progress_names_the_second_run() -> None:
    told: list[str] = []
    changes = {
        "study.samples": 32,
        "study.earth_fault_samples": 32,
        "candidates.stabilising_resistance_ohm": [0],
    }
    run_study(
        study_with(SMALL | BOTH | changes),
        workers=1,
        progress=lambda done, total, what: told.append(what),
    )
    at = next(k for k, what in enumerate(told) if what.endswith(", shifted_curve"))
    assert all(what.endswith(", shifted_curve") for what in told[at:])


@pytest.mark.slow
def test_nothing_to_choose_in_either_leaves_the_existing_setting(both: Result) -> None:
    result = run_study(study_with(SMALL | BOTH | {"policy.p_false_max": 1e-9}), workers=1)
    assert result.remanence_models is not None
    assert len(result.remanence_models) == 2
    assert result.remanence_models["existing"].all()
