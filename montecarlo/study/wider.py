"""A study with some inputs other than stated: every spread larger, for what its rare events owe to
the tails that were assumed; or any values."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TypeVar

from pydantic import BaseModel

from montecarlo.quantities import Distribution, widened
from montecarlo.sampling.inputs import Input, list_inputs
from montecarlo.secondary.excitation import excitation_table
from montecarlo.study.description import Study

Table = TypeVar("Table", bound=BaseModel)


def with_wider_inputs(study: Study, factor: float) -> Study:
    """The study with every continuous input wider about its centre (`quantities.widened`), within
    what its key and the CTs' cores permit.

    Which inputs are uncertain stays, so that samples of the one are samples of the other.

    Parameters
    ----------
    study : Study
    factor : float

    Returns
    -------
    Study
    """
    continuous = [item for item in list_inputs(study) if item.distribution.is_continuous]
    return with_inputs(study, {item.key: _wider(study, item, factor) for item in continuous})


def with_wider(study: Study, item: Input, factor: float) -> Study:
    """The study with one continuous input wider about its centre, in the same way.

    Parameters
    ----------
    study : Study
    item : Input
        Of the study.
    factor : float

    Returns
    -------
    Study
    """
    return with_inputs(study, {item.key: _wider(study, item, factor)})


def _wider(study: Study, item: Input, factor: float) -> Distribution:
    low, high = possible(study, item)
    return widened(item.distribution, factor, low, high, item.quantity.above)


def possible(study: Study, item: Input) -> tuple[float, float]:
    """What an input can be: the range of its key, or what the CTs' cores permit.

    Parameters
    ----------
    study : Study
    item : Input

    Returns
    -------
    (float, float)
        In the unit of the key.
    """
    return _core_limits(study, item.key) or (item.quantity.low, item.quantity.high)


def _core_limits(study: Study, key: str) -> tuple[float, float] | None:
    """What the cores of every place permit, of the two inputs that a core limits."""
    if not key.startswith("ct."):
        return None
    cores = [study.ct.at(group) for group in study.ct.groups]
    if key.endswith(".remanence_percent"):
        bound = min(core.remanence_bound_percent for core in cores)
        return -bound, bound
    if key.endswith(".ankle_ratio"):
        ranges = [
            excitation_table(core.remanence_bound_percent, core.saturation_exponent).ankle_range
            for core in cores
        ]
        return max(low for low, _ in ranges), min(high for _, high in ranges)
    return None


def with_inputs(study: Study, values: Mapping[str, Distribution]) -> Study:
    """The study with other values of some inputs.

    Nothing is checked or completed again: they must keep to their keys' ranges, and what other keys
    took from these while they were read stays.

    Parameters
    ----------
    study : Study
    values : mapping of str to Distribution
        By keys of `list_inputs`.

    Returns
    -------
    Study
    """
    return _replaced(study, "", values)


def _replaced(table: Table, prefix: str, values: Mapping[str, Distribution]) -> Table:
    """The table and those within it with other values under their keys, as `list_inputs` names
    them. What a table does not state itself stays unstated: an end of CTs takes it from [ct]."""
    update: dict[str, object] = {}
    for name in type(table).model_fields:
        held, key = getattr(table, name), prefix + name
        if key in values:
            update[name] = values[key]
        elif isinstance(held, BaseModel):
            update[name] = _replaced(held, f"{key}.", values)
        elif isinstance(held, tuple) and any(isinstance(item, BaseModel) for item in held):
            update[name] = tuple(
                (
                    _replaced(item, f"{key}.{getattr(item, 'name', number)}.", values)
                    if isinstance(item, BaseModel)
                    else item
                )
                for number, item in enumerate(held)
            )
    changed = {name: value for name, value in update.items() if value is not getattr(table, name)}
    return table.model_copy(update=changed) if changed else table
