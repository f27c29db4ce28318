"""Compiled code kept on the disk: damaged files are taken away and compiled anew, whatever was lost
of them; a folder that cannot be written is one line."""

from __future__ import annotations

import errno
import importlib.util
import os
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from numba.core.caching import CacheImpl, IndexDataCacheFile

from montecarlo.errors import RunStopped
from montecarlo.estimates import conditional
from montecarlo.plant.events import wave_kernel
from montecarlo.quantities import compiled
from montecarlo.secondary import excitation, kernel, phasor_kernel

SOURCE = """\
from montecarlo.quantities.compiled import njit

@njit(error_model="numpy")
def twice(x):
    return 2.0 * x
"""


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """With a module of one compiled function, called once, and its kept code beside it."""
    monkeypatch.setattr("numba.config.CACHE_DIR", "")
    (tmp_path / "once.py").write_text(SOURCE)
    assert twice(tmp_path)(4.0) == 8.0
    return tmp_path


def twice(folder: Path) -> Any:
    """The function as a new process has it."""
    compiled.code_in.cache_clear()
    spec = importlib.util.spec_from_file_location("once", folder / "once.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module.twice


def kept(folder: Path, ending: str) -> Path:
    (path,) = (folder / "__pycache__").glob(f"*.{ending}")
    return path


def test_code_of_every_entry_is_looked_for(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(compiled, "_entries", [twice(folder)])
    assert compiled.all_kept()
    kept(folder, "nbi").unlink()
    assert not compiled.all_kept()


def test_the_entries_are_the_functions_that_python_calls() -> None:
    """Of a run that compiles nothing else; a new one wants `entry`."""
    called = {
        kernel.integrate,
        phasor_kernel.solve_lanes,
        excitation._within,
        conditional._found,
        wave_kernel.write,
    }
    assert called <= {*compiled._entries}


def test_what_is_kept_is_loaded_again(folder: Path) -> None:
    function = twice(folder)
    assert function(4.0) == 8.0
    assert sum(function.stats.cache_hits.values()) == 1
    assert not function.stats.cache_misses


def test_code_is_compiled_anew_when_a_source_beside_it_is_changed(folder: Path) -> None:
    """Else it would go on with the old: numbers would be wrong, and nothing would say so. Plain
    Python counts too: a stage's equations are written as such, and become machine code."""
    for source in ("# plain Python\n", "# plain Python, changed\n"):
        (folder / "beside.py").write_text(source)
        assert not sum(called(folder).stats.cache_hits.values())
    assert sum(called(folder).stats.cache_hits.values()) == 1


def called(folder: Path) -> Any:
    function = twice(folder)
    assert function(4.0) == 8.0
    return function


def flipped(content: bytes) -> bytes:
    at = 3 * len(content) // 4
    return content[:at] + bytes([content[at] ^ 1]) + content[at + 1 :]


DAMAGE: dict[str, Callable[[bytes], bytes]] = {
    "emptied": lambda content: b"",
    "cut": lambda content: content[: len(content) // 2],
    "short of a byte": lambda content: content[:-1],
    "garbage": lambda content: b"\x00garbage\xff" * 40,
    "zeros": lambda content: bytes(len(content)),
    "flipped": flipped,
    "zeros at the end": lambda content: content[:-200] + bytes(200),
    "of another program": lambda content: b"\x80\x05X\x06\x00\x00\x000.68.1q\x00.",
}


@pytest.mark.parametrize("ending", ["nbi", "nbc"])
@pytest.mark.parametrize("damage", DAMAGE)
def test_a_damaged_file_is_compiled_anew(folder: Path, ending: str, damage: str) -> None:
    path = kept(folder, ending)
    before = path.read_bytes()
    path.write_bytes(DAMAGE[damage](before))
    assert path.read_bytes() != before
    function = twice(folder)
    assert function(4.0) == 8.0
    assert sum(function.stats.cache_misses.values()) == 1
    again = twice(folder)
    assert again(4.0) == 8.0
    assert sum(again.stats.cache_hits.values()) == 1


def test_code_kept_without_a_checksum_is_compiled_anew(folder: Path) -> None:
    """As Numba itself would have left it."""
    for ending in ("nbi", "nbc"):
        path = kept(folder, ending)
        path.write_bytes(path.read_bytes()[: -compiled.LENGTH])
    function = twice(folder)
    assert function(4.0) == 8.0
    assert sum(function.stats.cache_misses.values()) == 1


@pytest.fixture
def no_file_leads_elsewhere() -> Iterator[None]:
    before = sys.dont_write_bytecode
    sys.dont_write_bytecode = True  # Python keeps its own files there too
    yield
    sys.dont_write_bytecode = before


@pytest.mark.parametrize("ending", ["nbi", "nbc"])
def test_a_folder_in_place_of_a_file_is_one_line(folder: Path, ending: str) -> None:
    path = kept(folder, ending)
    path.unlink()
    (path / "stranger").mkdir(parents=True)
    with pytest.raises(RunStopped) as caught:
        twice(folder)(4.0)
    assert caught.value.faults == (
        (
            f"{path.parent}: the compiled solvers cannot be kept there (Is a directory); mend that "
            f"folder, or {compiled.CURE}"
        ),
    )


def test_a_full_disk_is_one_line(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(self: object, name: str, data: object) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    kept(folder, "nbi").unlink()
    monkeypatch.setattr(IndexDataCacheFile, "_save_data", full)
    with pytest.raises(RunStopped, match=r"cannot be kept there \(No space left on device\); mend"):
        twice(folder)(4.0)


def test_a_folder_that_became_a_file_is_one_line(
    folder: Path, no_file_leads_elsewhere: None
) -> None:
    function = twice(folder)
    for path in (folder / "__pycache__").iterdir():
        path.unlink()
    (folder / "__pycache__").rmdir()
    (folder / "__pycache__").write_text("")
    with pytest.raises(RunStopped, match=r"cannot be kept there \(File exists\); mend"):
        function(4.0)


def test_a_place_where_nothing_can_be_kept_is_one_line(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(CacheImpl, "_locator_classes", [])
    with pytest.raises(RunStopped) as caught:
        twice(folder)
    assert caught.value.faults == (
        f"the compiled solvers can be kept nowhere; {compiled.CURE}, and see statorodds selfcheck",
    )


def test_every_compiled_function_is_kept_so() -> None:
    from numba.core.dispatcher import Dispatcher

    from montecarlo.secondary import (
        admittance,
        excitation,
        judging,
        kernel,
        phasor_kernel,
        workspace,
    )

    modules = (
        admittance,
        excitation,
        judging,
        kernel,
        phasor_kernel,
        wave_kernel,
        workspace,
    )
    functions = [
        value
        for module in modules
        for value in vars(module).values()
        if isinstance(value, Dispatcher)
    ]
    assert len(functions) > 30
    assert {type(function._cache) for function in functions} == {compiled.KeptCode}
