"""The folder of a run: refused or found writable before anything is sampled, written elsewhere, and put in place
whole at the end; what goes wrong on the way leaves nothing behind."""

from __future__ import annotations

import json
import os
import shutil
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from montecarlo.errors import StudyError
from studies.text import CAUTION

if TYPE_CHECKING:
    import pandas as pd

    from studies.protocol import Findings

__all__ = ["Destination", "prepare", "write_findings", "write_table"]

PROVENANCE = "provenance.json"
PRODUCT = "statorodds"
WORKBOOK = "results.xlsx"                                  # all tables once more
DESKTOP_FILES = {".DS_Store", "Thumbs.db", "desktop.ini"}  # made by file managers, nobody's work


# --- before the run ---------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Destination:
    """A folder that results may be put in, and the files of an older run that they replace."""

    folder: Path
    exists: bool
    old: tuple[str, ...] = ()

    @contextmanager
    def staged(self) -> Iterator[Path]:
        """A hidden folder to write in; at the end of the block its files stand in `folder`, or nothing does."""
        try:
            staging = Path(tempfile.mkdtemp(prefix=f".{PRODUCT}-",
                                            dir=self.folder if self.exists else self.folder.parent))
        except OSError as error:
            raise self.not_written(error) from None
        try:
            yield staging
            self._put_in_place(staging)
        finally:
            shutil.rmtree(staging, ignore_errors=True)

    def not_written(self, error: OSError) -> StudyError:
        return StudyError(f"{self.folder}: cannot be written ({_reason(error)}); free some space or name another "
                          "folder with --out")

    def _put_in_place(self, staging: Path) -> None:
        staging.chmod(0o777 & ~_umask())
        try:
            if not self.exists:
                staging.rename(self.folder)
                return
            for name in self.old:
                (self.folder / name).unlink(missing_ok=True)
            for inner in {Path(name).parts[0] for name in self.old if "/" in name}:
                for name in DESKTOP_FILES:
                    (self.folder / inner / name).unlink(missing_ok=True)
                (self.folder / inner).rmdir()
            for path in sorted(staging.iterdir(), key=lambda path: path.name == PROVENANCE):
                path.rename(self.folder / path.name)
        except OSError as error:
            kept = staging.with_name(staging.name.removeprefix("."))
            staging.rename(kept)                           # an hour's sampling is not thrown away for a name
            raise StudyError(f"{self.folder}: cannot be put in place ({_reason(error)}); the results are in "
                             f"{kept}") from None


def prepare(folder: Path, *, replace: bool) -> Destination:
    """Check that `folder` may take results and can be written to. Raises StudyError; changes nothing."""
    found = _existing(folder, replace) if os.path.lexists(folder) else Destination(folder, False)
    home = folder if found.exists else folder.parent
    if not home.is_dir():
        raise StudyError(f"{folder}: the folder {home} that it would stand in does not exist; make it first")
    try:
        Path(tempfile.mkdtemp(prefix=f".{PRODUCT}-", dir=home)).rmdir()
    except OSError as error:
        raise StudyError(f"{folder}: cannot be written to ({_reason(error)}); name another folder with --out") from None
    return found


def _existing(folder: Path, replace: bool) -> Destination:
    try:
        if not folder.is_dir():
            what = "is a link to nothing" if folder.is_symlink() and not folder.exists() else "is a file"
            raise StudyError(f"{folder}: {what}; name a folder with --out")
        names = _names_in(folder)
    except OSError as error:
        raise StudyError(f"{folder}: cannot be read ({_reason(error)}); name another folder with --out") from None
    if not names:
        return Destination(folder, True)
    if not replace:
        cure = "add --replace or name another folder with --out" if _files_of_a_run(folder) else \
            "name another folder with --out"
        raise StudyError(f"{folder}: exists and is not empty; {cure}")
    ours = _files_of_a_run(folder)
    if not ours:
        raise StudyError(f"{folder}: holds no {PROVENANCE} of a run, so --replace leaves it alone; name another folder "
                         "with --out")
    if foreign := [name for name in names if name not in ours]:
        more = f" and {len(foreign) - 1} more" if len(foreign) > 1 else ""
        raise StudyError(f"{folder}: holds {foreign[0]}{more}, not written by a run, so --replace leaves it alone; "
                         "move that or name another folder with --out")
    return Destination(folder, True, tuple(name for name in ours if name in names))


def _files_of_a_run(folder: Path) -> list[str]:
    """What the provenance in `folder` says was written; empty if there is none of ours."""
    try:
        record = json.loads((folder / PROVENANCE).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return []
    if not isinstance(record, dict) or record.get("product") != PRODUCT or not isinstance(record.get("files"), list):
        return []
    return [name for name in record["files"] if isinstance(name, str) and _within(name)]


def _within(name: str) -> bool:
    """Whether a name stands in the folder itself, or in one folder of it that is no link."""
    parts = Path(name).parts
    return 0 < len(parts) <= 2 and not Path(name).is_absolute() and ".." not in parts and Path(name).as_posix() == name


def _names_in(folder: Path) -> list[str]:
    """The files in a folder and in the folders within it, by their names from there; an empty or deeper folder, and a
    link, by its own."""
    names: list[str] = []
    for path in folder.iterdir():
        inner = list(path.iterdir()) if path.is_dir() and not path.is_symlink() else []
        names += [f"{path.name}/{each.name}" for each in inner] or [path.name]
    return sorted(name for name in names if Path(name).name not in DESKTOP_FILES)


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


def _reason(error: OSError) -> str:
    return error.strerror or type(error).__name__


# --- after the run ----------------------------------------------------------------------------------------


def write_findings(findings: Findings, destination: Destination, staging: Path, study_name: str, study_bytes: bytes,
                   command: str, more: Callable[[Path], None] = lambda folder: None) -> list[str]:
    """Tables, arrays, figures, the study file as it was read, and the provenance into the `staged` folder, beside what
    the run itself has written there; the names of the files. `more` writes there what is made from tables and figures.
    """
    try:
        _write_all(findings, staging)
        more(staging)
        if study_name == PROVENANCE or (staging / study_name).exists():
            study_name = f"study-{study_name}"
        (staging / study_name).write_bytes(study_bytes)
        files = sorted([*_names_in(staging), PROVENANCE])
        record = {"product": PRODUCT, **findings.provenance, "command": command, "study_file": study_name,
                  "files": files}
        (staging / PROVENANCE).write_text(json.dumps(record, indent=2, ensure_ascii=False) + "\n", encoding="utf-8")
    except OSError as error:
        raise destination.not_written(error) from None
    return files


def _write_all(findings: Findings, folder: Path) -> None:
    import numpy as np

    from montecarlo.report.look import write_figure
    from montecarlo.report.workbook import write_workbook

    for name, frame in findings.frames.items():
        write_table(frame, folder / f"{name}.csv")
    if findings.frames:
        write_workbook(folder / WORKBOOK, findings.frames, findings.provenance, CAUTION)
    for name, arrays in findings.arrays.items():
        if bad := [key for key, array in arrays.items() if array.dtype.hasobject]:
            raise TypeError(f"{name}.npz: {bad[0]} holds Python objects, which only a pickle could keep")
        np.savez_compressed(folder / f"{name}.npz", **dict(arrays))  # type: ignore[arg-type]
    for name, content in findings.files.items():
        (folder / name).parent.mkdir(exist_ok=True)
        (folder / name).write_bytes(content)
    for name, (figure, title) in findings.figures.items():
        write_figure(figure, folder, name, title)


def write_table(frame: pd.DataFrame, path: Path) -> None:
    """CSV: numbers so that reading gives the same doubles again, nothing for NaN, true and false in lower case."""
    words = {True: "true", False: "false"}
    flags = {name: frame[name].map(words) for name in frame.columns if frame[name].dtype == bool}
    frame.assign(**flags).to_csv(path, index=False, lineterminator="\n", encoding="utf-8")
