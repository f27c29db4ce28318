"""The folder of a run: refused or found writable before anything is sampled; in it the unfinished
run, from which the same command goes on; at the end the results, put in place with the record of
provenance last."""

from __future__ import annotations

import json
import os
import shutil
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn

from montecarlo.engine.workers.software import PRODUCT
from montecarlo.errors import RunStopped, StudyError
from studies.report.record import PROVENANCE, read_record

if TYPE_CHECKING:
    from filelock import BaseFileLock

    from montecarlo.engine.workers.finished import Finished

__all__ = [
    "PROBE",
    "RESERVED",
    "UNFINISHED",
    "Destination",
    "HalfDrawn",
    "Sitting",
    "names_in",
    "prepare",
]

# made by file managers, nobody's work
DESKTOP_FILES = {".DS_Store", "Thumbs.db", "desktop.ini"}

UNFINISHED = "unfinished"  # the folder of what is not done yet
RESERVED = {PROVENANCE, UNFINISHED, *DESKTOP_FILES}  # no study may be filed under these
LOCK, RUN, PLACING, CHUNKS, STAGING = "lock", "run.json", "placing.json", "chunks", "results"
PROBE = f".{PRODUCT}-"  # before names of what is gone at once
ATTEMPTS = 5  # at a lock that other runs take away as they end

TOO_LITTLE_MEMORY = (
    "too little memory; end other programs, or take fewer candidates or another machine"
)

Identity = Mapping[str, str]  # what must not change within one run: name and value


class HalfDrawn(RunStopped):
    """What stopped a run did so after its tables were written; they stay in the staging folder."""


@dataclass(frozen=True)
class Sitting:
    """What one command has of an unfinished run: the chunks that are finished, and a folder for the
    results."""

    finished: Finished
    staging: Path


@dataclass(frozen=True)
class Destination:
    """A folder that results may be put in, and the files of an older run that they replace."""

    folder: Path
    exists: bool
    old: tuple[str, ...] = ()
    replace: bool = False

    @property
    def unfinished(self) -> Path:
        return self.folder / UNFINISHED

    @contextmanager
    def opened(self, identity: Identity) -> Iterator[Sitting]:
        """The folder, held against other runs. At the end of the block what was staged stands in
        it; if the block is left otherwise, finished chunks stay for the same command, unless the
        fault lies in the study.

        identity: of the run; another one's chunks are refused, or thrown away where results may be
        replaced."""
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
                self._put_in_place(sitting.staging, old)
            except BaseException as error:
                self._left(error, sitting)
            self._clear()
        finally:
            self._tidy()
            lock.release()
            self._tidy(held=False)

    def not_written(self, error: OSError) -> RunStopped:
        return RunStopped(
            f"{self.folder}: cannot be written ({_reason(error)}); free some space or name another "
            "folder with --out"
        )

    def _locked(self) -> BaseFileLock:
        """The lock on the folder, which is made. A run that ends takes the lock's file away: who
        has opened it just before holds a file that nobody else can find, so the file held must be
        the one that stands there."""
        from filelock import FileLock, Timeout

        path = self.unfinished / LOCK
        for left in reversed(range(ATTEMPTS)):
            lock = FileLock(path, blocking=False)
            try:
                self.unfinished.mkdir(parents=True, exist_ok=True)
                lock.acquire()
                handle = lock._context.lock_file_fd  # the library tells it nowhere else
                if handle is not None and os.path.samestat(os.fstat(handle), os.stat(path)):
                    return lock
            except Timeout:
                pass
            except OSError as error:
                if not (
                    left and isinstance(error, FileNotFoundError)
                ):  # the folder may have been taken away too
                    raise self.not_written(error) from None
            lock.release()
        raise StudyError(
            f"{self.folder}: another run is at work here; wait until it has ended, or name another "
            "folder with --out"
        )

    def _sitting(self, identity: Identity) -> Sitting:
        from montecarlo.engine.workers.finished import Finished

        chunks, staging, record = (self.unfinished / name for name in (CHUNKS, STAGING, RUN))
        try:
            if (before := _identity_in(record)) != identity:
                # a record, and nothing with it
                lost = not before and not any(chunks.glob("*.npz"))
                if before is not None and not self.replace and not lost:
                    raise StudyError(
                        f"{self.folder}: holds an unfinished run {_other(before, identity)} add "
                        "--replace to throw it away, or name another folder with --out"
                    )
                _without(chunks)  # all of it, or what is left would be taken for this run's
                _write_whole(record, {"product": PRODUCT, "identity": dict(identity)})
            for leftover in self.folder.glob(f"{PROBE}*"):
                leftover.rmdir()
            _without(staging)
            for made in (chunks, staging):
                made.mkdir(exist_ok=True)
            return Sitting(Finished(chunks), staging)
        except OSError as error:
            raise self.not_written(error) from None

    def _put_in_place(self, staging: Path, old: tuple[str, ...]) -> None:
        mine = {Path(name).parts[0] for name in old}
        for path in staging.iterdir():
            if path.name not in mine and os.path.lexists(self.folder / path.name):
                raise RunStopped(
                    f"{self.folder}: {path.name} has appeared there meanwhile; move it away"
                )
        try:
            for path in (*staging.rglob("*"), staging):
                _on_disk(path)
            _write_whole(self.unfinished / PLACING, {"files": sorted({*names_in(staging), *old})})
            inner = {
                path
                for name in old
                if (path := self.folder / Path(name).parts[0]).is_dir() and not path.is_symlink()
            }
            for name in sorted(old, key=lambda name: name != PROVENANCE):
                if (path := self.folder / name) not in inner:
                    path.unlink(missing_ok=True)
            for path in inner:
                for name in DESKTOP_FILES:
                    (path / name).unlink(missing_ok=True)
                path.rmdir()
            for path in sorted(staging.iterdir(), key=lambda path: path.name == PROVENANCE):
                path.rename(self.folder / path.name)
            _on_disk(self.folder)  # before the chunks are taken away
        except OSError as error:
            raise RunStopped(
                f"{self.folder}: cannot be put in place ({_reason(error)}); the rest of the results"
                f" is in {staging}"
            ) from None

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
                        _without(path)

    def _tidy(self, *, held: bool = True) -> None:
        """A folder that this run has made and that holds nothing is nobody's. The lock's file is
        taken away while it is `held`, for afterwards it may be another run's; where an open file
        cannot be taken away, afterwards."""
        with suppress(OSError):
            if (held or os.name == "nt") and not any(
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


def _identity_in(record: Path) -> dict[str, str] | None:
    """Of the unfinished run; {} where the record cannot be read; None where there is none."""
    if not os.path.lexists(record):
        return None
    identity = read_record(record).get("identity")
    return (
        {str(key): str(value) for key, value in identity.items()}
        if isinstance(identity, dict)
        else {}
    )


def _other(before: Identity, identity: Identity) -> str:
    """In what the unfinished run differs, and what may be done with it first."""
    if not before:
        return f"of which {UNFINISHED}/{RUN} cannot be read;"
    differ = [name for name in identity if before.get(name) != identity[name]]
    if "study" in differ:
        return (
            "of another study (its file, --samples or --seed is not the same); go on with that one,"
        )
    return (
        "with "
        + ", ".join(
            f"{name} {before.get(name, 'unknown')} where it is {identity[name]} now"
            for name in differ
        )
        + "; go on with that one,"
    )


def _without(path: Path) -> None:
    """Take a file away, or a folder with what it holds; of a link, the link."""
    if path.is_dir() and not path.is_symlink():
        shutil.rmtree(path)
    else:
        path.unlink(missing_ok=True)


def _write_whole(path: Path, content: Mapping[str, object]) -> None:
    half = path.with_suffix(".part")
    half.unlink(missing_ok=True)  # of a killed run, or a link to elsewhere, or a pipe
    with half.open("x", encoding="utf-8") as file:
        file.write(json.dumps(content, indent=2, ensure_ascii=False) + "\n")
    _on_disk(half)  # or a power cut may leave an empty file
    os.replace(half, path)
    _on_disk(path.parent)


def _on_disk(path: Path) -> None:
    """Wait until the bytes of a file, or the names in a folder, are on the disk."""
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


# --- before the run -----------------------------------------------------------


def prepare(folder: Path, *, replace: bool, probe: bool = True) -> Destination:
    """Check that `folder` may take results and, with `probe`, that it can be written to. Raises
    StudyError; changes nothing."""
    found = (
        _existing(folder, replace)
        if os.path.lexists(folder)
        else Destination(folder, False, replace=replace)
    )
    home = folder if found.exists else folder.parent
    if not home.is_dir():
        raise StudyError(
            f"{folder}: the folder {home} that it would stand in does not exist; make it first"
        )
    try:
        if probe:
            Path(tempfile.mkdtemp(prefix=PROBE, dir=home)).rmdir()
    except OSError as error:
        raise StudyError(
            f"{folder}: cannot be written to ({_reason(error)}); name another folder with --out"
        ) from None
    return found


def _existing(folder: Path, replace: bool) -> Destination:
    try:
        if not folder.is_dir():
            what = (
                "is a link to nothing"
                if folder.is_symlink() and not folder.exists()
                else "is a file"
            )
            raise StudyError(f"{folder}: {what}; name a folder with --out")
        names = names_in(folder)
        if _is_unfinished(folder / UNFINISHED):
            names = [name for name in names if Path(name).parts[0] != UNFINISHED]
    except OSError as error:
        raise StudyError(
            f"{folder}: cannot be read ({_reason(error)}); name another folder with --out"
        ) from None
    halfway = _files_of_placing(folder / UNFINISHED)
    if not names or (PROVENANCE not in names and set(names) <= _with_folders(folder, halfway)):
        return Destination(folder, True, tuple(names), replace)
    ours = _with_folders(folder, [*_files_of_a_run(folder), *halfway])
    if not replace:
        cure = (
            "add --replace or name another folder with --out"
            if ours
            else "name another folder with --out"
        )
        raise StudyError(f"{folder}: exists and is not empty; {cure}")
    if not ours:
        raise StudyError(
            f"{folder}: holds no {PROVENANCE} of a run, so --replace leaves it alone; name another"
            " folder with --out"
        )
    if foreign := [name for name in names if name not in ours]:
        more = f" and {len(foreign) - 1} more" if len(foreign) > 1 else ""
        raise StudyError(
            f"{folder}: holds {foreign[0]}{more}, not written by a run, so --replace leaves it"
            " alone; move that or name another folder with --out"
        )
    return Destination(folder, True, tuple(name for name in names if name in ours), replace)


def _is_unfinished(folder: Path) -> bool:
    """Whether it is a folder of an unfinished run, and holds nothing else."""
    known = {
        LOCK,
        RUN,
        PLACING,
        CHUNKS,
        STAGING,
        Path(RUN).stem + ".part",
        Path(PLACING).stem + ".part",
    }
    return (
        folder.is_dir()
        and not folder.is_symlink()
        and {path.name for path in folder.iterdir()} <= known
    )


def _with_folders(folder: Path, files: Sequence[str]) -> set[str]:
    """And the folders within that they stand in, if they are no links."""
    inner = {Path(name).parts[0] for name in files if "/" in name}
    return {*files, *(name for name in inner if not (folder / name).is_symlink())}


def _files_of_placing(unfinished: Path) -> list[str]:
    """What a run that was ended while it put its results in place may have put there. Where its
    record is lost, those of the results that it was about to place."""
    if not os.path.lexists(unfinished / PLACING):
        return []
    return _named(unfinished / PLACING) or _files_of_a_run(unfinished / STAGING)


def _files_of_a_run(folder: Path) -> list[str]:
    """What the provenance in `folder` says was written; empty if there is none of ours."""
    return _named(folder / PROVENANCE, PRODUCT)


def _named(record: Path, product: str | None = None) -> list[str]:
    """The files that a record names, of those that may stand in a results folder; none if it is no
    such record."""
    found = read_record(record)
    if found.get("product") != product or not isinstance(found.get("files"), list):
        return []
    return [name for name in found["files"] if isinstance(name, str) and _within(name)]


def _within(name: str) -> bool:
    """Whether a name stands in the folder itself, or in one folder of it that is no link."""
    parts = Path(name).parts
    return (
        0 < len(parts) <= 2
        and not Path(name).is_absolute()
        and ".." not in parts
        and Path(name).as_posix() == name
    )


def names_in(folder: Path) -> list[str]:
    """The files in a folder and in the folders within it, by their names from there; an empty or
    deeper folder, and a link, by its own."""
    names: list[str] = []
    for path in folder.iterdir():
        inner = list(path.iterdir()) if path.is_dir() and not path.is_symlink() else []
        if path.name.startswith(PROBE) and path.is_dir() and not inner:
            continue  # left by a run that was killed at once
        names += [f"{path.name}/{each.name}" for each in inner] or [path.name]
    return sorted(name for name in names if Path(name).name not in DESKTOP_FILES)


def _reason(error: OSError) -> str:
    return error.strerror or type(error).__name__
