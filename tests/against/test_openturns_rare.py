"""Subset simulation and weighted estimates against OpenTURNS' own simulation algorithms, on the same limit states."""

import numpy as np
import openturns as ot
import pytest

from montecarlo.estimates.rare import rare_estimate, subset_pilot, variation
from tests.coverage.problems import four_branch, linear, quadratic
from tests.coverage.serial import Sizes, adapt, draw

AT = 3                                                     # the setting of probability 1e-4


def event(problem):
    """OpenTURNS' event of the same excess."""
    function = ot.PythonFunction(problem.dims, 1, func_sample=lambda u: problem.excess(np.asarray(u))[:, [AT]])
    vector = ot.CompositeRandomVector(function, ot.RandomVector(ot.Normal(problem.dims)))
    return ot.ThresholdEvent(vector, ot.Greater(), 0.0)


def crude(problem, n):
    ot.RandomGenerator.SetSeed(11)
    algorithm = ot.ProbabilitySimulationAlgorithm(event(problem), ot.MonteCarloExperiment())
    algorithm.setMaximumCoefficientOfVariation(-1.0)
    algorithm.setBlockSize(10_000)
    algorithm.setMaximumOuterSampling(n // 10_000)
    algorithm.run()
    return algorithm.getResult()


@pytest.mark.parametrize("make", [linear, four_branch, quadratic])
def test_one_run_agrees_with_crude_sampling(make):
    # crude: 40 hits in 400,000, its own standard error; four of the joint ones fail by chance once in 16,000
    problem = make()
    theirs = crude(problem, 400_000)
    rng = np.random.default_rng(12)
    sums = draw(problem, rng, adapt(problem, rng, Sizes(pilots=4, middle=(5120,), final=0))[0], 10_240)
    p, cov = rare_estimate(sums).p[AT], variation(sums)[AT]
    assert abs(p - theirs.getProbabilityEstimate()) < 4 * np.hypot(theirs.getStandardDeviation(), cov * p)
    assert p == pytest.approx(problem.truth[AT], rel=4 * cov)


def test_pilots_agree_with_their_subset_simulation():
    # means of 30 runs each on ln p; a run scatters by 0.4 to 0.5, so that 0.5 is four joint standard errors
    problem, theirs = linear(), []
    for k in range(30):
        ot.RandomGenerator.SetSeed(100 + k)
        algorithm = ot.SubsetSampling(event(problem))
        algorithm.setBlockSize(1)
        algorithm.setMaximumOuterSampling(300)
        algorithm.run()
        theirs.append(algorithm.getResult().getProbabilityEstimate())
    ours = [subset_pilot(lambda u: problem.excess(u)[:, AT], problem.dims, np.random.default_rng([13, k])).p
            for k in range(30)]
    assert np.log(np.mean(ours) / np.mean(theirs)) == pytest.approx(0, abs=0.5)
