"""By what options and alternatives are compared where a study follows faults to who clears them."""

from __future__ import annotations

from montecarlo.engine.clearing import wanted
from montecarlo.study.description import Study

MISSED, NOBODY, DAMAGE, YEARLY = "p_missed", "p_nobody", "damage_mean_s", "decision_cost_per_year"
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
    """Whether two studies that follow faults have a column, and it means the same in both.

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
        return _reference_a(one) == _reference_a(other) is not None
    return column != YEARLY or _counted(one) == _counted(other) is not None


def _reference_a(study: Study) -> float | None:
    return None if study.damage is None else study.damage.reference_a


def _counted(study: Study) -> tuple[str, float | None] | None:
    """The unit of the costs, and of what current the damage among them is; None without costs."""
    cost = study.policy.least_annual_cost
    if cost is None:
        return None
    return cost.unit, None if cost.damage is None else _reference_a(study)
