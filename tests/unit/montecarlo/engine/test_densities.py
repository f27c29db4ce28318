"""Searches for densities: with racing until they are good enough, without it as they were."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from montecarlo.engine.densities import FIXED, RACING, find_densities, stage_size, way_of
from montecarlo.engine.job import Job
from montecarlo.engine.progress import search_stage, silent
from montecarlo.engine.rare import Densities, final_batch
from montecarlo.engine.sizes import designs
from montecarlo.engine.stages import stages_of
from montecarlo.engine.workers import Workers
from montecarlo.estimates.rare import diagnose
from montecarlo.sampling.stratum import Side, Stratum
from montecarlo.study.candidates import candidate_lattices
from montecarlo.study.description import Study
from tests.made.studies import FEW_TYPES, study_with

NEAR = Stratum.of(Side.EXTERNAL, "near_fault")
SMALL: dict[str, Any] = {
    **FEW_TYPES,
    "study.rare_samples": 4096,
    "candidates.stabilising_resistance_ohm": [300],
    "candidates.phase_pickup_a": [5.0],
    "candidates.earth_pickup_a": [0.04, 0.06],
    "external_events.near_fault.external_reactance_pu": 0.15,
}
RACED = SMALL | {"study.racing": True}
OUT_OF_REACH = {"candidates.phase_pickup_a": [50.0], "candidates.earth_pickup_a": [50.0]}
COMMON = {"candidates.earth_pickup_a": [0.0005, 0.001]}


def job_of(study: Study) -> Job:
    return Job(study, candidate_lattices(study), *designs(study))


class Told:
    """Progress that remembers the stages and how many samples each has."""

    def __init__(self) -> None:
        self.totals: dict[str, int] = {}

    def __call__(self, done: int, total: int, what: str) -> None:
        self.totals[what] = total


def found(changes: dict[str, Any]) -> tuple[Densities, dict[str, int]]:
    told = Told()
    return find_densities(job_of(study_with(changes)), Workers(1), told), told.totals


def same(one: Densities, other: Densities) -> bool:
    return one.keys() == other.keys() and all(
        np.array_equal(getattr(one[name].mixture, part), getattr(other[name].mixture, part))
        for name in one
        for part in ("active", "shares", "means", "sds")
    )


def test_without_racing_the_density_is_what_it_always_was() -> None:
    """Frozen before there was another way, and again when interrupted currents changed."""
    densities, totals = found(SMALL)
    mixture = densities[NEAR].mixture
    assert (len(mixture.shares), len(mixture.active)) == (3, 14)
    assert mixture.shares[1:].max() == pytest.approx(0.6, rel=1e-12)
    assert np.abs(mixture.means).sum() == pytest.approx(24.963216267352678, rel=1e-6)
    assert np.log(mixture.sds).sum() == pytest.approx(-4.433030017920241, rel=1e-6)
    assert list(totals.values()) == [4096, 4096, 4096, 8192]


def test_with_racing_a_search_takes_fewer_samples_and_promises_hits() -> None:
    densities, totals = found(RACED)
    assert sum(totals.values()) <= 10_240
    final = final_batch(job_of(study_with(RACED)), densities, 1, Workers(1), silent)
    seen = diagnose(final[NEAR].candidates).seen[1]  # at 0.06 A
    assert 1e-5 < seen.p < 1e-2
    assert seen.steady_hits > 20 * seen.p * seen.trials  # of N(0, I): p n


@pytest.mark.parametrize("changes", [OUT_OF_REACH, COMMON])
def test_an_event_that_asks_for_nothing_ends_at_once(changes: dict[str, Any]) -> None:
    densities, totals = found(RACED | changes)
    assert len(densities[NEAR].mixture.shares) == 1  # N(0, I)
    assert list(totals) == [search_stage(1, len(RACING.stages))]


def test_events_end_one_by_one() -> None:
    """A near fault is common at 0.03 A; later stages are the far fault's alone."""
    changes = {key: value for key, value in RACED.items() if not key.startswith("external")}
    few = {"candidates.earth_pickup_a": [0.03], "candidates.phase_pickup_a": [50.0]}
    study = study_with(changes | few)
    told = Told()
    densities = find_densities(job_of(study), Workers(1), told)
    size = stage_size(study, RACING.stages[0])
    assert [*told.totals.values()][:2] == [2 * size, size]
    found_none = [name for name, one in densities.items() if len(one.mixture.shares) == 1]
    assert found_none == [NEAR]


def test_stages_of_large_studies_stay_small_with_racing_alone() -> None:
    large = SMALL | {"study.rare_samples": 2**20}
    assert stage_size(study_with(large), 2.0) == 2**21
    assert stage_size(study_with(large | {"study.racing": True}), 1.0) == 32_768
    assert stage_size(study_with(RACED), 0.25) == 2048


@pytest.mark.slow
def test_the_number_of_workers_does_not_matter() -> None:
    job = job_of(study_with(RACED))
    alone = find_densities(job, Workers(1), silent)
    assert same(alone, find_densities(job, Workers(2), silent))


@pytest.mark.parametrize("racing", [False, True])
def test_progress_knows_the_stages(racing: bool) -> None:
    study = study_with(SMALL | {"study.racing": racing})
    way = way_of(study)
    assert way is (RACING if racing else FIXED)
    planned = {stage.what: stage.work for stage in stages_of(study)}
    for number, part in enumerate(way.stages, 1):
        work = planned[search_stage(number, len(way.stages))]
        assert work == len(candidate_lattices(study)) * stage_size(study, part)
