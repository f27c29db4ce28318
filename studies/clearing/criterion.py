"""By what options and alternatives are compared where a study follows faults to who clears them."""

from __future__ import annotations

from montecarlo.engine.clearing import wanted
from montecarlo.study.description import Study

MISSED, NOBODY, DAMAGE, YEARLY = "p_missed", "p_nobody", "damage_mean_s", "decision_cost_per_year"


def decided_by(study: Study) -> str:
    """The column that decides: cost a year if that of damage is given, else damage, else faults
    that nobody clears; faults that the scheme misses where the study asks for none of these.

    Parameters
    ----------
    study : Study

    Returns
    -------
    str
    """
    if not wanted(study):
        return MISSED
    if study.damage is None:
        return NOBODY
    cost = study.policy.least_annual_cost
    return DAMAGE if cost is None or cost.damage is None else YEARLY
