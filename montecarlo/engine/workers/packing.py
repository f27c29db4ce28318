"""Results of chunks as bytes and back: arrays in NumPy's own format, the rest as JSON, in one zip
archive, with a checksum on every part. Reading builds nothing but arrays, plain values and the
classes listed here, so no file can bring code.

A tally has a hundred small arrays. Those of one type stand in one part, end to end: parts are what
takes time.
"""

from __future__ import annotations

import io
import json
import math
import zipfile
from collections.abc import Sequence
from dataclasses import fields, is_dataclass
from typing import Any, Literal, cast

import numpy as np

from montecarlo.quantities.keepable import KEEPABLE

TREE = "tree.json"
QUICK = 1  # level of compression: tallies are mostly zeros


class Damaged(ValueError):
    """Bytes that `pack` has not made, or of which some were lost."""


def pack(value: tuple[str, Any]) -> bytes:
    """A label and a result as bytes.

    Parameters
    ----------
    value : tuple
        Label and result.

    Returns
    -------
    bytes

    Raises
    ------
    TypeError
        For a class that is not `keepable`.
    """
    parts = _Parts()
    tree = _tree(value, parts)
    target = io.BytesIO()
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED, compresslevel=QUICK) as archive:
        archive.writestr(TREE, json.dumps(tree))
        for number, arrays in enumerate(parts.by_type.values()):
            with archive.open(f"{number}.npy", "w", force_zip64=True) as member:
                whole = np.concatenate(arrays)
                np.lib.format.write_array(cast(Any, member), whole, allow_pickle=False)
    return target.getvalue()


def unpack(data: bytes) -> tuple[str, Any]:
    """What `pack` was given, to the last bit.

    Parameters
    ----------
    data : bytes

    Returns
    -------
    tuple
        Label and result.

    Raises
    ------
    Damaged
    """
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            parts = []
            for number in range(len(archive.namelist()) - 1):
                with archive.open(f"{number}.npy") as member:
                    parts.append(np.lib.format.read_array(cast(Any, member), allow_pickle=False))
            label, value = _value(json.loads(archive.read(TREE)), parts)
            return label, value
    except Exception as error:  # one wrong bit makes an archive "encrypted", or a huge array
        raise Damaged(str(error)) from None


# --- arrays end to end ----------------------------------------------------------


class _Parts:
    """Flat arrays by their type."""

    def __init__(self) -> None:
        self.by_type: dict[np.dtype[Any], list[np.ndarray[Any, Any]]] = {}
        self._lengths: dict[np.dtype[Any], int] = {}

    def add(self, array: np.ndarray[Any, Any]) -> list[Any]:
        """Where it stands: number of the part, first value, shape, order in memory."""
        by_column = array.flags.f_contiguous and not array.flags.c_contiguous
        order: Literal["C", "F"] = "F" if by_column else "C"
        first = self._lengths.get(array.dtype, 0)
        self._lengths[array.dtype] = first + array.size
        self.by_type.setdefault(array.dtype, []).append(array.ravel(order))
        return [list(self.by_type).index(array.dtype), first, array.shape, order]


def _array(place: Any, parts: Sequence[np.ndarray[Any, Any]]) -> np.ndarray[Any, Any]:
    """As `_Parts.add` has put it there; of its own memory."""
    number, first, shape, order = place
    flat = parts[number][first : first + math.prod(shape)]
    found: np.ndarray[Any, Any] = flat.copy().reshape(shape, order=order)
    return found


# --- to JSON and back ---------------------------------------------------------

# A list stands for itself; everything else that is no plain value is {kind: content}.


def _tree(value: Any, parts: _Parts) -> Any:
    if value is None or type(value) in (bool, int, float, str):
        return value
    if isinstance(value, np.ndarray | np.generic):
        kind = "array" if isinstance(value, np.ndarray) else "number"
        return {kind: parts.add(np.asarray(value))}
    if isinstance(value, list):
        return [_tree(each, parts) for each in value]
    if isinstance(value, tuple):
        return {"tuple": [_tree(each, parts) for each in value]}
    if isinstance(value, dict):
        return {"dict": [[_tree(key, parts), _tree(each, parts)] for key, each in value.items()]}
    name = type(value).__name__
    if is_dataclass(value) and KEEPABLE.get(name) is type(value):
        return {
            name: {field.name: _tree(getattr(value, field.name), parts) for field in fields(value)}
        }
    raise TypeError(f"a chunk returned a {type(value).__qualname__}, which cannot be kept")


def _value(tree: Any, parts: Sequence[np.ndarray[Any, Any]]) -> Any:
    if isinstance(tree, list):
        return [_value(each, parts) for each in tree]
    if not isinstance(tree, dict):
        return tree
    ((kind, content),) = tree.items()
    if kind == "array":
        return _array(content, parts)
    if kind == "number":
        return _array(content, parts)[()]
    if kind == "tuple":
        return tuple(_value(each, parts) for each in content)
    if kind == "dict":
        return {_value(key, parts): _value(each, parts) for key, each in content}
    made: Any = object.__new__(KEEPABLE[kind])
    for field in fields(made):
        object.__setattr__(made, field.name, _value(content[field.name], parts))
    return made
