"""Changes to the disk that a power cut or another program cannot leave half done."""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Mapping
from pathlib import Path

from montecarlo.quantities.files import patiently


def without(path: Path) -> None:
    """Take a file away, or a folder with what it holds; of a link, the link.

    Parameters
    ----------
    path : Path
        May be absent.

    Raises
    ------
    OSError
    """
    if path.is_dir() and not path.is_symlink():
        shutil.rmtree(path)
    else:
        patiently(lambda: path.unlink(missing_ok=True))


def write_whole(path: Path, content: Mapping[str, object]) -> None:
    """Write a JSON file that stands there whole or not at all, also after a power cut.

    Parameters
    ----------
    path : Path
    content : mapping

    Raises
    ------
    OSError
    """
    half = path.with_suffix(".part")
    half.unlink(missing_ok=True)  # of a killed run, or a link to elsewhere, or a pipe
    with half.open("x", encoding="utf-8") as file:
        file.write(json.dumps(content, indent=2, ensure_ascii=False) + "\n")
    on_disk(half)  # or a power cut may leave an empty file
    patiently(lambda: os.replace(half, path))
    on_disk(path.parent)


def on_disk(path: Path) -> None:
    """Wait until the bytes of a file, or the names in a folder, are on the disk.

    Parameters
    ----------
    path : Path

    Raises
    ------
    OSError
    """
    folder = path.is_dir()
    try:
        handle = os.open(path, os.O_RDONLY if folder else os.O_RDWR)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
    except OSError:
        if not folder:  # not every system opens folders
            raise
