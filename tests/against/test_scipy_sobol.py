"""The scrambled nets against scipy's own: the same sequence below the scramble, and errors of the
same size."""

import os

import numpy as np
from scipy.stats import qmc

from montecarlo.sampling.nets import BITS, Net, _sobol

SEED = int(os.environ.get("STATORODDS_TEST_SEED", "20"))
NAMES = (("lead", 1), ("x", 4), ("y", 1))


def test_below_the_scramble_stands_scipy_s_sequence():
    plain = qmc.Sobol(40, scramble=False).random(256)
    assert (_sobol(40, 0, 256) / 2.0**BITS == plain).all()
    assert (_sobol(40, 128, 128) / 2.0**BITS == plain[128:]).all()


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
