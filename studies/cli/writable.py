"""Whether a folder may take results, looked at before anything is sampled."""

from __future__ import annotations

import os
import tempfile
from functools import partial
from pathlib import Path

from montecarlo.errors import StudyError, reason
from montecarlo.quantities.files import patiently
from studies.cli.devices import check_no_device
from studies.cli.listing import (
    PROBE,
    UNFINISHED,
    files_of_a_run,
    files_of_placing,
    is_unfinished,
    names_in,
    with_folders,
)
from studies.report.record import PROVENANCE

LONGEST_NAME = 120  # of what stands in a folder of results, with the folders in it
MAY_HOLD_OPEN = os.name == "nt"  # a system that keeps a file's name while a program has it open


def old_files(folder: Path, *, replace: bool, probe: bool = True) -> tuple[str, ...] | None:
    """The files of an older run that new results would replace. Changes nothing.

    Parameters
    ----------
    folder : Path
        Where results shall stand.
    replace : bool
        Whether results of an older run may be replaced.
    probe : bool
        Whether to try that the folder can be written to, and that no program holds an old file.

    Returns
    -------
    tuple of str or None
        Names from the folder; None where it does not exist.

    Raises
    ------
    StudyError
        Where the folder may not take results.
    """
    check_no_device(folder, "name another folder with --out")
    found = _existing(folder, replace) if os.path.lexists(folder) else None
    home = folder.parent if found is None else folder
    if not home.is_dir():
        raise StudyError(
            f"{folder}: the folder {home} that it would stand in does not exist; make it first"
        )
    if probe:
        _try(folder, home, found or ())
    return found


def _try(folder: Path, home: Path, old: tuple[str, ...]) -> None:
    """Make and take away a name as long as those of results, since systems limit whole paths."""
    try:
        room = LONGEST_NAME - len(PROBE) - 8  # letters that are added to it
        Path(tempfile.mkdtemp(prefix=PROBE, suffix="-" * room, dir=home)).rmdir()
    except OSError as error:
        raise StudyError(
            f"{folder}: cannot be written to, with names of {LONGEST_NAME} characters in it "
            f"({reason(error)}); name another folder with --out"
        ) from None
    if not MAY_HOLD_OPEN:
        return
    for name in old:
        path = folder / name
        try:
            patiently(partial(os.rename, path, path))
        except OSError as error:
            raise StudyError(
                f"{path}: cannot be replaced ({reason(error)}); close the program that has it open"
            ) from None


def _existing(folder: Path, replace: bool) -> tuple[str, ...]:
    try:
        if not folder.is_dir():
            what = (
                "is a link to nothing"
                if folder.is_symlink() and not folder.exists()
                else "is a file"
            )
            raise StudyError(f"{folder}: {what}; name a folder with --out")
        names = names_in(folder)
        if is_unfinished(folder / UNFINISHED):
            names = [name for name in names if Path(name).parts[0] != UNFINISHED]
    except OSError as error:
        raise StudyError(
            f"{folder}: cannot be read ({reason(error)}); name another folder with --out"
        ) from None
    halfway = files_of_placing(folder / UNFINISHED)
    if not names or (PROVENANCE not in names and set(names) <= with_folders(folder, halfway)):
        return tuple(names)
    ours = with_folders(folder, [*files_of_a_run(folder), *halfway])
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
    return tuple(name for name in names if name in ours)
