"""A study that was read does not change, in any of its parts."""

from __future__ import annotations

import pickle
from collections.abc import Iterator
from dataclasses import FrozenInstanceError, fields, is_dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from pydantic import BaseModel, ValidationError

from montecarlo import read_study
from montecarlo.quantities.frozen import FrozenDict, frozen, thawed
from montecarlo.study.read import digest

FILES = sorted((Path(__file__).parents[4] / "configs").glob("*.toml"))


def parts(value: Any) -> Iterator[Any]:
    """Everything that a study holds, itself first."""
    yield value
    inside: list[Any] = []
    if isinstance(value, BaseModel):
        inside = [*vars(value).values(), *(value.__pydantic_private__ or {}).values()]
    elif is_dataclass(value):
        inside = [*vars(value).values()]
    elif isinstance(value, dict):
        inside = [*value.values()]
    elif isinstance(value, (tuple, list)):
        inside = [*value]
    for item in inside:
        yield from parts(item)


def changed(part: Any) -> None:
    """Tries every way to change a part; raises where one works."""
    if isinstance(part, BaseModel):
        for name in type(part).model_fields:
            with pytest.raises(ValidationError):
                setattr(part, name, None)
    elif is_dataclass(part):
        for field in fields(part):
            with pytest.raises(FrozenInstanceError):
                setattr(part, field.name, None)
    elif isinstance(part, dict):
        with pytest.raises(TypeError, match="cannot be changed"):
            part["new"] = None
        with pytest.raises(TypeError, match="cannot be changed"):
            part.update(new=None)
    elif isinstance(part, np.ndarray):
        with pytest.raises(ValueError, match="read-only"):
            part[...] = 0
    else:
        assert isinstance(part, (tuple, str, int, float, type(None))), type(part)


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_no_part_of_a_study_can_be_changed(path: Path) -> None:
    study, seen = read_study(path), set()
    before = digest(study)
    for part in parts(study):
        if id(part) not in seen:
            seen.add(id(part))
            changed(part)
    assert len(seen) > 100
    assert digest(study) == before


def test_a_frozen_table_travels_and_thaws() -> None:
    table = {"a": [1, {"b": [2.0]}], "c": "d"}
    held = frozen(table)
    assert held == {"a": (1, {"b": (2.0,)}), "c": "d"}
    again = pickle.loads(pickle.dumps(held))
    assert type(again) is FrozenDict
    assert again == held
    assert thawed(again) == table
    for change in (held.clear, held.popitem, lambda: held.pop("a"), lambda: held.setdefault("e")):
        with pytest.raises(TypeError, match="read it again"):
            change()
