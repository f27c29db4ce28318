"""A distribution drawn towards its median."""

import numpy as np
import pytest

from montecarlo.quantities import narrowed, number, read_distribution

U = np.linspace(0.001, 0.999, 99)
WIDE = [({"nominal": 20.0, "tolerance_percent": 10, "shape": "uniform"}, {"nominal": 20.0, "tolerance_percent": 5,
                                                                          "shape": "uniform"}),
        ({"dist": "normal", "mean": 3.0, "sd": 2.0}, {"dist": "normal", "mean": 3.0, "sd": 1.0}),
        ({"dist": "uniform", "low": -1.0, "high": 3.0, "shared": True}, {"dist": "uniform", "low": 0.0, "high": 2.0})]


@pytest.mark.parametrize(("wide", "half"), WIDE)
def test_half_of_a_family_that_has_a_width_is_that_family(wide, half):
    found, truth = narrowed(read_distribution(wide), 0.5), read_distribution(half)
    assert found.ppf(U) == pytest.approx(truth.ppf(U))
    x = truth.ppf(U)
    assert found.cdf(x) == pytest.approx(truth.cdf(x))
    assert found.support() == pytest.approx(truth.support())
    assert found.mean() == pytest.approx(truth.mean())
    assert found.shared == bool(wide.get("shared"))


@pytest.mark.parametrize("table", [{"dist": "lognormal", "median": 2.0, "sigma": 1.2},
                                   {"dist": "triangular", "low": 0.0, "mode": 1.0, "high": 4.0},
                                   {"dist": "discrete", "values": [1.0, 2.0, 5.0], "weights": [0.25, 0.25, 0.5]}])
def test_the_median_stays_and_every_distance_from_it_is_halved(table):
    wide = read_distribution(table)
    half = narrowed(wide, 0.5)
    assert half.centre() == pytest.approx(wide.centre())
    assert half.ppf(U) - wide.centre() == pytest.approx(0.5 * (wide.ppf(U) - wide.centre()))
    assert half.cdf(half.ppf(U) + 1e-12) == pytest.approx(wide.cdf(wide.ppf(U) + 2e-12))


def test_a_number_stays_one():
    assert narrowed(number(3.0), 0.5) == number(3.0)
