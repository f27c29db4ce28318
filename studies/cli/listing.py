"""Which files in a folder are a run's: by the records that runs leave there."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path

from montecarlo.engine.workers.software import PRODUCT
from studies.report.record import PROVENANCE, read_record

# made by file managers, nobody's work
DESKTOP_FILES = {".DS_Store", "Thumbs.db", "desktop.ini"}

UNFINISHED = "unfinished"  # the folder of what is not done yet
RESERVED = {PROVENANCE, UNFINISHED, *DESKTOP_FILES}  # no study may be filed under these
LOCK, RUN, PLACING, CHUNKS, STAGING = "lock", "run.json", "placing.json", "chunks", "results"
SO_FAR = "so_far.csv"
PROBE = f".{PRODUCT}-"  # before names of what is gone at once


def is_unfinished(folder: Path) -> bool:
    """Whether it is a folder of an unfinished run, and holds nothing else.

    Parameters
    ----------
    folder : Path

    Returns
    -------
    bool
    """
    known = {
        LOCK,
        RUN,
        PLACING,
        CHUNKS,
        STAGING,
        SO_FAR,
        *(Path(name).stem + ".part" for name in (RUN, PLACING, SO_FAR)),
    }
    return (
        folder.is_dir()
        and not folder.is_symlink()
        and {path.name for path in folder.iterdir()} <= known
    )


def with_folders(folder: Path, files: Sequence[str]) -> set[str]:
    """And the folders within that they stand in, if they are no links.

    Parameters
    ----------
    folder : Path
    files : sequence of str
        Names from the folder.

    Returns
    -------
    set of str
    """
    inner = {Path(name).parts[0] for name in files if "/" in name}
    return {*files, *(name for name in inner if not (folder / name).is_symlink())}


def files_of_placing(unfinished: Path) -> list[str]:
    """What a run that was ended while it put its results in place may have put there. Where its
    record is lost, those of the results that it was about to place.

    Parameters
    ----------
    unfinished : Path
        Folder of the unfinished run.

    Returns
    -------
    list of str
        Names from the folder of results.
    """
    if not os.path.lexists(unfinished / PLACING):
        return []
    return _named(unfinished / PLACING) or files_of_a_run(unfinished / STAGING)


def files_of_a_run(folder: Path) -> list[str]:
    """What the provenance in a folder says was written; empty if there is none of ours.

    Parameters
    ----------
    folder : Path

    Returns
    -------
    list of str
        Names from the folder.
    """
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
    deeper folder, and a link, by its own.

    Parameters
    ----------
    folder : Path

    Returns
    -------
    list of str
    """
    names: list[str] = []
    for path in folder.iterdir():
        inner = list(path.iterdir()) if path.is_dir() and not path.is_symlink() else []
        if path.name.startswith(PROBE) and path.is_dir() and not inner:
            continue  # left by a run that was killed at once
        names += [f"{path.name}/{each.name}" for each in inner] or [path.name]
    return sorted(name for name in names if Path(name).name not in DESKTOP_FILES)
