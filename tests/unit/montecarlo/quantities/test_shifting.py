"""Distributions moved along their axis."""

from __future__ import annotations

import numpy as np
import pytest

from montecarlo.quantities import half_width, number, read_distribution, shifted

U = np.linspace(0.001, 0.999, 97)
DIFFERENCES = [
    {"dist": "uniform", "low": -1.0, "high": 3.0},
    {"dist": "normal", "mean": 2.0, "sd": 0.5, "truncate": [1.9, 3.0]},
    {"dist": "triangular", "low": 0.0, "mode": 0.4, "high": 2.0},
    {"dist": "beta", "alpha": 2.0, "beta": 5.0, "low": 1.0, "high": 4.0},
    {"dist": "discrete", "values": [1.0, 2.0, 5.0], "weights": [0.2, 0.3, 0.5]},
    *(
        {"nominal": -3.0, "tolerance_percent": 10, "shape": shape}
        for shape in ("uniform", "triangular", "normal")
    ),
]
RATIOS = [
    {"dist": "lognormal", "median": 2.0, "sigma": 1.2, "truncate": [0.5, 20.0]},
    {"dist": "weibull", "shape": 1.5, "scale": 3.0},
]


@pytest.mark.parametrize("by", [-0.7, 0.4])
@pytest.mark.parametrize("table", DIFFERENCES, ids=str)
def test_every_quantile_moves_by_the_same(table: dict[str, object], by: float) -> None:
    given = read_distribution(table, None)
    assert shifted(given, by).ppf(U) == pytest.approx(given.ppf(U) + by, rel=1e-9, abs=1e-9)


@pytest.mark.parametrize("by", [-0.7, 0.4])
@pytest.mark.parametrize("table", RATIOS, ids=str)
def test_positive_families_move_by_a_ratio(table: dict[str, object], by: float) -> None:
    given = read_distribution(table, None)
    moved = shifted(given, by)
    assert moved.centre() == pytest.approx(given.centre() + by)
    assert moved.ppf(U) / given.ppf(U) == pytest.approx(1 + by / given.centre())


def test_a_number_moves_and_has_no_width() -> None:
    assert shifted(number(2.0), 0.5) == number(2.5)
    assert half_width(number(2.0)) == 0


@pytest.mark.parametrize(
    ("table", "width"),
    [
        ({"nominal": -3.0, "tolerance_percent": 10, "shape": "normal"}, 0.3),
        ({"dist": "uniform", "low": -1.0, "high": 3.0}, 2.0),
        ({"dist": "normal", "mean": 5.0, "sd": 2.0}, 2 * 1.959964),
        ({"dist": "discrete", "values": [1.0, 2.0, 5.0], "weights": [0.2, 0.3, 0.5]}, 2.0),
    ],
)
def test_half_widths(table: dict[str, object], width: float) -> None:
    assert half_width(read_distribution(table, None)) == pytest.approx(width, rel=1e-6)
