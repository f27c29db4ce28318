"""By what alternatives are compared, and which of them that quantity cannot compare."""

from __future__ import annotations

from montecarlo.study.description import Study
from studies.clearing.criterion import MISSED, comparable, decided_by

COST = "cost_per_year"


def aim_of(study: Study) -> str:
    """The column that is to be small: that by which faults are followed, else what the policy makes
    small.

    Parameters
    ----------
    study : Study

    Returns
    -------
    str
    """
    aim = decided_by(study)
    return COST if aim == MISSED and study.policy.least_annual_cost is not None else aim


def counted_otherwise(study: Study) -> frozenset[str]:
    """Names of the alternatives in which that column does not count the same.

    Parameters
    ----------
    study : Study

    Returns
    -------
    frozenset of str
    """
    every, aim = study.alternative_studies, decided_by(study)
    return frozenset(name for name, one in every if not comparable(study, one, aim))
