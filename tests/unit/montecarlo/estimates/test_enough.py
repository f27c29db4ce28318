"""Whether a density is good enough: against closed forms of a normal quantity."""

import os
from dataclasses import replace

import numpy as np
import pytest
from scipy.special import ndtri

from montecarlo.estimates.rare import (
    COMMON,
    HITS,
    Asked,
    Symmetric,
    is_enough,
    plain,
    pooled_log_weight,
)
from montecarlo.estimates.rare.levels import Ranked
from montecarlo.estimates.rare.mixture import Mixture

SEED = int(os.environ.get("STATORODDS_TEST_SEED", "20"))
N = 8192
ASKED = Asked(trials=N, decides=np.inf)  # no more than the check of a final batch


def level(p):
    """What a standard normal score exceeds with probability p."""
    return -ndtri(p)


def evenly(n=N):
    """Scores at the middle of n equal parts of N(0, 1): exact frequencies, no chance."""
    return -ndtri((np.arange(n) + 0.5) / n)


def enough(thresholds, asked=ASKED, u=None, log_w=None):
    u = evenly() if u is None else u
    log_w = np.zeros(len(u)) if log_w is None else log_w
    return is_enough(u[:, None], log_w, [thresholds], asked)


def shifted(mean):
    """A tenth N(0, 1), the rest about `mean`."""
    mixture = Mixture(
        1, np.array([0]), np.array([0.1, 0.9]), np.array([[0.0], [mean]]), np.ones((2, 1))
    )
    return Symmetric(mixture, ())


def test_common_thresholds_ask_for_nothing():
    assert enough([level(0.5), level(1.01 * COMMON)])


def test_what_is_out_of_reach_asks_for_nothing():
    """A thousand away, where ln p carried on straight is far below 1e-6."""
    assert enough([1000.0])


def test_what_could_be_reached_and_is_not_asks_for_another_stage():
    assert Ranked(evenly(), np.zeros(N)).unreached(level(1e-4), 1e-6)
    assert not enough([level(1e-4)])


def test_hits_are_those_that_a_final_batch_lets_expect():
    """At p = 0.01 of 8,192 plain samples there are 82 hits, 62.5 are asked for, 200 where an event
    decides."""
    there = [level(0.01)]
    assert enough(there)
    assert not enough(there, replace(ASKED, trials=N // 2))
    deciding = replace(ASKED, decides=0.005)
    assert not enough(there, deciding)
    assert enough(there, replace(deciding, trials=int(1.02 * HITS / 0.01)))
    assert enough(there, replace(deciding, decides=0.011))


def test_one_large_weight_is_not_enough():
    log_w = np.zeros(N)
    there = level(0.01)
    assert enough([there], u=evenly(), log_w=log_w)
    log_w[0] = np.log(10.0)  # the highest sample, 10 of 91
    assert not enough([there], u=evenly(), log_w=log_w)


def test_every_curve_must_be_good():
    u = np.stack([evenly(), evenly()], axis=1)
    good, bad = [level(0.01)], [level(1e-4)]
    assert is_enough(u, np.zeros(N), [good, good], ASKED)
    assert not is_enough(u, np.zeros(N), [good, bad], ASKED)


def test_a_density_about_the_threshold_is_enough_where_plain_samples_are_not():
    there = [level(1e-4)]
    density = shifted(there[0])
    u = density.sample(np.random.default_rng(SEED), N)
    assert enough(there, replace(ASKED, decides=0.0), u[:, 0], density.log_weight(u))


def test_samples_without_a_result_are_beyond_nothing():
    u = np.where(np.arange(N) < 20, np.nan, evenly())
    assert enough([level(0.01)], u=u) is False  # 62 of 82 are left


@pytest.mark.parametrize("counts", [(2048, 6144), (4096, 4096)])
def test_pooled_weights_average_to_one(counts):
    """Over the samples of all densities; 4.5 standard errors, by chance once in 150,000."""
    densities = [plain(1, ()), shifted(2.0)]
    rng = np.random.default_rng([SEED, *counts])
    u = np.concatenate([each.sample(rng, n) for each, n in zip(densities, counts, strict=True)])
    w = np.exp(pooled_log_weight(densities, counts, u))
    share = counts[0] / sum(counts)
    own = np.exp(-densities[1].log_weight(u))
    assert w == pytest.approx(1 / (share + (1 - share) * own), rel=1e-12)
    assert abs(w.mean() - 1) < 4.5 * w.std() / np.sqrt(len(w))


def test_pooled_weights_of_one_density_are_its_own_to_the_last_bit():
    density = shifted(1.5)
    u = density.sample(np.random.default_rng(SEED), 1024)
    assert np.array_equal(pooled_log_weight([density], [1024], u), density.log_weight(u))
