"""A file that a person names, read without surprises: an ordinary file, of a bounded size."""

from __future__ import annotations

import os
import stat
from pathlib import Path

__all__ = ["OversizeError", "read_bounded"]

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
