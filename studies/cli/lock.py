"""The right to work in a folder, held by an open file in it."""

from __future__ import annotations

import os
from pathlib import Path

NO_LINK = getattr(os, "O_NOFOLLOW", 0)


class Lock:
    """A file that one run at a time can hold.

    Parameters
    ----------
    path : Path
        Made if it is not there, in a folder that is.

    Raises
    ------
    BlockingIOError
        Where another run holds it.
    FileNotFoundError
        Where the file was taken away meanwhile, or its folder is not there.
    OSError
    """

    def __init__(self, path: Path) -> None:
        from filelock import lock_descriptor

        self._handle = os.open(path, os.O_RDWR | os.O_CREAT | NO_LINK, 0o644)
        try:
            if not lock_descriptor(self._handle, blocking=False):
                raise BlockingIOError(f"{path} is held")
            # A run that ends takes its file away: who had opened it before holds what nobody finds.
            if not os.path.samestat(os.fstat(self._handle), os.stat(path)):
                raise FileNotFoundError(f"{path} was taken away")
        except BaseException:
            self.release()
            raise

    def release(self) -> None:
        """Give the right away; the file stays."""
        os.close(self._handle)
