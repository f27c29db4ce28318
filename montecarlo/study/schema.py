"""The study file as JSON Schema (draft 2020-12), for editors that complete and underline."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from pydantic import BaseModel
from pydantic.json_schema import GenerateJsonSchema

from montecarlo.quantities import FAMILIES, Distribution, Section, meaning_of, tables_of
from montecarlo.quantities.fields import DISTRIBUTION
from montecarlo.quantities.laws import KEY_TEXTS
from montecarlo.quantities.reading import SHAPES
from montecarlo.study.description import Study


class _Generator(GenerateJsonSchema):
    """Defaults as the file would give them."""

    def encode_default(self, dft: Any) -> Any:
        if isinstance(dft, Distribution):
            return dft.as_table()
        if isinstance(dft, Section):
            return {}
        return super().encode_default(dft)


def study_schema() -> dict[str, Any]:
    """The schema of a study file; every property has its meaning and unit as description.

    Returns
    -------
    dict
    """
    schema = Study.model_json_schema(schema_generator=_Generator)
    tables = schema["$defs"] | {"Study": schema}
    for model in _models(Study):
        for key, field in model.model_fields.items():
            meaning = meaning_of(field)
            assert meaning is not None, key
            tables[model.__name__]["properties"][key]["description"] = meaning.label
    schema["$defs"]["Distribution"] = _distribution()
    head = {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "statorodds study file",
    }
    return {**head, **_as_a_file(schema), **head}


def _models(model: type[BaseModel]) -> Iterator[type[BaseModel]]:
    yield model
    for field in model.model_fields.values():
        for inner in tables_of(field.annotation):
            yield from _models(inner)


def _as_a_file(node: Any) -> Any:
    """The models' schema for a file: no nulls, and the mark of a distribution is a reference to its
    definition."""
    if node == DISTRIBUTION:
        return {"$ref": "#/$defs/Distribution"}
    if isinstance(node, list):
        return [_as_a_file(item) for item in node]
    if not isinstance(node, dict):
        return node
    node = {
        key: _as_a_file(value)
        for key, value in node.items()
        if not (key == "default" and value is None)
    }
    choices = [item for item in node.get("anyOf", ()) if item != {"type": "null"}]
    if len(choices) == 1:
        del node["anyOf"]
        return choices[0] | node
    return node | ({"anyOf": choices} if choices else {})


def _distribution() -> dict[str, Any]:
    value = {"type": "number", "description": "the number, in the unit of the key"}
    sourced = _table(["value"], {"value": value, "source": _SOURCE})
    return {
        "description": "a distribution in the unit of the key",
        "anyOf": [sourced, *map(_family, FAMILIES), _column()],
    }


_SOURCE = {"type": "string", "description": "where the number comes from"}
_EXTRAS: dict[str, Any] = {
    "shared": {
        "type": "boolean",
        "description": "one value for all CTs or elements instead of one each",
    },
    "varies": {
        "enum": ["installation", "event"],
        "description": "drawn once per installation, or for each event",
    },
    "source": _SOURCE,
}
_TRUNCATE = {
    "type": "array",
    "items": {"type": "number"},
    "minItems": 2,
    "maxItems": 2,
    "description": "[low, high]: the distribution given that the value lies between",
}


def _family(name: str) -> dict[str, Any]:
    family = FAMILIES[name]
    properties: dict[str, Any] = {}
    if name != "tolerance":
        properties["dist"] = {"const": name, "description": "family of the distribution"}
    properties |= {key: _parameter(name, key) for key in family.keys}
    required = list(properties)
    if family.continuous:
        properties["truncate"] = _TRUNCATE
    return _table(required, properties | _EXTRAS)


def _table(required: list[str], properties: dict[str, Any]) -> dict[str, Any]:
    return {
        "type": "object",
        "additionalProperties": False,
        "required": required,
        "properties": properties,
    }


def _parameter(name: str, key: str) -> dict[str, Any]:
    text = {"description": KEY_TEXTS[key]}
    if name == "tolerance" and key == "shape":
        return {"enum": list(SHAPES)} | text
    if key in ("values", "weights"):
        return {"type": "array", "items": {"type": "number"}, "minItems": 1} | text
    if key in FAMILIES[name].positive:
        return {"type": "number", "exclusiveMinimum": 0} | text
    return {"type": "number"} | text


def _column() -> dict[str, Any]:
    properties = {
        "dist": {"const": "empirical", "description": "family of the distribution"},
        "file": {
            "type": "string",
            "description": "CSV file in the study file's folder or below it",
        },
        "column": {"type": "string", "description": "name of the column in its first line"},
    }
    return _table(list(properties), properties | _EXTRAS)
