"""Files that a person names, without surprises: an ordinary file of a bounded size, changed with
patience."""

from __future__ import annotations

import os
import stat
import time
from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

Changed = TypeVar("Changed")

PATIENCE_S = (0.05, 0.1, 0.2, 0.4)
# else a pipe that nobody writes to would hold the reader up
WITHOUT_WAITING = getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)


class OversizeError(OSError):
    """The file holds more bytes than it may; the text says how many where the file system knows."""


def read_bounded(path: Path, most: int) -> bytes:
    """The bytes of an ordinary file.

    A file under /proc says that it is empty and may have no end, and a file may grow: so the bytes
    read are counted.

    Parameters
    ----------
    path : Path
    most : int
        Bytes that it may have.

    Returns
    -------
    bytes

    Raises
    ------
    OversizeError
        The file has more bytes.
    OSError
        A folder, a device, a pipe, or what cannot be read.
    """

    def opener(name: str, flags: int) -> int:
        return os.open(name, flags | WITHOUT_WAITING)

    with open(path, "rb", opener=opener) as file:
        status = os.fstat(file.fileno())
        if not stat.S_ISREG(status.st_mode):
            raise OSError("not an ordinary file")
        if status.st_size > most:
            raise OversizeError(f"{status.st_size} bytes")
        content = file.read(most + 1)
    if len(content) > most:
        raise OversizeError(f"more than {most} bytes")
    return content


def patiently(change: Callable[[], Changed]) -> Changed:
    """What a change to the disk returns, tried for a second where it is not permitted: some systems
    refuse it while a scanner or an indexer has the file open.

    Parameters
    ----------
    change : callable

    Returns
    -------
    object

    Raises
    ------
    OSError
    """
    for wait_s in PATIENCE_S:
        try:
            return change()
        except PermissionError:
            time.sleep(wait_s)
    return change()
