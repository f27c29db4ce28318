"""In which keys two studies differ, from their filed study files and tables of inputs.

An uncertain input is compared by its distribution, whatever the file leaves to a default. Every
other key is compared as it stands in the file. What changes no number is left out."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any

from studies.compare.read import Side
from studies.report.inputs import FOLDER

if TYPE_CHECKING:
    import pandas as pd

NOT_STATED = "not stated"
ASIDE = ("document.", "waveforms.", "study.title")  # change no number
COLUMNS = ("distribution", "unit", "varies", "per_ct")
HEAD = ("key", "a", "b")
DIGEST = 12  # characters of a file's checksum that are shown


def differing_keys(one: Side, other: Side) -> pd.DataFrame:
    """A row a key that is not the same in both: key, a, b. Raises StudyError."""
    import pandas as pd

    sides = [_stated(side) for side in (one, other)]
    rows = [
        (key, *(side.get(key, NOT_STATED) for side in sides))
        for key in dict.fromkeys((*sides[0], *sides[1]))
        if sides[0].get(key) != sides[1].get(key)
    ]
    return pd.DataFrame(rows, columns=[*HEAD], dtype=str)


def policy_text(side: Side) -> str:
    """The keys of the policy. Raises StudyError."""
    policy = side.study().get("policy", {})
    found = dict(_flat(policy, "")) if isinstance(policy, Mapping) else {}
    return ", ".join(f"{key} {value}" for key, value in found.items()) or NOT_STATED


def _stated(side: Side) -> dict[str, str]:
    """Every key with its value as a text."""
    inputs = _inputs(side)
    stated = {
        key: text
        for key, text in _flat(side.study(), "")
        if not key.startswith(ASIDE) and not _within(key, inputs)
    }
    record = side.record
    files = {
        name: f"sha256 {str(checksum)[:DIGEST]}"
        for name, checksum in record["sha256"].items()
        if name.startswith(f"{FOLDER}/")
    }
    stated |= {"study.seed": str(record["seed"]), "study.samples": str(record["samples_asked"])}
    return {"version of the program": record["version"], **stated, **inputs, **files}


def _inputs(side: Side) -> dict[str, str]:
    """Each input of the study: its distribution, how it varies, and in a row of its own where it
    comes from."""
    frame = side.table("inputs", ["key", "source", *COLUMNS])
    found = {}
    for key, source, *cells in frame[["key", "source", *COLUMNS]].itertuples(index=False):
        found[key] = _input_text(*cells)
        found[f"{key}, source"] = source or NOT_STATED
    return found


def _input_text(distribution: str, unit: str, varies: str, per_ct: str) -> str:
    text = distribution if unit in ("", "-") else f"{distribution} {unit}"
    each = f", drawn for each {varies}" if varies else ""
    return text + each + (" and CT" if varies and per_ct.lower() == "true" else "")


def _within(key: str, inputs: Mapping[str, str]) -> bool:
    """Whether a key of the file is an input or a part of one."""
    parts = key.split(".")
    return any(".".join(parts[:end]) in inputs for end in range(1, len(parts) + 1))


def _flat(node: Any, path: str) -> Iterator[tuple[str, str]]:
    """Dotted keys with their values; tables in a list go by their names, else by their place."""
    tables = isinstance(node, list) and bool(node) and all(isinstance(one, Mapping) for one in node)
    if isinstance(node, Mapping):
        for key, value in node.items():
            yield from _flat(value, f"{path}.{key}" if path else str(key))
    elif tables:
        for number, value in enumerate(node, 1):
            name = value.get("name", number)
            inner = {key: item for key, item in value.items() if key != "name"}
            yield from _flat(inner, f"{path}.{name}")
    else:
        yield path, _plain(node)


def _plain(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, Mapping):
        return ", ".join(f"{key} {_plain(item)}" for key, item in value.items())
    if isinstance(value, list):
        return ", ".join(map(_plain, value))
    return f"{value:.12g}" if isinstance(value, float) else str(value)
