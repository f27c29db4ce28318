"""Uncertain inputs: every quantity of a study with its key as written in the file."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from pydantic import BaseModel

from montecarlo.quantities import (
    Array,
    Distribution,
    Meaning,
    Quantity,
    Varies,
    Width,
    meaning_of,
)
from montecarlo.sampling.streams import check_distinct

WIDTHS: dict[Width, int] = {"one": 1, "ct": 6, "element": 4}  # 4 elements: L1, L2, L3, earth

Tie = tuple[str, str, float]  # two keys and the correlation of their normal scores


@dataclass(frozen=True)
class Input:
    """One quantity of the study. `columns` values are drawn a sample: fewer than the width when
    shared.

    An override of one end ("ct.line_end.knee_voltage_v") has all six columns too; the other end's
    are not used."""

    key: str
    quantity: Quantity
    distribution: Distribution
    varies: Varies
    columns: int

    @property
    def uncertain(self) -> bool:
        """Whether it has a distribution."""
        return not self.distribution.is_number

    @property
    def width(self) -> int:
        """Values a sample after sharing: 1, 6 (CTs) or 4 (elements)."""
        return WIDTHS[self.quantity.width]


def list_inputs(study: BaseModel) -> tuple[Input, ...]:
    """Every number and distribution of a study or of one of its tables, in the order of the fields.

    Parameters
    ----------
    study : pydantic.BaseModel

    Returns
    -------
    tuple of Input

    Raises
    ------
    StudyError
        Two would share random numbers.
    """
    inputs = tuple(_walk(study, ""))
    check_distinct(item.key for item in inputs)
    return inputs


def _walk(section: BaseModel, prefix: str) -> Iterator[Input]:
    for name, field in type(section).model_fields.items():
        value = getattr(section, name)
        key = prefix + name
        if isinstance(value, Distribution):
            yield _input(key, meaning_of(field), value)
        elif isinstance(value, BaseModel):
            yield from _walk(value, f"{key}.")
        elif isinstance(value, (tuple, list)):
            for number, item in enumerate(value):
                if isinstance(item, BaseModel):
                    yield from _walk(item, f"{key}.{getattr(item, 'name', number)}.")


def _input(key: str, quantity: Meaning | None, distribution: Distribution) -> Input:
    if not isinstance(quantity, Quantity):
        raise TypeError(f"{key} holds a distribution but its field declares no Quantity")
    columns = 1 if distribution.shared else WIDTHS[quantity.width]
    return Input(key, quantity, distribution, distribution.varies or quantity.varies, columns)


# --- correlations -------------------------------------------------------------


def correlation_matrix(keys: Sequence[str], ties: Sequence[Tie]) -> Array:
    """Correlations of normal scores. [-]

    Parameters
    ----------
    keys : sequence of str
    ties : sequence of Tie
        Pairs that are not named have 0.

    Returns
    -------
    (k, k) array
    """
    matrix = np.eye(len(keys))
    place = {key: i for i, key in enumerate(keys)}
    for one, other, rho in ties:
        matrix[place[one], place[other]] = rho
        matrix[place[other], place[one]] = rho
    return matrix


def correlation_faults(inputs: Sequence[Input], ties: Sequence[Tie]) -> tuple[str, ...]:
    """What is wrong with the correlations of a study.

    Parameters
    ----------
    inputs : sequence of Input
    ties : sequence of Tie

    Returns
    -------
    tuple of str
        A line a fault.
    """
    known = {item.key: item for item in inputs}
    faults = []
    seen = set()
    for one, other, _ in ties:
        if fault := _tie_fault(known.get(one), known.get(other), one, other):
            faults.append(f"correlations: {one} with {other}: {fault}")
        elif frozenset((one, other)) in seen:
            faults.append(f"correlations: {one} with {other}: stands there twice; leave one")
        seen.add(frozenset((one, other)))
    if not faults and ties:
        keys = list(dict.fromkeys(key for tie in ties for key in tie[:2]))
        if not np.linalg.eigvalsh(correlation_matrix(keys, ties))[0] > 1e-9:
            faults.append(
                f"correlations: the values of rho between {', '.join(keys)} contradict each other "
                "(no such normal variables exist); bring them closer to 0"
            )
    return tuple(faults)


def _tie_fault(one: Input | None, other: Input | None, key: str, other_key: str) -> str:
    if one is None or other is None:
        unknown = key if one is None else other_key
        return f"{unknown} is not an input of this study; take the key from inputs"
    if one.key == other.key:
        return "an input cannot be correlated with itself; name two"
    for item in (one, other):
        if not item.uncertain:
            return f"{item.key} is a plain number; give it a distribution or drop the correlation"
    if one.varies != other.varies:
        return f"one varies by {one.varies}, the other by {other.varies}; give both the same varies"
    if one.columns != other.columns:
        against = f"values a sample: {one.columns} against {other.columns}"
        return f"{against}; set shared = true on the wider one"
    return ""
