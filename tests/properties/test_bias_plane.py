"""The plane of bias and differential current: what lies above the characteristic is what the run
counts, and internal and external samples are those of the study's own batch."""

from __future__ import annotations

import csv
from dataclasses import replace
from io import StringIO
from typing import Any

import numpy as np
import pandas as pd
import pytest

from montecarlo.engine.block import Block, thresholds
from montecarlo.engine.job import Job
from montecarlo.engine.path import solve
from montecarlo.engine.sizes import designs
from montecarlo.sampling.stratum import Side
from montecarlo.secondary.restraint import threshold
from montecarlo.study.axes import Setting
from montecarlo.study.candidates import lattices_of
from montecarlo.study.description import Study
from montecarlo.study.strata import strata
from studies.waveforms import bias_plane as planes
from studies.waveforms import instants as critical
from studies.waveforms import judging
from studies.waveforms.bias_plane import Plane, bias_plane, events_of
from studies.waveforms.cases import nearest_cases
from studies.waveforms.run import waveforms
from studies.waveforms.trajectory import path_of
from tests.made.studies import REMOVE, study_with

BIASED: dict[str, Any] = {
    "study.samples": 256,
    "study.earth_fault_samples": 64,
    "study.installations": 16,
    "scheme.kind": "biased",
    "scheme.watched_phases": REMOVE,
    "scheme.bias_form": "greater_of",
    "ct.knee_voltage_v": 60,
    "relay.measure": "fundamental",
    "relay.pickup_error_percent": {"dist": "uniform", "low": -10, "high": 10},
    "candidates.first_slope": [0.1],
    "candidates.second_slope": [0.6],
    "candidates.turning_point_a": [1.5],
    "candidates.earth_pickup_a": REMOVE,
    "candidates.stabilising_resistance_ohm": REMOVE,
}
SETTING = Setting("biased", 0.2, None, 0.0, 0.0, 0.1, 0.6, 1.5)
DELAYED = Setting("biased", 0.1, None, 0.0, 0.02, 0.1, 0.6, 1.5)


def job_of(study: Study, setting: Setting) -> Job:
    return Job(study, lattices_of(study, setting), *designs(study))


@pytest.fixture(scope="module")
def study() -> Study:
    return study_with(BIASED)


@pytest.fixture(scope="module")
def plane(study: Study) -> Plane:
    found = bias_plane(study, SETTING)
    assert found is not None
    return found


@pytest.mark.parametrize("form", ["greater_of", "sum"])
@pytest.mark.parametrize("setting", [SETTING, DELAYED])
@pytest.mark.parametrize("drop_off", [1.0, 0.8])
def test_what_lies_above_is_what_the_run_counts(
    form: str, setting: Setting, drop_off: float
) -> None:
    """Sample by sample, for external events; with pick-up errors, a delay and a drop-off."""
    study = study_with({**BIASED, "scheme.bias_form": form, "relay.drop_off_ratio": drop_off})
    job = job_of(study, setting)
    (lattice,) = job.lattices
    tripped = []
    for stratum in (one for one in strata(study) if one.side is Side.EXTERNAL):
        for chunk in job.design_of(stratum).chunks(stratum):
            pickups = solve(Block(job, chunk)).pickups(lattice)  # type: ignore[union-attr]
            silent, _ = pickups.silent(*thresholds(lattice), len(lattice.delay_s))
            above = critical.instants(job, chunk)["above"].to_numpy()
            assert np.array_equal(above, ~silent[:, 0, 0])
            tripped += above.tolist()
    assert 0 < sum(tripped) < len(tripped)


def test_points_above_lie_above_the_characteristic_within_the_pick_up_error(plane: Plane) -> None:
    """Without a delay: the drawn place says the same as `above`, but for the error of the relay."""
    rows, set_to = plane.frame, plane.characteristic
    for error, side in ((0.1, True), (-0.1, False)):
        limit = threshold(SETTING.phase_pickup_a * (1 + error), rows["bias_a"], set_to.form)
        over = rows["difference_a"] > limit
        assert (rows["above"] | ~over if side else over | ~rows["above"]).all()


def test_a_higher_setting_has_fewer_above(study: Study, plane: Plane) -> None:
    higher = bias_plane(study, Setting("biased", 0.4, None, 0.0, 0.0, 0.1, 0.6, 1.5))
    assert higher is not None
    keys = ["type", "installation", "event"]
    both = plane.frame.merge(higher.frame, on=keys, suffixes=("", "_higher"))
    assert len(both) == len(plane.frame)
    assert not (both["above_higher"] & ~both["above"]).any()
    assert both["above_higher"].sum() < both["above"].sum()


def test_few_at_a_time_and_again_are_the_same(
    study: Study, plane: Plane, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(judging, "AT_ONCE", 1)
    again = bias_plane(study, SETTING)
    assert again is not None
    pd.testing.assert_frame_equal(again.frame, plane.frame)
    assert again.table() == plane.table()


def test_samples_without_a_result_are_left_out_and_counted(
    study: Study, plane: Plane, monkeypatch: pytest.MonkeyPatch
) -> None:
    def lossy(job: Job, chunk: Any) -> pd.DataFrame:
        rows = critical.instants(job, chunk)
        if chunk.stratum.kind == "near_fault":
            rows.loc[[0, 3], ["bias_a", "difference_a"]] = np.nan
        return rows

    monkeypatch.setattr(planes, "instants", lossy)
    found = bias_plane(study, SETTING)
    assert found is not None
    chunks = len(job_of(study, SETTING).design.chunks(strata(study)[-2]))
    assert found.unresolved["near_fault"] == 2 * chunks
    assert len(found.frame) == len(plane.frame) - 2 * chunks
    assert found.unresolved["far_fault"] == 0


def test_the_most_frequent_events_are_looked_at(
    study: Study, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(planes, "MOST_EVENTS", 1)
    found = bias_plane(study, SETTING)
    assert found is not None
    assert list(events_of(found)) == ["far_fault"]  # once a year against 0.2
    assert found.left_out == ("near_fault",)


def test_only_after_clearing_a_current_is_late(plane: Plane) -> None:
    rows = plane.frame
    near = rows[rows["type"].eq("near_fault")]
    assert near["after_clearing"].eq(near["time_s"] > 0.12).all()
    assert rows.loc[rows["side"].eq("internal"), "after_clearing"].isna().all()


def test_an_unbiased_setting_has_no_plane() -> None:
    study = study_with({"study.samples": 64, "study.installations": 16})
    setting = Setting("two_phase_one_earth", 0.1, 0.04, 300.0, 0.0)
    assert bias_plane(study, setting) is None
    assert (
        path_of(study, setting, [("x", case) for case in nearest_cases(study, setting).cases])
        is None
    )


def test_the_table_has_every_sample(plane: Plane) -> None:
    rows = list(csv.DictReader(StringIO(plane.table().decode())))
    assert len(rows) == len(plane.frame) == sum(plane.drawn.values())
    assert {row["above"] for row in rows} == {"true", "false"}
    assert {row["after_clearing"] for row in rows} == {"true", "false", ""}
    assert sum(row["above"] == "true" for row in rows) == plane.frame["above"].sum()


def test_the_path_is_that_of_the_worst_case(study: Study) -> None:
    cases = nearest_cases(study, SETTING).cases
    path = path_of(study, SETTING, [(f"case_{k}", case) for k, case in enumerate(cases)])
    assert path is not None
    assert path.case.kind == "false_trip"
    first = path.frame["time_s"].iloc[0]
    assert first == pytest.approx(0, abs=1 / path.case.rate_hz)
    over = path.frame[path.frame["difference_a"] > path.frame["operates_above_a"]]
    assert path.trips_s == pytest.approx(over["time_s"].iloc[0], abs=1.5 / path.case.rate_hz)
    assert path.case.cleared_s == 0.12 or path.case.stratum.kind == "far_fault"


def test_before_the_event_the_cores_stand_at_their_remanence() -> None:
    changes = {"ct.remanence_percent": 40, "load.current_pu": 0.01, "study.samples": 64}
    study = study_with({**BIASED, **changes})
    for case in nearest_cases(study, SETTING).cases:
        before = case.flux[:, case.times_s < 0]
        assert before == pytest.approx(0.4, abs=0.01)


def test_of_two_false_trips_the_path_is_one_of_a_phase_element(study: Study) -> None:
    """In the worse one another element trips alone."""
    case = next(one for one in nearest_cases(study, SETTING).cases if one.kind == "false_trip")
    quantity = np.append(0.5 * case.setting_a, 1.0)
    by_other = replace(case, quantity_a=quantity, setting_a=np.append(case.setting_a, 0.1))
    path = path_of(study, SETTING, [("by_other", by_other), ("by_phase", case)])
    assert path is not None
    assert path.name == "by_phase"
    both = path_of(study, SETTING, [("worst", case), ("next", case)])
    assert both is not None
    assert both.name == "worst"


@pytest.mark.parametrize("biased", [True, False])
def test_a_run_has_these_figures_where_phase_elements_are_biased(
    study: Study, biased: bool
) -> None:
    setting = SETTING
    if not biased:
        study = study_with({"study.samples": 64, "study.installations": 16})
        setting = Setting("two_phase_one_earth", 0.1, 0.04, 300.0, 0.0)
    part = waveforms(study, setting, {})
    own = {"bias_plane_near_fault", "bias_plane_far_fault", "trajectory"}
    assert own & part.figures.keys() == (own if biased else set())
    files = {"bias_plane.csv", "trajectory.csv"}
    assert files & part.files.keys() == (files if biased else set())
