"""By what options and alternatives are compared where a study follows faults to who clears them."""

from __future__ import annotations

from montecarlo.engine.clearing import wanted
from montecarlo.study.description import Study

MISSED, NOBODY, DAMAGE, YEARLY = "p_missed", "p_nobody", "damage_mean_s", "decision_cost_per_year"
CHOSEN_BY = "best setting: chosen by missed faults and false trips alone"
PAIRED = (NOBODY, DAMAGE)  # on the same faults


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


def comparable(one: Study, other: Study, column: str) -> bool:
    """Whether two studies that follow faults have a column, and it counts the same in both.

    Parameters
    ----------
    one, other : Study
    column : str
        As of `decided_by`.

    Returns
    -------
    bool
    """
    if column == DAMAGE:
        return None not in (one.damage, other.damage)
    return column != YEARLY or _priced(one) == _priced(other) is not None


def _priced(study: Study) -> bool | None:
    """Whether the costs count the damage; None without costs."""
    cost = study.policy.least_annual_cost
    if cost is None:
        return None
    return cost.damage is not None
