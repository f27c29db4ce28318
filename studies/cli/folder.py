"""The folder of a run: refused or found writable before anything is sampled; in it the unfinished
run, from which the same command goes on; at the end the results, put in place with the record of
provenance last."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn

from montecarlo.engine.workers.software import PRODUCT
from montecarlo.errors import RunStopped, StudyError, reason
from montecarlo.quantities.files import patiently
from studies.cli.disk import without, write_whole
from studies.cli.identity import Identity, identity_in, told_other
from studies.cli.listing import (
    CHUNKS,
    LOCK,
    PLACING,
    PROBE,
    RUN,
    STAGING,
    UNFINISHED,
)
from studies.cli.lock import Lock
from studies.cli.placing import put_in_place
from studies.cli.writable import old_files

if TYPE_CHECKING:
    from montecarlo.engine.workers.finished import Finished

OPEN_FILES_STAY = os.name == "nt"  # a system that takes no open file away
ATTEMPTS = 5  # at a lock that other runs take away as they end

TOO_LITTLE_MEMORY = (
    "too little memory; end other programs, or take fewer candidates or another machine"
)


class HalfDrawn(RunStopped):
    """What stopped a run did so after its tables were written; they stay in the staging folder."""


@dataclass(frozen=True)
class Sitting:
    """What one command has of an unfinished run.

    Attributes
    ----------
    finished : Finished
        Its finished chunks.
    staging : Path
        A folder for results.
    """

    finished: Finished
    staging: Path


@dataclass(frozen=True)
class Destination:
    """A folder that results may be put in.

    Attributes
    ----------
    folder : Path
    exists : bool
    old : tuple of str
        Files of an older run that they replace.
    replace : bool
        Whether they may.
    """

    folder: Path
    exists: bool
    old: tuple[str, ...] = ()
    replace: bool = False

    @property
    def unfinished(self) -> Path:
        """The folder of what is not done yet."""
        return self.folder / UNFINISHED

    @contextmanager
    def opened(self, identity: Identity) -> Iterator[Sitting]:
        """The folder, held against other runs. At the end of the block what was staged stands in
        it; if the block is left otherwise, finished chunks stay for the same command, unless the
        fault lies in the study.

        Parameters
        ----------
        identity : mapping
            Of the run; another one's chunks are refused, or thrown away where results may be
            replaced.

        Yields
        ------
        Sitting

        Raises
        ------
        StudyError
        """
        try:
            lock = self._locked()
        except BaseException:
            self._tidy_folders()
            raise
        try:
            old = prepare(self.folder, replace=self.replace, probe=False).old
            sitting = self._sitting(identity)
            try:
                yield sitting
                put_in_place(self.folder, sitting.staging, old)
            except BaseException as error:
                self._left(error, sitting)
            self._clear()
        finally:
            self._tidy()
            lock.release()
            self._tidy(held=False)

    def not_written(self, error: OSError) -> RunStopped:
        """What to tell of a file that cannot be written.

        Parameters
        ----------
        error : OSError

        Returns
        -------
        RunStopped
        """
        return RunStopped(
            f"{self.folder}: cannot be written ({reason(error)}); free some space or name another "
            "folder with --out"
        )

    def _locked(self) -> Lock:
        """The lock on the folder, which is made."""
        for left in reversed(range(ATTEMPTS)):
            try:
                self.unfinished.mkdir(parents=True, exist_ok=True)
                return patiently(partial(Lock, self.unfinished / LOCK))
            except BlockingIOError:
                break
            except OSError as error:
                if not (left and isinstance(error, FileNotFoundError)):  # a run that ends took it
                    raise self.not_written(error) from None
        raise StudyError(
            f"{self.folder}: another run is at work here; wait until it has ended, or name another "
            "folder with --out"
        )

    def _sitting(self, identity: Identity) -> Sitting:
        from montecarlo.engine.workers.finished import Finished

        chunks, staging, record = (self.unfinished / name for name in (CHUNKS, STAGING, RUN))
        try:
            if (before := identity_in(record)) != identity:
                # a record, and nothing with it
                lost = not before and not any(chunks.glob("*.npz"))
                if before is not None and not self.replace and not lost:
                    differs = told_other(before, identity)
                    raise StudyError(
                        f"{self.folder}: holds an unfinished run {differs} add "
                        "--replace to throw it away, or name another folder with --out"
                    )
                without(chunks)  # all of it, or what is left would be taken for this run's
                write_whole(record, {"product": PRODUCT, "identity": dict(identity)})
            for leftover in self.folder.glob(f"{PROBE}*"):
                leftover.rmdir()
            without(staging)
            for made in (chunks, staging):
                made.mkdir(exist_ok=True)
            return Sitting(Finished(chunks), staging)
        except OSError as error:
            raise self.not_written(error) from None

    def _left(self, error: BaseException, sitting: Sitting) -> NoReturn:
        """Tidy up, and tell of what stays."""
        if isinstance(error, MemoryError):  # also of the libraries that draw
            error = RunStopped(f"{self.folder}: {TOO_LITTLE_MEMORY}")
        staged = (self.unfinished / PLACING).exists() or isinstance(error, HalfDrawn)
        if not staged:
            shutil.rmtree(sitting.staging, ignore_errors=True)
        of_study = isinstance(error, StudyError) and not isinstance(error, RunStopped)
        done = 0 if of_study else len(sitting.finished)
        if not done and not staged:
            self._clear()
            raise error
        told = (
            f"finished chunks kept in {self.unfinished}: {done}; the same command goes on from"
            " there"
        )
        if isinstance(error, RunStopped):
            raise RunStopped(*error.faults, f"{self.folder}: {told}") from None
        if isinstance(error, KeyboardInterrupt):
            raise KeyboardInterrupt(told) from None
        raise error

    def _clear(self) -> None:
        """Take away what is unfinished, as far as it can be; the lock's file stays to the last."""
        with suppress(OSError):
            for path in self.unfinished.iterdir():
                if path.name != LOCK:
                    with suppress(OSError):
                        without(path)

    def _tidy(self, *, held: bool = True) -> None:
        """A folder that this run has made and that holds nothing is nobody's. The lock's file is
        taken away while it is `held`, for afterwards it may be another run's; where an open file
        cannot be taken away, afterwards."""
        with suppress(OSError):
            if (held or OPEN_FILES_STAY) and not any(
                path.name != LOCK for path in self.unfinished.iterdir()
            ):
                (self.unfinished / LOCK).unlink()
        self._tidy_folders()

    def _tidy_folders(self) -> None:
        with suppress(OSError):
            self.unfinished.rmdir()
        with suppress(OSError):
            if not self.exists:
                self.folder.rmdir()


def prepare(folder: Path, *, replace: bool, probe: bool = True) -> Destination:
    """Check that a folder may take results. Changes nothing.

    Parameters
    ----------
    folder : Path
    replace : bool
        Whether results of an older run may be replaced.
    probe : bool
        Whether to try that it can be written to.

    Returns
    -------
    Destination

    Raises
    ------
    StudyError
    """
    old = old_files(folder, replace=replace, probe=probe)
    return Destination(folder, old is not None, old or (), replace)
