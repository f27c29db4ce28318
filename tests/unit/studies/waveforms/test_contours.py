"""Contours hold the share of points that they name."""

from __future__ import annotations

import os

import numpy as np
import pytest
from matplotlib.figure import Figure
from matplotlib.path import Path

from montecarlo.quantities import Array
from studies.waveforms.contours import SHARES, cloud

SEED = int(os.environ.get("STATORODDS_TEST_SEED", "20"))
N = 10_000


def held(x: Array, y: Array, weights: Array, number: int) -> float:
    """Share of the weights within the contour as it is drawn."""
    found = cloud(x, y, weights)
    drawn = (
        Figure()
        .subplots()
        .contour(np.log10(found.x), np.log10(found.y), found.density, [found.levels[number]])
    )
    points = np.log10(np.column_stack([x, y]))
    inside = np.zeros(len(x), bool)
    for ring in drawn.allsegs[0]:  # a hole takes out what the ring around it took in
        inside ^= Path(ring).contains_points(points)
    return float(weights[inside].sum() / weights.sum())


@pytest.mark.parametrize("number", range(len(SHARES)))
def test_a_contour_holds_its_share_of_gaussian_points(number: int) -> None:
    rng = np.random.default_rng(SEED)
    one, other = rng.normal(size=(2, N))
    x, y = 10 ** (0.3 * one), 10 ** (0.5 * one + 0.2 * other)
    assert held(x, y, np.ones(N), number) == pytest.approx(SHARES[number], abs=0.01)


def test_rare_points_count_by_their_weight() -> None:
    """Two clouds of as many points: the one with a hundredth of the weight lies outside 90 %."""
    rng = np.random.default_rng(SEED)
    x, y = 10 ** rng.normal(size=(2, N))
    x[N // 2 :] *= 1e9
    weights = np.where(np.arange(N) < N // 2, 1.0, 0.01)
    found = cloud(x, y, weights)
    dense = found.density >= found.levels[SHARES.index(0.9)]
    assert found.x[dense.any(axis=0)].max() < 1e6
    assert cloud(x, y, np.ones(N)).density[:, found.x > 1e6].sum() == pytest.approx(N / 2, rel=0.01)


def test_points_on_one_spot_have_a_region() -> None:
    found = cloud(np.full(600, 2.0), np.full(600, 0.1), np.ones(600))
    assert found.density.sum() == pytest.approx(600)
    assert found.levels[0] == found.levels[-1] > 0
    assert found.x[0] < 2.0 < found.x[-1]
