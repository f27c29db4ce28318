"""The leading setting: told after the counted selection sample and after every round of a search;
no result depends on who listens."""

from __future__ import annotations

import pytest

from montecarlo import run_study
from montecarlo.engine.leading import Leading
from montecarlo.engine.progress import silent
from montecarlo.engine.run import run
from tests.made.studies import FEW_TYPES, study_with

SMALL = {
    **FEW_TYPES,
    "study.samples": 256,
    "study.rare_samples": 0,
    "candidates.phase_pickup_a": [0.2, 0.5],
    "candidates.earth_pickup_a": [0.1, 0.2],
}
RANGES = {
    "candidates.phase_pickup_a": {"from": 0.05, "to": 0.5, "step": 0.005},
    "candidates.earth_pickup_a": {"from": 0.01, "to": 0.5, "step": 0.005},
    "candidates.stabilising_resistance_ohm": [300],
}


class Told:
    """A progress that listens."""

    def __init__(self) -> None:
        self.found: list[Leading] = []
        self.stages: list[str] = []

    def __call__(self, done: int, total: int, what: str) -> None:
        if not done:
            self.stages.append(what)

    def leading(self, found: Leading) -> None:
        self.found.append(found)


def test_it_is_told_once_before_the_independent_sample() -> None:
    study, told = study_with(SMALL | {"policy.p_false_max": 0.5}), Told()
    outcome = run(study, workers=1, progress=told)
    (found,) = told.found
    batch = outcome.first
    place = batch.judgement.order()[0]
    assert (found.number, found.setting) == (place + 1, batch.settings[place])
    assert (found.samples, found.allowed) == (256, True)
    assert found.p_missed == batch.judgement.missed.total[place]
    assert found.bound == batch.judgement.bound[place] <= 0.5


def test_in_rounds_it_is_told_after_each() -> None:
    changes = {"study.samples": 2048, "study.racing": True, "policy.p_false_max": 0.5}
    told = Told()
    outcome = run(study_with(SMALL | changes), workers=1, progress=told)
    assert [one.samples for one in told.found] == [128, 256, 512, 1024, 2048]
    assert {one.of_samples for one in told.found} == {2048}
    last = told.found[-1]
    assert last.low <= last.p_missed <= last.high
    assert last.setting == outcome.settings[last.number - 1]


def test_without_an_allowed_setting_the_closest_is_told() -> None:
    study, told = study_with(SMALL | {"policy.p_false_max": 1e-6}), Told()
    outcome = run(study, workers=1, progress=told)
    (found,) = told.found
    usable = outcome.first.judgement.usable
    assert not found.allowed
    assert found.bound == outcome.first.judgement.bound[usable].min()
    assert outcome.chosen is None


def test_results_do_not_depend_on_who_listens() -> None:
    study = study_with(SMALL | {"policy.p_false_max": 0.5})
    heard, unheard = (run_study(study, workers=1, progress=one) for one in (Told(), silent))
    assert heard.candidates.equals(unheard.candidates)


@pytest.mark.slow
def test_every_round_of_a_search_tells_the_best_of_all_schemes() -> None:
    told = Told()
    kinds = {"scheme.kind": ["two_phase_one_earth", "per_phase"], "policy.p_false_max": 0.5}
    outcome = run(study_with(SMALL | RANGES | kinds), workers=1, progress=told)
    rounds = max(one.number for one in outcome.rounds)
    assert len(told.found) > rounds > 1
    best = dict[str, float]()
    for number, found in enumerate(told.found[:rounds], 1):
        best |= {one.scheme: one.p_missed for one in outcome.rounds if one.number == number}
        assert found.number is None
        assert found.p_missed == min(best.values())
