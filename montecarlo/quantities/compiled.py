"""Numba's njit, with the compiled code kept on the disk so that a power cut can do no harm.

Numba writes a file whole or not at all, but the disk may lose what it holds, and Numba loads what
is there. Here every file ends with its checksum. A file that does not fit it is taken away, and its
function is compiled anew, as all are once a source of the folder is changed.

Numba has no public face for this: the one file that uses its inner names, and the reason for the
upper bound of numba in pyproject.toml.
"""

from __future__ import annotations

import hashlib
import io
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from functools import cache
from pathlib import Path
from typing import Any

import numba
from numba.core.caching import FunctionCache, IndexDataCacheFile
from numba.core.ccallback import CFunc

from montecarlo.errors import RunStopped

CURE = "set NUMBA_CACHE_DIR to a folder that only you can write"
LENGTH = hashlib.sha256().digest_size


def njit(
    *, counted: bool = True, entry: bool = False, **options: Any
) -> Callable[[Callable[..., Any]], Any]:
    """A decorator like Numba's, for a function of a module; its compiled code is kept.

    Parameters
    ----------
    counted : bool
        Whether references to arrays are counted; without, the function can make none.
    entry : bool
        Whether code that is not compiled calls it.
    **options
        Numba's own.

    Returns
    -------
    callable

    Raises
    ------
    RunStopped
        Where compiled code can be kept nowhere.
    """
    if not counted:
        options["_nrt"] = False

    def compiled(function: Callable[..., Any]) -> Any:
        found = numba.njit(**options)(function)
        found._cache = KeptCode(function)  # what the option cache=True does
        if entry:
            _entries.append(found)
        return found

    return compiled


def callback(signature: Any, function: Callable[..., Any]) -> int:
    """Code of a function that compiled code calls by its address; kept like that of `njit`.

    Parameters
    ----------
    signature : Numba's
    function : callable

    Returns
    -------
    int
        The address, for as long as the process lives.

    Raises
    ------
    RunStopped
        Where compiled code can be kept nowhere.
    """
    found: Any = CFunc(function, (signature.args, signature.return_type), {}, {})
    found._cache = KeptCode(function)
    found.compile()
    _called.append(found)
    return int(found.address)


_called: list[Any] = []  # what addresses point into
_entries: list[Any] = []  # functions that Python calls
_waiting: list[Callable[[], None]] = []  # by whoever waits for it


def all_kept() -> bool:
    """Whether every function that Python calls has code for this processor on the disk.

    Returns
    -------
    bool
        A study may still want another signature, which is compiled where it is wanted.
    """
    here = _entries[0].targetctx.codegen().magic_tuple()
    return all(here in found._cache.processors() for found in _entries)


@contextmanager
def when_compiling(tell: Callable[[], None]) -> Iterator[None]:
    """Within, `tell` is called once before a function is compiled; not where all code is kept.

    Parameters
    ----------
    tell : callable

    Yields
    ------
    None
    """
    _waiting.append(tell)
    try:
        yield
    finally:
        _waiting.clear()


class KeptCode(FunctionCache):
    """The compiled code of one function. Raises RunStopped where it cannot be written."""

    def __init__(self, function: Callable[..., Any]) -> None:
        try:
            super().__init__(function)
        except RuntimeError:  # no folder, of all that it tries
            raise RunStopped(
                f"the compiled solvers can be kept nowhere; {CURE}, and see statorodds selfcheck"
            ) from None
        stamp = (
            self._impl.locator.get_source_stamp(),
            code_in(Path(function.__code__.co_filename).parent),
        )
        self._cache_file = CheckedFiles(self._cache_path, self._impl.filename_base, stamp)

    def processors(self) -> set[Any]:
        """For which there is code.

        Returns
        -------
        set
            As Numba names them.
        """
        return {key[1] for key in self._cache_file._load_index()}

    def load_overload(self, sig: Any, target_context: Any) -> Any:
        """Kept code, or None: then Numba compiles.

        Parameters
        ----------
        sig : tuple
        target_context : Numba's

        Returns
        -------
        object or None
        """
        found = super().load_overload(sig, target_context)
        if found is None and _waiting:
            _waiting.pop()()
        return found

    def save_overload(self, sig: Any, data: Any) -> None:
        """Keep code.

        Parameters
        ----------
        sig : tuple
        data : object

        Raises
        ------
        RunStopped
            If it cannot be written.
        """
        try:
            super().save_overload(sig, data)
        except OSError as error:
            reason = error.strerror or type(error).__name__
            raise RunStopped(
                f"{self.cache_path}: the compiled solvers cannot be kept there "
                f"({reason}); mend that folder, or {CURE}"
            ) from None


class CheckedFiles(IndexDataCacheFile):
    """An index and the files that it names. Numba reads a pickle and not what stands behind it."""

    @contextmanager
    def _open_for_write(self, filepath: str) -> Iterator[io.BytesIO]:
        with super()._open_for_write(filepath) as file:
            content = io.BytesIO()
            yield content
            file.write(content.getvalue() + hashlib.sha256(content.getvalue()).digest())

    def _load_index(self) -> dict[Any, str]:
        return super()._load_index() if whole(Path(self._index_path)) else {}

    def _load_data(self, name: str) -> Any:
        if not whole(Path(self._data_path(name))):
            raise FileNotFoundError(name)  # then it is compiled
        return super()._load_data(name)


@cache
def code_in(folder: Path) -> str:
    """Digest of a folder's sources. Numba looks at the file of a function alone, but its code holds
    that of the functions that it calls, and of plain Python that wrote a part of it.

    Parameters
    ----------
    folder : path

    Returns
    -------
    str
        Hexadecimal.
    """
    sources = [path.read_bytes() for path in sorted(folder.glob("*.py"))]
    return hashlib.sha256(b"".join(sources)).hexdigest()


def whole(path: Path) -> bool:
    """Whether a file is there and as it was written; one that is not is taken away.

    Parameters
    ----------
    path : path

    Returns
    -------
    bool
    """
    with suppress(OSError):
        content = path.read_bytes()
        if hashlib.sha256(content[:-LENGTH]).digest() == content[-LENGTH:]:
            return True
    with suppress(OSError):
        path.unlink()
    return False
