"""A study with one input changed, after it was read: every other field, and every random number, stays."""

from __future__ import annotations

from typing import TypeVar

from pydantic import BaseModel

from montecarlo.quantities import Distribution

__all__ = ["with_input"]

Table = TypeVar("Table", bound=BaseModel)


def with_input(table: Table, key: str, distribution: Distribution) -> Table:
    """A copy with the distribution of the input that `sampling.inputs.list_inputs` calls `key`. The distribution must
    lie within the field's range; nothing is checked or completed again, so what other fields took from this one while
    they were read stays."""
    head, _, rest = key.partition(".")
    value = getattr(table, head)
    if not rest:
        return table.model_copy(update={head: distribution})
    if isinstance(value, BaseModel):
        return table.model_copy(update={head: with_input(value, rest, distribution)})
    name, _, inner = rest.partition(".")
    items = [with_input(item, inner, distribution) if str(getattr(item, "name", number)) == name else item
             for number, item in enumerate(value)]
    return table.model_copy(update={head: type(value)(items)})
