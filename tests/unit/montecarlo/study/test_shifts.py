"""How far an input can be moved, and nonsense for it."""

from __future__ import annotations

from pathlib import Path

import pytest

from montecarlo.study.consistency import CHECKS
from montecarlo.study.description import Study
from montecarlo.study.read import read_study
from montecarlo.study.shifts import reachable, uncertain_inputs, with_shift
from tests.made.studies import faults_of, study_with

CONFIGS = sorted((Path(__file__).parents[4] / "configs").glob("*.toml"))


def end(study: Study, key: str, reach: float = 5) -> tuple[float, float]:
    (item,) = [item for item in uncertain_inputs(study) if item.key == key]
    return reachable(study, item, reach)


def test_the_ends_are_the_reach_or_what_is_possible() -> None:
    study = study_with(
        {
            "ct.remanence_percent": {"dist": "uniform", "low": -60, "high": 60},
            "ct.remanence_bound_percent": 80,
            "external_events.near_fault.clearing_time_s": {
                "dist": "uniform",
                "low": 0.06,
                "high": 0.1,
            },
        }
    )
    assert end(study, "ct.remanence_percent") == pytest.approx((20, 20))
    down, up = end(study, "external_events.near_fault.clearing_time_s")
    assert down < 0.06
    assert up == pytest.approx(0.1)
    assert end(study, "ct.remanence_percent", 0.1) == pytest.approx((6, 6))


def test_a_study_that_would_contradict_itself_is_not_reached() -> None:
    study = study_with({"machine.transient_reactance_pu": 0.21})
    down, up = end(study, "machine.subtransient_reactance_pu")
    assert down == pytest.approx(0.1)
    assert 0 < up <= 0.01 * (1 + 1e-9)


@pytest.mark.parametrize("path", CONFIGS, ids=lambda path: path.stem)
def test_every_end_of_a_shipped_study_is_possible(path: Path) -> None:
    study = read_study(path)
    before = {fault for check in CHECKS for fault in check.faults(study)}
    for item in uncertain_inputs(study):
        for sign, distance in zip((-1, 1), reachable(study, item, 5.0), strict=True):
            other = with_shift(study, item, sign * distance)
            assert before.issuperset(fault for check in CHECKS for fault in check.faults(other))
            (moved,) = [each for each in uncertain_inputs(other) if each.key == item.key]
            low, high = moved.distribution.support()
            assert low >= item.quantity.low - 1e-9 * abs(low), (item.key, sign)
            assert high <= item.quantity.high + 1e-9 * abs(high), (item.key, sign)


@pytest.mark.parametrize("reach", [0, -1, float("nan"), float("inf"), 1e9, "far", True])
def test_nonsense_for_the_reach_is_one_line(reach: object) -> None:
    (fault,) = faults_of({"policy.margins": {"reach": reach}})
    assert fault.startswith("policy.margins.reach: ")
    assert "\n" not in fault
