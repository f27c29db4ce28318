"""A rough run: how much of the study it takes, and that its samples are the study's own."""

from __future__ import annotations

from typing import Any

import pytest

from montecarlo import sample_frames
from montecarlo.engine.quick import rough_run
from montecarlo.engine.sizes import designs
from montecarlo.study.budget import shown_at_best, too_few
from tests.made.studies import study_with

EXTERNAL, EARTH = "external.near_fault", "internal.earth"


def sized(samples: int, **keys: Any) -> dict[str, Any]:
    return {"study.samples": samples, **{f"study.{key}": value for key, value in keys.items()}}


@pytest.mark.parametrize("limit", [0.1, 0.01, 0.001, 0.0002])
def test_counted_samples_show_the_limit_with_one_trip_to_spare_where_the_study_can(
    limit: float,
) -> None:
    study = study_with(sized(65536, earth_fault_samples=4096) | {"policy.p_false_max": limit})
    small, rough = rough_run(study)
    assert rough.shows_limit
    assert not too_few(small)
    assert small.study.samples >= 65536 / 16
    assert rough.samples == designs(small)[0].samples_drawn <= rough.of_samples == 65536
    if rough.samples > 65536 / 16:  # no more than is needed
        assert 1.3 < limit / shown_at_best(small) < 1.8


def test_what_the_study_cannot_show_is_said() -> None:
    study = study_with(sized(1024) | {"policy.p_false_max": 1e-5})
    small, rough = rough_run(study)
    assert not rough.shows_limit
    assert small.study.samples == 1024
    assert too_few(small)


def test_what_is_left_out_is_what_the_study_asks_for() -> None:
    asked = sized(8192, precision={"p_missed": 0.1}, compare_remanence_models=True)
    small, rough = rough_run(study_with(asked))
    assert (rough.weighted, rough.precision, rough.other_model) == (True, True, True)
    assert small.study.rare_samples == 0
    assert small.study.precision is None
    assert not small.study.compare_remanence_models
    _, rough = rough_run(study_with(sized(2048)))
    assert (rough.weighted, rough.precision, rough.other_model) == (False, False, False)


def test_assumption_sets_are_as_small() -> None:
    sets = [{"name": "dry", "changes": {"ct.remanence_percent": 0}}]
    study = study_with(sized(8192) | {"policy.assumption_sets": sets})
    small, _ = rough_run(study)
    ((name, other),) = small.assumption_sets
    assert (name, other.study.samples) == ("dry", small.study.samples)
    assert other.study.rare_samples == 0
    assert study.assumption_sets[0][1].study.samples == 8192  # the whole run's stay


def test_a_study_without_earth_faults_takes_none() -> None:
    shares = {"internal_faults.shares": {"phase_phase": 1.0}}
    assert rough_run(study_with(sized(2048) | shares))[1].of_earth_faults == 0


@pytest.mark.parametrize("name", [EXTERNAL, EARTH])
def test_its_samples_are_the_first_of_each_installation_of_the_whole_run(name: str) -> None:
    study = study_with(sized(2048, earth_fault_samples=512, rare_samples=0))
    small, rough = rough_run(study)
    assert rough.earth_faults < rough.of_earth_faults
    own, whole = (sample_frames(one, [name])[name] for one in (small, study))
    first = whole.groupby("installation", sort=False).head(len(own) // 32)
    keys = ["installation", "event"]
    first, own = (frame.sort_values(keys).reset_index(drop=True) for frame in (first, own))
    assert len(own) < len(whole)
    assert own.equals(first[own.columns])
