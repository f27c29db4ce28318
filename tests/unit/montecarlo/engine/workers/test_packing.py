"""Results of chunks as bytes: what comes back is what went in, to the last bit, and nothing but
what is listed."""

from __future__ import annotations

import io
import json
import math
import zipfile
from dataclasses import fields, is_dataclass
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays

from montecarlo.engine.pickup_columns import Column
from montecarlo.engine.workers.packing import Damaged, pack, unpack
from montecarlo.estimates.rare import Sums, plain
from montecarlo.estimates.tally import LatticeTally, Tally

plain_values = st.none() | st.booleans() | st.integers() | st.floats() | st.text()
any_array = arrays.arrays(
    st.sampled_from([np.float64, np.int64, np.bool_, np.float32, np.complex128]),
    arrays.array_shapes(max_dims=3, max_side=4),
)
keys = st.floats(allow_nan=False) | st.text() | st.tuples(st.integers(), st.text())
trees = st.recursive(
    plain_values | any_array,
    lambda inner: (
        st.lists(inner) | st.tuples(inner, inner) | st.dictionaries(keys, inner, max_size=3)
    ),
    max_leaves=8,
)


def same(one: Any, other: Any) -> bool:
    """To the bit and the type."""
    if type(one) is not type(other):
        return False
    if isinstance(one, np.ndarray | np.generic):
        return (
            one.dtype == other.dtype
            and one.shape == other.shape
            and one.tobytes() == other.tobytes()
        )
    if isinstance(one, float):
        return (math.isnan(one) and math.isnan(other)) or repr(one) == repr(other)
    if isinstance(one, list | tuple):
        return len(one) == len(other) and all(map(same, one, other))
    if isinstance(one, dict):
        return same(list(one.keys()), list(other.keys())) and same(
            list(one.values()), list(other.values())
        )
    if is_dataclass(one):
        return all(
            same(getattr(one, field.name), getattr(other, field.name)) for field in fields(one)
        )
    return bool(one == other)


@settings(deadline=None, suppress_health_check=[HealthCheck.too_slow])  # of a busy machine
@given(st.text(), trees)
def test_everything_comes_back(label: str, value: Any) -> None:
    assert same(unpack(pack((label, value))), (label, value))


def test_tallies_densities_and_rows_come_back() -> None:
    rng = np.random.default_rng(1)
    tally = Tally(
        (LatticeTally(rng.normal(size=(2, 3)), np.ones(2), np.zeros(2)),), {"note": 0.1 + 0.2}
    )
    tally.classes = {"within_coil": tally.lattices}
    tally.early = {0.25: Tally(tally.lattices), 0.5: Tally(())}
    sums = Sums.of(rng.random((128, 2)) < 0.5, np.zeros(128), 1.0)
    value = [tally, plain(5, ()), sums, {Column("a", "A", "meaning", "input"): np.arange(3.0)}]
    assert same(unpack(pack(("x", value)))[1], value)


def test_a_column_major_array_keeps_its_order() -> None:
    array = np.asfortranarray(np.arange(12.0).reshape(3, 4))
    back = unpack(pack(("", array)))[1]
    assert back.flags.f_contiguous
    assert not back.flags.c_contiguous


class Stranger:
    pass


@pytest.mark.parametrize(
    "value",
    [
        Stranger(),
        {1, 2},
        b"bytes",
        object,
        np.array([None], dtype=object),
        np.array([Stranger()], dtype=object),
    ],
)
def test_what_is_not_listed_cannot_be_kept(value: Any) -> None:
    with pytest.raises((TypeError, ValueError)):
        pack(("", value))


def archive(tree: Any, **parts: bytes) -> bytes:
    target = io.BytesIO()
    with zipfile.ZipFile(target, "w") as file:
        file.writestr("tree.json", json.dumps(tree) if not isinstance(tree, str) else tree)
        for name, data in parts.items():
            file.writestr(f"{name}.npy", data)
    return target.getvalue()


def saved(array: np.ndarray[Any, Any]) -> bytes:
    target = io.BytesIO()
    np.save(target, array, allow_pickle=True)
    return target.getvalue()


PLACE = {"array": [0, 0, [1], "C"]}


def test_an_array_is_found_at_its_place() -> None:
    """Without this, what follows could be refused for another reason."""
    data = archive({"tuple": ["", PLACE]}, **{"0": saved(np.array([7.0, 8.0]))})
    assert unpack(data)[1] == np.array([7.0])


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"PK\x05\x06" + 18 * b"\0",
        archive({"Popen": {"args": "id"}}),
        archive({"tuple": ["", {"Popen": {}}]}),
        archive({"tuple": ["", {"Tally": {}}]}),
        archive({"tuple": ["", {"array": 0}]}),
        archive({"tuple": ["", PLACE]}),
        archive({"tuple": ["", PLACE]}, **{"0": saved(np.empty(0))}),
        archive({"tuple": ["one"]}),
        archive({"tuple": ["", PLACE]}, **{"0": saved(np.array([Stranger()], dtype=object))}),
        archive("[" * 100_000),
        archive("nonsense"),
        archive({"tuple": ["", {"dict": [[[], 1]]}]}),
        archive({"tuple": ["", {"a": 1, "b": 2}]}),
        archive([]),
    ],
    ids=range(15),
)
def test_what_pack_has_not_made_is_damaged(data: bytes) -> None:
    with pytest.raises(Damaged):
        unpack(data)
