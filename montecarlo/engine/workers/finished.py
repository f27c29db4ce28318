"""Finished chunks on the disk, so that a run that was ended goes on where it was.

A run is the same sequence of calls of `Workers.mapped` each time, so a chunk is found again by the
number of its call and its own within it; its label tells whether it is the same. A file stands
there whole or not at all, and one that was damaged is solved again."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from montecarlo.engine.workers.packing import Damaged, unpack
from montecarlo.errors import RunStopped
from montecarlo.quantities.files import patiently, read_bounded


class Finished:
    """The finished chunks in one folder.

    Parameters
    ----------
    folder : Path
        Exists.

    Attributes
    ----------
    there : int
        How many stood there at the start.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.there = len(list(folder.glob("*.npz")))
        for half in folder.glob("*.part"):
            half.unlink(missing_ok=True)

    def __len__(self) -> int:
        return len(list(self.folder.glob("*.npz")))

    def among(self, call: int, labels: Sequence[str]) -> set[int]:
        """Which chunks of a call are finished and whole.

        Parameters
        ----------
        call : int
            Number of the call, from 1.
        labels : sequence of str
            Of all its tasks.

        Returns
        -------
        set of int
            Their places in the call.
        """
        prefix = f"{call:04d}-"
        found = set()
        for path in self.folder.glob(f"{prefix}*.npz"):
            number = path.stem.removeprefix(prefix)
            if (
                number.isdigit()
                and int(number) < len(labels)
                and self._label(path) == labels[int(number)]
            ):
                found.add(int(number))
        return found

    def put(self, call: int, index: int, data: bytes) -> None:
        """Keep a chunk, whole or not at all.

        Parameters
        ----------
        call, index : int
            Number of the call and place in it.
        data : bytes
            As `pack` makes them.

        Raises
        ------
        RunStopped
            When the disk is full or the like; what was there stays.
        """
        half = ""
        try:
            with tempfile.NamedTemporaryFile(dir=self.folder, suffix=".part", delete=False) as file:
                half = file.name
                file.write(data)
            patiently(lambda: os.replace(half, self._path(call, index)))
        except OSError as error:
            if half:
                Path(half).unlink(missing_ok=True)
            cure = "free some space"
            if isinstance(error, FileNotFoundError):
                cure = "start the run again, and leave the folder to it"
            if isinstance(error, PermissionError):
                cure = "close what looks into that folder, and start the run again"
            raise RunStopped(
                f"{self.folder}: a finished chunk cannot be written "
                f"({error.strerror or type(error).__name__}); {cure}"
            ) from None

    def take(self, call: int, index: int) -> Any:
        """The result of a chunk that is `among` the finished ones.

        Parameters
        ----------
        call, index : int
            Number of the call and place in it.

        Returns
        -------
        object

        Raises
        ------
        RunStopped
            Where it cannot be read again.
        """
        path = self._path(call, index)
        try:
            return unpack(_bytes_of(path))[1]
        except (OSError, Damaged) as error:
            raise RunStopped(
                f"{path}: a finished chunk cannot be read again ({error}); remove that file"
            ) from None

    def _path(self, call: int, index: int) -> Path:
        return self.folder / f"{call:04d}-{index:06d}.npz"

    @staticmethod
    def _label(path: Path) -> str | None:
        try:
            return unpack(_bytes_of(path))[0]
        except (OSError, MemoryError, Damaged):
            return None


def _bytes_of(path: Path) -> bytes:
    """Of an ordinary file, as many as it says: a chunk of many candidates has no natural limit."""
    return read_bounded(path, path.stat().st_size)
