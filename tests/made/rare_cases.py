"""A mixture, a model and seeded streams for the tests of rare events."""

import os

import numpy as np

from montecarlo.estimates.rare import Mixture

SEED = int(os.environ.get("STATORODDS_TEST_SEED", "20"))


def rng(*key):
    return np.random.default_rng([SEED, *key])


def total(u, beta=4.0):
    """Sum of the first ten coordinates: P(> 0) = Phi(-beta)."""
    return u[:, :10].sum(axis=1) / np.sqrt(10) - beta


def mixture(dims=7):
    return Mixture(
        dims,
        np.array([1, 4]),
        np.array([13, 51, 64]) / 128,
        np.array([[0, 0], [0, 0], [2.0, -1]]),
        np.array([[1, 1], [2, 2], [0.5, 0.8]]),
    )
