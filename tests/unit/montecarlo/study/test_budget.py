"""What samples can show of false trips: the bound without one, and the samples for a limit."""

from __future__ import annotations

from typing import Any

import pytest
from scipy import stats

from montecarlo.study.budget import (
    limit_of_p_false,
    rounded_up,
    samples_that_show,
    shown_at_best,
    too_few,
)
from montecarlo.study.event_cautions import too_few_words
from tests.made.studies import study_with

ONE_EVENT = {"external_events.far_fault.per_year": 0}


@pytest.mark.parametrize("level", [0.9, 0.95, 0.99])
@pytest.mark.parametrize("samples", [32, 512, 16384])
def test_one_event_without_a_false_trip_is_bounded_as_the_exact_binomial_says(
    level: float, samples: int
) -> None:
    study = study_with(ONE_EVENT | {"study.samples": samples, "policy.level": level})
    exact = stats.binomtest(0, samples, alternative="less").proportion_ci(level, "exact").high
    assert shown_at_best(study) == pytest.approx(exact, rel=1e-9)


@pytest.mark.parametrize(
    "changes",
    [
        ONE_EVENT,
        {},
        {"study.samples": 96},
        {"states": {"open_ct_circuit_per_year": 0.5, "open_ct_circuit_counts": True}},
        {
            "states": {"open_ct_circuit_per_year": 0.5, "open_ct_circuit_counts": True},
            "study.samples": 4096,
        },
    ],
)
@pytest.mark.parametrize("limit", [3e-2, 1e-3, 1e-6])
def test_the_samples_asked_for_show_the_limit_and_a_tenth_less_do_not(
    changes: dict[str, Any], limit: float
) -> None:
    study = study_with(changes)
    needed = samples_that_show(study, limit)

    def bound(samples: float) -> float:
        return shown_at_best(
            study.model_copy(
                update={
                    "study": study.study.model_copy(
                        update={"samples": int(samples), "earth_fault_samples": None}
                    )
                }
            )
        )

    assert bound(max(needed, 32)) <= limit
    if needed >= 2000:  # below, installations x events are rounded up
        assert bound(0.88 * needed) > limit


def test_open_ct_circuits_that_count_have_the_samples_of_earth_faults() -> None:
    counted = {
        "states": {"open_ct_circuit_per_year": 1000.0, "open_ct_circuit_counts": True}
    }  # nearly all events
    bounds = [
        shown_at_best(study_with(counted | {"study.earth_fault_samples": n}))
        for n in (None, 64)
        if n is not None
    ] + [shown_at_best(study_with(counted))]
    assert bounds == pytest.approx([1 - 0.05 ** (1 / 64)] * 2, rel=3e-3)  # 512/8
    not_counted = study_with({"states": {"open_ct_circuit_per_year": 1000.0}})
    assert shown_at_best(not_counted) == shown_at_best(study_with())


def test_a_limit_a_year_is_one_an_event() -> None:
    assert limit_of_p_false(study_with(policy={"false_per_year_max": 0.06})) == pytest.approx(
        0.06 / 1.2
    )


def test_numbers_are_rounded_up_to_two_digits() -> None:
    assert [rounded_up(count) for count in (0.2, 7.1, 10, 99.5, 100, 101, 2996, 123456)] == [
        1,
        8,
        10,
        100,
        100,
        110,
        3000,
        130000,
    ]


def test_the_sentence_counts_in_the_policy_s_own_unit() -> None:
    assert too_few(study_with()) == []
    (found,) = too_few(study_with(policy={"false_per_year_max": 0.001}))
    yearly = too_few_words(found)
    assert (
        "512 samples of each event bound false trips at 0.0059 a year (95 %). The limit is 0.001,"
        " so no candidate can be chosen. The limit needs at least 3100 samples" in yearly
    )  # hypot(0.2, 1) x 2.996/0.001 = 3055


def test_a_policy_of_costs_has_no_limit_and_needs_no_budget() -> None:
    study = study_with(policy={"least_annual_cost": {"missed_fault": 1.0, "false_trip": 1.0}})
    assert limit_of_p_false(study) == float("inf")
    assert too_few(study) == []
