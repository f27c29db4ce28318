"""The JSON Schema for editors: what it takes and refuses, and that every property says what it
is."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

import jsonschema
import pytest

from montecarlo.quantities import FAMILIES
from montecarlo.study.schema import study_schema
from tests.made.studies import REMOVE, study_table, study_with

SCHEMA = study_schema()
VALIDATOR = jsonschema.Draft202012Validator(SCHEMA)


def test_it_is_a_schema_of_its_draft() -> None:
    jsonschema.Draft202012Validator.check_schema(SCHEMA)
    assert SCHEMA["$schema"].endswith("2020-12/schema")
    assert json.loads(json.dumps(SCHEMA)) == SCHEMA
    assert "null" not in json.dumps(SCHEMA)


EXAMPLES: dict[str, Any] = {
    "tolerance": {"nominal": 6, "tolerance_percent": 5, "shape": "normal", "source": "data sheet"},
    "uniform": {"dist": "uniform", "low": 5, "high": 7, "truncate": [5, 6]},
    "normal": {"dist": "normal", "mean": 6, "sd": 1, "truncate": [1, 9], "varies": "event"},
    "lognormal": {"dist": "lognormal", "median": 6, "sigma": 0.1},
    "triangular": {"dist": "triangular", "low": 5, "mode": 6, "high": 7},
    "beta": {"dist": "beta", "alpha": 2, "beta": 2, "low": 5, "high": 7},
    "weibull": {"dist": "weibull", "shape": 3, "scale": 6},
    "discrete": {"dist": "discrete", "values": [5, 6], "weights": [0.5, 0.5]},
    "empirical": {"dist": "empirical", "values": [5, 6, 6]},
}


def test_every_family_has_its_example() -> None:
    assert set(EXAMPLES) == set(FAMILIES)


@pytest.mark.parametrize(
    "changes",
    [
        {},
        *({"earthing.resistance_ohm": example} for example in EXAMPLES.values()),
        {"earthing.resistance_ohm": {"value": 6, "source": "nameplate"}},
        {"candidates.delay_s": {"from": 0, "to": 0.2, "step": 0.1}},
        {"candidates.existing": {"phase_pickup_a": 0.1, "earth_pickup_a": 0.1}},
        {"ct.line_end": {"knee_voltage_v": 250}},
        {"scheme.kind": ["two_phase_one_earth", "per_phase"]},
        {"relay.step_a": 0.01, "relay.range_a": [0.01, 1]},
        {"network.reactance_pu": 0.1},
        {
            "correlations": [
                {"between": ["ct.knee_voltage_v", "ct.turns_ratio_error_percent"], "rho": 0.1}
            ]
        },
    ],
)
def test_what_the_door_takes_the_schema_takes(changes: dict[str, Any]) -> None:
    study_with(changes)
    VALIDATOR.validate(study_table(changes))


def test_a_csv_column_is_a_distribution() -> None:
    VALIDATOR.validate(
        study_table(
            {"earthing.resistance_ohm": {"dist": "empirical", "file": "r.csv", "column": "r"}}
        )
    )


@pytest.mark.parametrize(
    "changes",
    [
        {"earthing.resistence_ohm": 6},
        {"earthing.resistance_ohm": -6},
        {"earthing.resistance_ohm": "6"},
        {"earthing.resistance_ohm": {"nominal": 6, "tolerance_percent": 5}},
        {"earthing.resistance_ohm": REMOVE},
        {"earthing.resistance_ohm": {"dist": "lognorml", "median": 6, "sigma": 1}},
        {"earthing.resistance_ohm": {"dist": "lognormal", "median": -6, "sigma": 1}},
        {"earthing.resistance_ohm": {"dist": "lognormal", "mean": 6, "sigma": 1}},
        {"candidates.phase_pickup_a": []},
        {"candidates.phase_pickup_a": 0.1},
        {"candidates.phase_pickup_a": [0]},
        {"candidates.delay_s": {"from": 0, "to": 1}},
        {"scheme.kind": 3},
        {"study.samples": 1.5},
        {"machine.line_voltage_v": 11},
        {"policy": REMOVE},
        {"external_events": {}},
        {"machine.line_voltage_v": True},
    ],
)
def test_what_the_door_refuses_the_schema_refuses(changes: dict[str, Any]) -> None:
    assert not VALIDATOR.is_valid(study_table(changes))


def _properties(node: Any, path: str) -> Iterator[tuple[str, dict[str, Any]]]:
    if isinstance(node, dict):
        for key, value in node.get("properties", {}).items():
            yield f"{path}.{key}", value
        for key, value in node.items():
            yield from _properties(value, f"{path}.{key}")
    elif isinstance(node, list):
        for value in node:
            yield from _properties(value, path)


def test_every_property_has_a_description_with_its_unit() -> None:
    properties = dict(_properties(SCHEMA, ""))
    assert len(properties) > 100
    for path, value in properties.items():
        assert value.get("description"), path
        if (
            path.rpartition("_")[2] in ("a", "v", "va", "s", "ohm", "f", "hz", "pu", "percent")
            and "$defs" in path
        ):
            assert "[" in value["description"] or "per cent" in value["description"], path
