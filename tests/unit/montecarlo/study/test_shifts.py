"""How far an input can be moved, and nonsense for it."""

from __future__ import annotations

from pathlib import Path

import pytest

from montecarlo.study.consistency import CHECKS
from montecarlo.study.description import Study
from montecarlo.study.read import read_study
from montecarlo.study.shifts import Way, changed, reachable, uncertain_inputs
from tests.made.studies import faults_of, study_with

CONFIGS = sorted((Path(__file__).parents[4] / "configs").glob("*.toml"))


def end(study: Study, key: str, reach: float = 5) -> tuple[float, float]:
    (item,) = [item for item in uncertain_inputs(study) if item.key == key]
    found = reachable(study, item, reach)
    return found[Way.LOWER], found[Way.HIGHER]


def test_a_width_grows_until_an_end_meets_what_is_possible() -> None:
    study = study_with({"ct.remanence_percent": {"dist": "uniform", "low": -60, "high": 60}})
    (item,) = [one for one in uncertain_inputs(study) if one.key == "ct.remanence_percent"]
    assert reachable(study, item, 5)[Way.WIDER] == pytest.approx(20)
    (wide,) = [
        one
        for one in uncertain_inputs(changed(study, item, Way.WIDER, 15))
        if one.key == "ct.remanence_percent"
    ]
    assert wide.distribution.support() == pytest.approx((-75, 75))
    listed = study_with(
        {"load.power_factor": {"dist": "discrete", "values": [0.8, 0.9], "weights": [0.5, 0.5]}}
    )
    (item,) = [one for one in uncertain_inputs(listed) if one.key == "load.power_factor"]
    assert reachable(listed, item, 5)[Way.WIDER] == 0


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
        for way, distance in reachable(study, item, 5.0).items():
            other = changed(study, item, way, distance)
            assert before.issuperset(fault for check in CHECKS for fault in check.faults(other))
            (moved,) = [each for each in uncertain_inputs(other) if each.key == item.key]
            low, high = moved.distribution.support()
            assert low >= item.quantity.low - 1e-9 * abs(low), (item.key, way)
            assert high <= item.quantity.high + 1e-9 * abs(high), (item.key, way)


@pytest.mark.parametrize("reach", [0, -1, float("nan"), float("inf"), 1e9, "far", True])
def test_nonsense_for_the_reach_is_one_line(reach: object) -> None:
    (fault,) = faults_of({"policy.margins": {"reach": reach}})
    assert fault.startswith("policy.margins.reach: ")
    assert "\n" not in fault


@pytest.mark.parametrize("missed", [-0.1, 1.5, float("nan"), "much"])
def test_nonsense_for_the_margin_is_one_line(missed: object) -> None:
    (fault,) = faults_of({"policy.margins": {"missed": missed}})
    assert fault.startswith("policy.margins.missed: ")
    assert "\n" not in fault
