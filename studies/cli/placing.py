"""Finished results put in place of older ones."""

from __future__ import annotations

import os
from functools import partial
from pathlib import Path

from montecarlo.errors import RunStopped, reason
from montecarlo.quantities.files import patiently
from studies.cli.disk import on_disk, write_whole
from studies.cli.listing import DESKTOP_FILES, PLACING, names_in
from studies.report.record import PROVENANCE


def put_in_place(folder: Path, staging: Path, old: tuple[str, ...]) -> None:
    """Rename staged results into their folder, the record of provenance last; a record in the
    unfinished run tells until then which files may stand there.

    Parameters
    ----------
    folder : Path
        Folder of results.
    staging : Path
        Folder of the new ones, on the same disk.
    old : tuple of str
        Names of files that go.

    Raises
    ------
    RunStopped
        Where that cannot be done; the same command does the rest.
    """
    mine = {Path(name).parts[0] for name in old}
    for path in staging.iterdir():
        if path.name not in mine and os.path.lexists(folder / path.name):
            raise RunStopped(f"{folder}: {path.name} has appeared there meanwhile; move it away")
    try:
        for path in (*staging.rglob("*"), staging):
            on_disk(path)
        write_whole(staging.parent / PLACING, {"files": sorted({*names_in(staging), *old})})
        inner = {
            path
            for name in old
            if (path := folder / Path(name).parts[0]).is_dir() and not path.is_symlink()
        }
        for name in sorted(old, key=lambda name: name != PROVENANCE):
            if (path := folder / name) not in inner:
                patiently(partial(path.unlink, missing_ok=True))
        for path in inner:
            for name in DESKTOP_FILES:
                (path / name).unlink(missing_ok=True)
            path.rmdir()
        for path in sorted(staging.iterdir(), key=lambda path: path.name == PROVENANCE):
            patiently(partial(path.rename, folder / path.name))
        on_disk(folder)  # before the chunks are taken away
    except OSError as error:
        held = isinstance(error, PermissionError)
        cure = f"close what has {error.filename} open; " if held else ""
        raise RunStopped(
            f"{folder}: cannot be put in place ({reason(error)}); {cure}the rest of the"
            f" results is in {staging}"
        ) from None
