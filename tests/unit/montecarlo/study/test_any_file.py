"""Whatever a study file says: a study, or lines that say why not, and no other error."""

from __future__ import annotations

import copy
import math
import pickle
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from montecarlo.errors import StudyError
from montecarlo.quantities.wording import bare
from montecarlo.study.checks import cautions
from montecarlo.study.description import Study
from montecarlo.study.read import digest, parse_study
from tests.made.studies import REMOVE, study_table

HERE = Path(".")


def _paths(node: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    items = (
        node.items()
        if isinstance(node, dict)
        else enumerate(node)
        if isinstance(node, list)
        else ()
    )
    return [path, *(found for key, value in items for found in _paths(value, (*path, key)))]


PATHS = [path for path in _paths(study_table()) if path]
VALUES = [
    REMOVE,
    None,
    True,
    math.nan,
    math.inf,
    -math.inf,
    0,
    -1,
    1,
    2,
    1e308,
    -1e308,
    5e-324,
    10**400,
    2**63,
    "",
    "x\ny",
    "L1",
    [],
    [[]],
    {},
    [0.0, 1.0],
    {"dist": "normal"},
    {"value": 1},
    {"from": 0.1, "to": 0.3, "step": 0.1},
    {"dist": "uniform", "low": 0, "high": 1},
    {"dist": "empirical", "file": "/dev/zero", "column": "x"},
    {"": {"a b": [1, {}]}},
    {"dist": "lognormal", "median": 1, "sigma": 1e3},
    np.float64(0.3),
    object(),
    b"x",
    {"nominal": 1e308, "tolerance_percent": 1e308, "shape": "normal"},
    "study",
    {3: 4},
]
NONSENSE = st.one_of(
    st.sampled_from(VALUES),
    st.floats(),
    st.integers(),
    st.text(max_size=5),
    st.floats(1e-6, 1e3),
)
NEW_KEYS = st.sampled_from(
    ["resistance_ohm", "name", "kind", "", "a.b", "ab\nc", "\u2028", "shared", "truncate", "rho"]
)


@st.composite
def mutated(draw: st.DrawFn) -> dict[str, Any]:
    """The minimal study's table with one to five keys dropped, replaced or added."""
    table = study_table()
    for _ in range(draw(st.integers(1, 5))):
        path, value = draw(st.sampled_from(PATHS)), draw(NONSENSE)
        if draw(st.booleans()):
            path = (*path[:-1], draw(NEW_KEYS))
        node: Any = table
        try:
            for key in path[:-1]:
                node = node[key]
            if value is REMOVE:
                del node[path[-1]]
            else:
                node[path[-1]] = copy.deepcopy(value)
        except (KeyError, IndexError, TypeError):
            continue  # an earlier change took the place away
    return table


@given(mutated())
@settings(max_examples=200, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_any_table_is_a_study_or_says_why_not(table: dict[str, Any]) -> None:
    _is_a_study_or_says_why_not(table)


@pytest.mark.slow
@pytest.mark.parametrize("path", PATHS, ids=repr)
def test_any_value_at_any_key(path: tuple[Any, ...]) -> None:
    for value in VALUES:
        table = study_table()
        node: Any = table
        for key in path[:-1]:
            node = node[key]
        if value is REMOVE:
            del node[path[-1]]
        else:
            node[path[-1]] = copy.deepcopy(value)
        _is_a_study_or_says_why_not(table)


def _is_a_study_or_says_why_not(table: dict[str, Any]) -> None:
    try:
        study = parse_study(table, HERE)
    except StudyError as error:
        faults = error.faults
    else:
        assert all(caution.key and caution.text for caution in cautions(study))
        assert digest(study) == digest(pickle.loads(pickle.dumps(study)))
        return
    assert faults
    for fault in faults:
        assert fault.startswith((*Study.model_fields, *map(bare, table))), fault
        assert fault.partition(": ")[2], fault
        assert len(fault.splitlines()) == 1, fault
        assert not any(
            word in fault for word in ("pydantic", "http", "Input should", "validation")
        ), fault
