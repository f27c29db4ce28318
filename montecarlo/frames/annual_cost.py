"""What an option costs a year: damage of earth faults, faults that nobody clears, unwanted trips,
tests. Weights are the study's; limits come from blocks of installations and from false trips."""

from __future__ import annotations

import numpy as np

from montecarlo.estimates.choose import weights_of
from montecarlo.estimates.intervals import Estimate, student
from montecarlo.frames.clearing import ClearingFrames
from montecarlo.quantities import Array


def cost_per_year(frames: ClearingFrames, false_per_year: Estimate) -> Estimate | None:
    """Expected cost a year, with limits; None where the policy weighs no costs.

    Parameters
    ----------
    frames : ClearingFrames
    false_per_year : Estimate (1/year)
        False trips on external events.

    Returns
    -------
    Estimate or None
        In the unit of the policy's costs.
    """
    study = frames.clearing.study
    if (cost := study.policy.least_annual_cost) is None:
        return None
    sure = _sure(frames)
    trips = Estimate(*(cost.false_trip * part for part in false_per_year))
    total = _sum(student(_of_faults(frames)), trips)
    return Estimate(total.p + sure, np.maximum(total.low, 0.0) + sure, total.high + sure)


def cost_difference(
    one: ClearingFrames, other: ClearingFrames, trips: Estimate, level: float
) -> Estimate:
    """What one option costs a year more than another, paired on the same faults.

    Parameters
    ----------
    one, other : ClearingFrames
        Of one study with different earthing, or of alternatives; their policies weigh costs.
    trips : Estimate (cost/year)
        Of false trips on external events of the first minus those of the second, with limits at
        this level.
    level : float (-)

    Returns
    -------
    Estimate
        In the unit of the policies' costs.
    """
    gap = _sum(student(_of_faults(one) - _of_faults(other), level), trips)
    return Estimate(*(part + _sure(one) - _sure(other) for part in gap))


def _sure(frames: ClearingFrames) -> float:
    """Cost a year of the parts' own trips and of tests."""
    study = frames.clearing.study
    cost, tested = study.policy.least_annual_cost, study.dependability
    assert cost is not None
    tests = 0.0 if tested is None else tested.test_cost / tested.proof_test_years
    return cost.false_trip * frames.unwanted_per_year() + tests


def _of_faults(frames: ClearingFrames) -> Array:
    """Cost of internal faults a year, by block."""
    study, means = frames.clearing.study, frames.block_means()
    cost, weight = study.policy.least_annual_cost, weights_of(study)
    assert cost is not None
    nobody = weight.internal_per_year * weight.in_scope * means["p_nobody"]
    earth = weight.internal_per_year * study.internal_faults.shares.earth
    return np.asarray(cost.missed_fault * nobody + earth * means.get("cost_of_damage", 0.0))


def _sum(one: Estimate, other: Estimate) -> Estimate:
    """Limits add up: whatever the errors have in common, those of the sum are not too narrow."""
    return Estimate(*(np.add(part, more) for part, more in zip(one, other, strict=True)))
