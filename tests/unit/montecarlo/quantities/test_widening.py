"""Wider distributions, and the studies made of them."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from montecarlo.quantities import Distribution, number, read_distribution, widened
from montecarlo.sampling.inputs import list_inputs
from montecarlo.study.consistency import CHECKS
from montecarlo.study.read import read_study
from montecarlo.study.wider import with_wider_inputs
from tests.made.studies import study_with

CONFIGS = sorted((Path(__file__).parents[4] / "configs").glob("*.toml"))
U = np.linspace(0.001, 0.999, 97)
DIFFERENCES = [
    {"dist": "uniform", "low": -1.0, "high": 3.0},
    {"dist": "normal", "mean": 2.0, "sd": 0.5},
    {"dist": "normal", "mean": 2.0, "sd": 0.5, "truncate": [1.9, 3.0]},
    {"dist": "triangular", "low": 0.0, "mode": 0.4, "high": 2.0},
    {"dist": "beta", "alpha": 2.0, "beta": 5.0, "low": 1.0, "high": 4.0},
    *(
        {"nominal": -3.0, "tolerance_percent": 10, "shape": shape}
        for shape in ("uniform", "triangular", "normal")
    ),
    {"nominal": 3.0, "tolerance_percent": 10, "shape": "normal", "truncate": [2.9, 3.5]},
]
RATIOS = [
    {"dist": "lognormal", "median": 2.0, "sigma": 1.2},
    {"dist": "weibull", "shape": 1.5, "scale": 3.0},
    {"dist": "lognormal", "median": 2.0, "sigma": 1.2, "truncate": [0.5, 20.0]},
    {"dist": "weibull", "shape": 1.5, "scale": 3.0, "truncate": [-1.0, 4.0]},
]


@pytest.mark.parametrize("table", DIFFERENCES, ids=str)
def test_every_quantile_lies_further_from_the_median_by_the_factor(
    table: dict[str, object],
) -> None:
    given = read_distribution(table, None)
    middle = given.centre()
    assert widened(given, 1.2).ppf(U) == pytest.approx(
        middle + 1.2 * (given.ppf(U) - middle), rel=1e-9, abs=1e-9
    )


@pytest.mark.parametrize("table", RATIOS, ids=str)
def test_of_a_spread_by_ratio_the_logarithm_does(table: dict[str, object]) -> None:
    given = read_distribution(table, None)
    middle = given.centre()
    expected = 1.2 * np.log(given.ppf(U) / middle)
    assert np.log(widened(given, 1.2).ppf(U) / middle) == pytest.approx(
        expected, rel=1e-9, abs=1e-9
    )


def test_numbers_and_lists_of_values_stay_as_they_are() -> None:
    for given in (
        number(3.0),
        Distribution("discrete", {"values": (1.0, 2.0), "weights": (0.5, 0.5)}),
        Distribution("empirical", {"values": (1.0, 2.0, 4.0)}),
    ):
        assert widened(given, 1.2) is given


def test_what_is_impossible_is_cut_off() -> None:
    share = Distribution("uniform", {"low": 0.85, "high": 1.0})
    assert widened(share, 1.2, 0.0, 1.0).support() == pytest.approx((0.835, 1.0))
    near_zero = Distribution(
        "uniform", {"low": 0.05, "high": 1.0}
    )  # 1.2 times as wide it would reach -0.045
    assert widened(near_zero, 1.2, 0.0).support() == pytest.approx((0.0, 1.095))
    assert widened(near_zero, 1.2, 0.0, above=True).support() == pytest.approx((0.05 / 1.2, 1.095))
    lognormal = Distribution("lognormal", {"median": 1.0, "sigma": 1.0})
    assert widened(lognormal, 1.2, 0.0, above=True).support() == (0.0, math.inf)


@pytest.mark.parametrize("path", CONFIGS, ids=lambda path: path.name)
def test_a_wider_study_is_a_valid_one_with_the_same_uncertain_inputs(path: Path) -> None:
    study = read_study(path)
    wide = with_wider_inputs(study, 1.2)
    assert [text for check in CHECKS for text in check.faults(wide)] == []
    assert len(list_inputs(study)) == len(list_inputs(wide))
    for one, other in zip(list_inputs(study), list_inputs(wide), strict=True):
        assert (one.key, one.uncertain, one.columns, one.varies) == (
            other.key,
            other.uncertain,
            other.columns,
            other.varies,
        )
        assert other.quantity.check(other.distribution) is other.distribution
        assert one.distribution.is_continuous == (one.distribution is not other.distribution)


def test_an_end_of_cts_leaves_unstated_what_it_takes_from_the_others() -> None:
    wide = with_wider_inputs(
        study_with(
            {"ct.line_end": {"knee_voltage_v": {"dist": "uniform", "low": 200, "high": 300}}}
        ),
        1.2,
    )
    assert wide.ct.line_end.model_fields_set == {"knee_voltage_v"}
    assert wide.ct.at("line_end").knee_voltage_v.support() == pytest.approx((190, 310))
    assert wide.ct.at("line_end").remanence_percent.support() == pytest.approx((-72, 72))
    assert wide.ct.at("neutral_end").knee_voltage_v.support() == pytest.approx((300 - 54, 300 + 54))


def test_cores_limit_remanence_and_ankle() -> None:
    wide = with_wider_inputs(study_with({"ct.remanence_bound_percent": 65}), 1.2)
    assert wide.ct.remanence_percent.support() == pytest.approx((-65, 65))
