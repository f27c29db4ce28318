"""The scrambled nets against scipy's own: the same sequence below the scramble, and errors of the
same size."""

import os
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import qmc

from montecarlo.sampling import sobol as own
from montecarlo.sampling.nets import Net
from montecarlo.sampling.sobol import BITS, sobol

SEED = int(os.environ.get("STATORODDS_TEST_SEED", "20"))
NAMES = (("lead", 1), ("x", 4), ("y", 1))


@pytest.mark.parametrize("file", [own.NUMBERS, Path("elsewhere")], ids=["read", "not found"])
def test_below_the_scramble_stands_scipy_s_sequence(monkeypatch, file):
    """Also where another scipy has the file of direction numbers elsewhere."""
    monkeypatch.setattr(own, "NUMBERS", file)
    sobol.cache_clear()
    plain = qmc.Sobol(400, scramble=False, bits=BITS).random(256)
    assert (sobol(400, 0, 256) / 2.0**BITS == plain).all()
    assert (sobol(40, 128, 128) / 2.0**BITS == plain[128:, :40]).all()
    far = qmc.Sobol(3, scramble=False, bits=BITS).fast_forward(3 << 18).random(8)
    assert (sobol(3, 3 << 18, 8) / 2.0**BITS == far).all()


def test_the_file_of_direction_numbers_is_read_and_scipy_stats_is_not_needed():
    assert own._directions(400).shape == (BITS, 400)
    assert own._directions(100_000) is None


def error(points):
    """Of the mean of a product of six factors, whose mean is 1."""
    return np.prod(1 + (points - 0.5), axis=1).mean() - 1


def test_the_error_is_that_of_scipy_s_scramble_and_far_below_chance():
    ours = [error(Net(SEED, "s", 0, block, NAMES).points(0, 256).values) for block in range(400)]
    theirs = [error(qmc.Sobol(6, rng=seed).random(256)) for seed in range(400)]
    by_chance = (((1 + 1 / 12) ** 6 - 1) / 256) ** 0.5
    # unbiased; fails once in 1.7 million
    assert abs(np.mean(ours)) < 5 * np.std(ours) / 400**0.5
    assert np.std(ours) < 1.3 * np.std(theirs)  # five standard deviations of the ratio
    assert np.std(theirs) < 1.3 * np.std(ours)
    assert np.std(ours) < by_chance / 8


def test_two_dimensions_keep_their_net():
    """The first two dimensions are a (0, m, 2)-net: every rectangle of area 2^-m holds one of 2^m
    points (Sobol')."""
    points = Net(SEED, "s", 0, 0, NAMES).points(0, 256).values[:, :2]
    for k in range(9):
        cells = np.floor(points * [2**k, 2 ** (8 - k)])
        assert len(np.unique(cells, axis=0)) == 256
