"""Sobol' effects against SALib's, whose samples of groups are swapped as a whole too: the same
values of the model give the same effects."""

from __future__ import annotations

import numpy as np
import pytest

from montecarlo.estimates.drivers import sobol_effects

SALib = pytest.importorskip("SALib")

PROBLEM = {
    "num_vars": 4,
    "names": ["a", "b", "c", "d"],
    "bounds": [[0, 1]] * 4,
    "groups": ["g", "h", "g", "k"],
}


def model(x):
    return np.log(0.1 + x[:, 0] * x[:, 1]) + x[:, 2] ** 2 + 0.3 * x[:, 3] * x[:, 0]


def test_groups_swapped_as_a_whole_give_salib_s_effects():
    from SALib.analyze import sobol
    from SALib.sample import sobol as sample

    n, groups = 2048, 3
    y = model(sample.sample(PROBLEM, n, calc_second_order=False, seed=5)).reshape(n, groups + 2)
    theirs = sobol.analyze(PROBLEM, y.ravel(), calc_second_order=False, seed=5)
    ours = sobol_effects(y[:, 0], y[:, -1], y[:, 1:-1].T, np.random.default_rng(5))
    # both by Saltelli's 2010 estimators; SALib takes the variance over A and B too, but centres
    # y before: 1e-3 apart
    assert ours.first.p == pytest.approx(theirs["S1"], abs=2e-3)
    assert ours.total.p == pytest.approx(theirs["ST"], abs=2e-3)
    half = (ours.total.high - ours.total.low) / 2
    assert half == pytest.approx(
        theirs["ST_conf"], rel=0.35
    )  # two bootstraps, 400 and 100 resamples
