"""The density of rare events and its weights. Chance is fixed by the seed; odds of another seed
beside each."""

import pickle

import numpy as np
import pytest
from scipy.stats import norm

from montecarlo.estimates.rare import BATCH, Sums
from tests.made.rare_cases import mixture, rng


def test_log_weight_is_the_ratio_of_the_densities():
    m, u = mixture(), 2 * rng(10).standard_normal((50, 7))
    q = sum(
        share * norm.pdf(u[:, [1, 4]], mean, sd).prod(axis=1)
        for share, mean, sd in zip(m.shares, m.means, m.sds, strict=True)
    )
    np.testing.assert_allclose(
        m.log_weight(u), np.log(norm.pdf(u[:, [1, 4]]).prod(axis=1) / q), rtol=1e-12
    )


def test_weights_integrate_to_one_and_keep_below_their_ceiling():
    # standard error from the batches; 5 of them fail by chance once in 1.7 million
    m = mixture()
    w = np.exp(m.log_weight(m.sample(rng(11), 400 * BATCH)))
    batches = w.reshape(-1, BATCH).mean(axis=1)
    assert abs(batches.mean() - 1) < 5 * batches.std() / np.sqrt(400)
    assert w.max() <= m.largest_weight == 128 / 13
    # covered by the wide component
    assert np.exp(m.log_weight(np.full((1, 7), -9.0)))[0] < 1e-3


def test_rows_come_from_the_components_and_the_rest_stays_normal():
    m = mixture()
    u = m.sample(rng(12), 1000 * BATCH)
    assert u[:, 1].mean() == pytest.approx(0.5 * 2.0, abs=0.02)
    assert (u[:, 1] ** 2).mean() == pytest.approx(13 / 128 + 51 / 128 * 4 + 0.5 * 4.25, abs=0.06)
    dead = np.delete(u, [1, 4], axis=1)
    assert np.abs(dead.mean(axis=0)).max() < 0.015
    assert np.abs(dead.var(axis=0) - 1).max() < 0.02


def test_a_mixture_is_small():
    assert len(pickle.dumps(mixture())) < 2_000  # it travels with every chunk


def test_rows_that_are_no_whole_batches_are_refused():
    with pytest.raises(ValueError, match="multiple of"):
        mixture().sample(rng(14), 100)
    with pytest.raises(ValueError, match="multiple of"):
        Sums.of(np.zeros((100, 1), bool), np.zeros(100), 10.0)
