"""A selection sample in rounds: what it leaves out, and that nothing else moves."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from montecarlo import run_study
from montecarlo.engine.batch import Batch, in_all_assumption_sets
from montecarlo.engine.progress import silent
from montecarlo.engine.racing import racing_of
from montecarlo.engine.run import run
from montecarlo.engine.workers import Workers
from montecarlo.errors import StudyError
from montecarlo.study.candidates import candidate_lattices, grids_of, with_found
from montecarlo.study.description import Study
from montecarlo.study.ranges import at_first
from tests.made.studies import FEW_TYPES, study_with

# One resistance is far better than the others, which all miss more from the first round on.
RACE: dict[str, Any] = FEW_TYPES | {
    "study.racing": True,
    "study.samples": 2048,
    "study.rare_samples": 0,
    "candidates.stabilising_resistance_ohm": [0, 100, 1000],
    "candidates.phase_pickup_a": [0.2, 0.8],
    "candidates.earth_pickup_a": [0.02, 0.1],
    "candidates.delay_s": [0.0, 0.2],
    "policy.p_false_max": 0.05,
}


def batch(study: Study, *, racing: bool, workers: int = 1) -> Batch:
    rules = racing_of(study, by_scheme=False) if racing else None
    lattices = candidate_lattices(study)
    return in_all_assumption_sets(study, lattices, 0, Workers(workers), silent, racing=rules)


@pytest.fixture(scope="module")
def raced() -> Batch:
    return batch(study_with(RACE), racing=True)


@pytest.fixture(scope="module")
def whole() -> Batch:
    return batch(study_with(RACE), racing=False)


def test_circuits_are_left_out_and_none_of_the_best(raced: Batch, whole: Batch) -> None:
    gone = [setting for part in raced.left_out.values() for setting in part.settings]
    assert gone
    assert sorted(map(repr, [*gone, *raced.settings])) == sorted(map(repr, whole.settings))
    assert raced.every == whole.settings
    best = whole.settings[whole.verdict.order()[0]]
    assert raced.settings[raced.verdict.order()[0]] == best


def test_what_is_drawn_whole_has_the_counts_of_one_long_run(raced: Batch, whole: Batch) -> None:
    at = [whole.settings.index(setting) for setting in raced.settings]
    for name, one in whole.strata.items():
        other = raced.strata[name]
        assert (other.trials == one.trials).all()
        if one.conditional:  # sums of probabilities, added in another order
            assert other.total == pytest.approx(one.total[at], rel=1e-12, abs=1e-12)
        else:
            assert (other.total == one.total[at]).all()


def test_what_is_left_out_has_the_first_events_of_each_installation(raced: Batch) -> None:
    for part in raced.left_out.values():
        short = part.samples / raced.samples
        assert short <= 1
        for name, stratum in part.strata.items():
            drawn = stratum.trials.sum() / raced.strata[name].trials.sum()
            assert drawn == 1 if name.startswith("state") else drawn >= short


def test_a_first_part_of_a_batch_is_the_batch_of_fewer_samples(raced: Batch) -> None:
    number, part = next(iter(raced.left_out.items()))
    assert number < 5
    small = study_with(RACE | {"study.samples": part.samples})
    alone = batch(small, racing=False)
    at = [alone.settings.index(setting) for setting in part.settings]
    for name, stratum in part.strata.items():
        if name.startswith("external"):
            assert (stratum.total == alone.strata[name].total[at]).all()


def test_one_worker_and_two_leave_out_the_same(raced: Batch) -> None:
    other = batch(study_with(RACE), racing=True, workers=2)
    assert {number: part.lattices for number, part in other.left_out.items()} == {
        number: part.lattices for number, part in raced.left_out.items()
    }
    for name, stratum in raced.strata.items():
        assert (other.strata[name].total == stratum.total).all()


def test_the_existing_setting_and_compared_ones_stay() -> None:
    existing = {
        "phase_pickup_a": 0.8,
        "earth_pickup_a": 0.1,
        "stabilising_resistance_ohm": 1000,
        "delay_s": 0.0,
    }
    study = study_with(RACE | {"candidates.existing": existing, "study.compare": [[1, 9]]})
    gone = batch(study, racing=True).left_out
    left_out = {one.circuit.stabilising_resistance_ohm for b in gone.values() for one in b.lattices}
    assert not left_out & {0.0, 100.0, 1000.0} - {100.0}


def test_a_whole_run_chooses_the_same_and_tells_how_many_samples_each_has() -> None:
    raced, whole = (
        run_study(study_with(RACE | {"study.racing": racing}), workers=1)
        for racing in (True, False)
    )
    assert raced.chosen == whole.chosen
    gone = {
        number
        for part in raced.outcome.first.left_out.values()
        for number in (raced.outcome.settings.index(one) + 1 for one in part.settings)
    }
    again = set(raced.candidates.loc[raced.candidates["batch"] == 2, "candidate"])
    short = raced.by_type[raced.by_type["candidate"].isin(gone - again)]
    assert len(raced.candidates) == len(whole.candidates)
    assert (short.loc[short["side"] == "external", "samples"] < 2048).any()
    with pytest.raises(StudyError, match=r"study\.racing = false"):
        raced.compare(raced.chosen, min(gone - again))


def test_the_best_of_every_scheme_stays() -> None:
    changes = RACE | {"scheme.kind": ["two_phase_one_earth", "per_phase"]}
    study = study_with(changes)
    raced, whole = (
        run(study_with(changes | {"study.racing": on}), workers=1, by_scheme=True)
        for on in (True, False)
    )
    assert raced.best == whole.best
    assert len(raced.best) == len(study.scheme.kinds)


def test_assumption_sets_follow_what_the_study_as_stated_leaves_out() -> None:
    sets = [
        {"name": "long clearing", "changes": {"external_events.near_fault.clearing_time_s": 0.3}}
    ]
    study = study_with(RACE | {"policy.assumption_sets": sets, "policy.p_false_max": 0.002})
    raced = batch(study, racing=True)
    for part in raced.left_out.values():
        judged = part.assumption_sets["long clearing"]
        assert len(judged.bound) == len(part.settings)
        assert not np.any(part.verdict.usable & part.verdict.allowed)


def test_what_stands_beside_a_choice_knows_circuits_that_were_left_out() -> None:
    """Front, prices and laws of the place call candidates by the numbers of the study, and have
    their figures."""
    result = run_study(study_with(RACE), workers=1)
    assert result.outcome.first.left_out
    every = result.candidates.set_index("candidate")
    front = result.front
    samples = {part.samples for part in result.outcome.first.left_out.values()}
    assert {*front["samples"]} <= {result.outcome.first.samples, *samples}
    for row in front.to_dict("records"):
        for axis in ("earth_pickup_a", "stabilising_resistance_ohm", "delay_s"):
            assert row[axis] == every.loc[row["candidate"], axis]
    for row in result.prices.to_dict("records"):
        assert row["value"] == every.loc[row["candidate"], row["setting"]]
    stated = result.place_laws[result.place_laws["law"] == "as stated"]
    assert len(stated)
    for row in stated.to_dict("records"):
        assert row["p_missed"] == pytest.approx(every.loc[row["candidate"], "p_missed"], abs=1e-12)
    assert result.gap is not None
    assert result.gap.candidates <= len(result.outcome.first.settings)


@pytest.mark.parametrize(
    "change", [{"study.racing": False}, {"policy.least_radius": 0.5}, {"study.radius": True}]
)
def test_a_study_that_asks_for_a_radius_draws_every_circuit_whole(change: dict[str, Any]) -> None:
    """What beats a circuit need not have the radius."""
    rules = racing_of(study_with(RACE | change), by_scheme=False)
    assert (rules is None) == ("study.radius" not in change)


def test_a_search_races_scheme_by_scheme() -> None:
    grids = {"candidates.earth_pickup_a": {"from": 0.005, "to": 1.0, "step": 0.005}}
    study = study_with(RACE | grids)
    narrowed = with_found(study, [at_first(one) for one in grids_of(study)])
    for one, by_scheme in ((study, False), (narrowed, True)):
        rules = racing_of(one, by_scheme=False)
        assert rules is not None
        assert rules.by_scheme is by_scheme
