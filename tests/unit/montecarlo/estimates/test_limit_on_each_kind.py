"""A limit on the false trips of each kind of event; one judgement from several batches."""

from __future__ import annotations

import numpy as np
import pytest

from montecarlo.estimates.choose import Judgement, judge, with_one_from
from montecarlo.estimates.drivers import Bound
from montecarlo.estimates.refusals import Rule, refusals_of
from montecarlo.estimates.robust import worst_of
from montecarlo.study.budget import too_few
from montecarlo.study.candidates import candidate_lattices
from montecarlo.study.event_cautions import too_few_words
from studies.report.refusals import note_text
from tests.made.studies import study_with
from tests.unit.montecarlo.frames.test_doubts import EACH, NEAR, ONE, strata


def test_a_limit_on_each_kind_refuses_what_the_mix_allows() -> None:
    hits = {"near_fault": (80.0, 160.0)}  # 3.9 and 7.8 %, bounded by 4.7 and 8.9 %
    study = study_with(ONE | EACH)
    judged = judge(study, candidate_lattices(study), strata(study, **hits))
    assert judged.usable.all()
    assert judged.allowed.tolist() == [True, False]
    assert (judged.bound < 0.5).all()
    assert judged.limit_used == pytest.approx(judged.each[NEAR] / 0.05)
    alone = study_with(ONE | {"policy": {"p_false_max": 0.5}})
    assert judge(alone, candidate_lattices(alone), strata(alone, **hits)).allowed.all()
    assert refusals_of(study, judged, 0) == ()
    (refusal,) = refusals_of(study, judged, 1)
    assert (refusal.rule, refusal.event, refusal.limit) == (Rule.EVENT, "near_fault", 0.05)
    assert refusal.value == judged.each[NEAR][1]
    assert note_text([refusal]) == "upper limit of p_false in near_fault above 0.05"


def test_a_limit_on_each_kind_also_binds_a_policy_of_costs() -> None:
    costs = {"missed_fault": 1e6, "false_trip": 1.0, "unit": "EUR"}
    study = study_with(ONE | {"policy": {"least_annual_cost": costs, "p_false_max_each": 0.05}})
    judged = judge(study, candidate_lattices(study), strata(study, far_fault=(160.0, 10.0)))
    assert judged.allowed.tolist() == [False, True]
    assert judged.order() == (1,)


def test_the_worst_of_several_assumption_sets_counts_for_each_kind() -> None:
    study = study_with(ONE | EACH)
    one, other = (
        judge(study, candidate_lattices(study), strata(study, near_fault=hits))
        for hits in ((0.0, 160.0), (80.0, 80.0))
    )
    worst = worst_of([one, other])
    assert worst.allowed.tolist() == [True, False]
    assert worst.each[NEAR].tolist() == [
        other.each[NEAR][0],
        one.each[NEAR][1],
    ]
    assert worst.limit_used.tolist() == [other.limit_used[0], one.limit_used[1]]


def test_a_limit_on_each_kind_that_the_samples_cannot_show_is_told_before_the_run() -> None:
    study = study_with({"policy": {"p_false_max": 0.5, "p_false_max_each": 1e-3}})
    (found,) = too_few(study)
    text = too_few_words(found)
    assert "512 samples of near_fault bound p_false at 0.0058 (95 %)" in text
    assert "The limit on each kind is 0.001, so no candidate can be chosen" in text
    # -ln 0.05 / 0.001 = 2996
    assert "policy.p_false_max_each needs at least 3000 samples" in text
    assert too_few(study_with({"policy": {"p_false_max": 0.5, "p_false_max_each": 0.1}})) == []
    assert (
        too_few(
            study_with(
                {"policy": {"p_false_max": 0.5, "p_false_max_each": 1e-3}, "study.samples": 4096}
            )
        )
        == []
    )  # weighted samples may show it


@pytest.mark.parametrize("value", [0, 1.5, -0.1])
def test_a_limit_on_each_kind_is_a_probability(value: float) -> None:
    from tests.made.studies import faults_of

    (fault,) = faults_of({"policy": {"p_false_max": 0.5, "p_false_max_each": value}})
    assert fault.startswith("policy.p_false_max_each: ")


def test_a_judgement_takes_one_candidate_from_another_batch() -> None:
    study = study_with(ONE | EACH)
    one, other = (
        judge(study, candidate_lattices(study), strata(study, near_fault=hits))
        for hits in ((0.0, 160.0), (80.0, 0.0))
    )
    mixed = with_one_from(one, 1, other, 1)
    assert isinstance(mixed, Judgement)
    assert mixed.bound.tolist() == [one.bound[0], other.bound[1]]
    assert mixed.false.high.tolist() == [one.false.high[0], other.false.high[1]]
    assert mixed.each[NEAR].tolist() == [
        one.each[NEAR][0],
        other.each[NEAR][1],
    ]
    assert one.allowed.tolist() == [True, False]  # as it was


def test_a_bound_is_the_studys_own_where_the_samples_are_taken_as_a_whole() -> None:
    bound, p, here = (
        np.array([3e-4, 0.02, 5e-4]),
        np.array([2e-4, 0.01, 0.0]),
        np.array([1e-4, 0.015, 0.0]),
    )
    found = Bound.like({"external.a": 1.0}, 1e-3, bound, p, here)
    assert found.used(here) == pytest.approx(bound / 1e-3)
    assert (found.used(2 * here) >= found.used(here)).all()
    assert found.used(np.zeros(3))[2] == pytest.approx(
        0.5
    )  # what was never seen is left open as it was
