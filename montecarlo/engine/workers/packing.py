"""Results of chunks as bytes and back: arrays in NumPy's own format, the rest as JSON, in one zip
archive, with a checksum on every part. Reading builds nothing but arrays, plain values and the
classes listed here, so no file can bring code."""

from __future__ import annotations

import io
import json
import zipfile
from dataclasses import fields, is_dataclass
from typing import Any, cast

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
    arrays: list[np.ndarray[Any, Any]] = []
    tree = _tree(value, arrays)
    target = io.BytesIO()
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED, compresslevel=QUICK) as archive:
        archive.writestr(TREE, json.dumps(tree))
        for number, array in enumerate(arrays):
            with archive.open(f"{number}.npy", "w", force_zip64=True) as member:
                np.lib.format.write_array(cast(Any, member), array, allow_pickle=False)
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
            arrays = []
            for number in range(len(archive.namelist()) - 1):
                with archive.open(f"{number}.npy") as member:
                    arrays.append(np.lib.format.read_array(cast(Any, member), allow_pickle=False))
            label, value = _value(json.loads(archive.read(TREE)), arrays)
            return label, value
    except Exception as error:  # one wrong bit makes an archive "encrypted", or a huge array
        raise Damaged(str(error)) from None


# --- to JSON and back ---------------------------------------------------------

# A list stands for itself; everything else that is no plain value is {kind: content}.


def _tree(value: Any, arrays: list[np.ndarray[Any, Any]]) -> Any:
    if value is None or type(value) in (bool, int, float, str):
        return value
    if isinstance(value, np.ndarray | np.generic):
        arrays.append(np.asarray(value))
        return {"array" if isinstance(value, np.ndarray) else "number": len(arrays) - 1}
    if isinstance(value, list):
        return [_tree(each, arrays) for each in value]
    if isinstance(value, tuple):
        return {"tuple": [_tree(each, arrays) for each in value]}
    if isinstance(value, dict):
        return {"dict": [[_tree(key, arrays), _tree(each, arrays)] for key, each in value.items()]}
    name = type(value).__name__
    if is_dataclass(value) and KEEPABLE.get(name) is type(value):
        return {
            name: {field.name: _tree(getattr(value, field.name), arrays) for field in fields(value)}
        }
    raise TypeError(f"a chunk returned a {type(value).__qualname__}, which cannot be kept")


def _value(tree: Any, arrays: list[np.ndarray[Any, Any]]) -> Any:
    if isinstance(tree, list):
        return [_value(each, arrays) for each in tree]
    if not isinstance(tree, dict):
        return tree
    ((kind, content),) = tree.items()
    if kind == "array":
        return arrays[content]
    if kind == "number":
        return arrays[content][()]
    if kind == "tuple":
        return tuple(_value(each, arrays) for each in content)
    if kind == "dict":
        return {_value(key, arrays): _value(each, arrays) for key, each in content}
    made: Any = object.__new__(KEEPABLE[kind])
    for field in fields(made):
        object.__setattr__(made, field.name, _value(content[field.name], arrays))
    return made
