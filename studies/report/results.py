"""The folder of a finished run, read with its checksums: what was changed since is refused."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from typing import Any

from montecarlo.engine.workers.software import PRODUCT
from montecarlo.errors import StudyError
from montecarlo.quantities.files import read_bounded
from montecarlo.study.renamed import FILES
from studies.report.record import PROVENANCE, ROUGH, is_as_sealed, read_record

AGAIN = "run the study again"


@dataclass(frozen=True)
class Results:
    """A folder of results and its record."""

    folder: Path
    record: Mapping[str, Any]

    def content(self, name: str, most: int) -> bytes:
        """A file of the run, at most so many bytes. Raises StudyError."""
        try:
            content = read_bounded(self.folder / name, most)
            wanted = self.record["sha256"][name]
        except (OSError, ValueError, KeyError, TypeError):
            raise no_results(self.folder, name) from None
        if sha256(content).hexdigest() != wanted:
            raise self.changed(name)
        return content

    def changed(self, name: str) -> StudyError:
        """What is said of a file that the run has not written so."""
        return StudyError(f"{self.folder}: {name} is not as the run left it; {AGAIN}")


def read_results(folder: Path, *needed: str) -> Results:
    """The record of a finished run.

    Parameters
    ----------
    folder : Path
        As the command run has written it.
    *needed : str
        Other files that must stand there.

    Raises
    ------
    StudyError
        Where there is no record of this program, it was changed, or the answer is rough.
    """
    record = read_record(folder / PROVENANCE)
    if record.get(ROUGH):
        raise StudyError(
            f"{folder}: holds a rough answer (run --quick); make the whole run and name its folder"
        )
    study_file, sums = record.get("study_file"), record.get("sha256")
    named = isinstance(study_file, str) and Path(study_file).name == study_file
    there = isinstance(sums, dict) and all(
        name in sums and (folder / name).is_file() for name in needed
    )
    if record.get("product") != PRODUCT or not named or not there:
        raise no_results(folder, *needed)
    if not is_as_sealed(record):
        raise StudyError(
            f"{folder}: {PROVENANCE} is not as the run left it (or an older version of the "
            f"program ran it); {AGAIN}"
        )
    return Results(folder, record)


def no_results(folder: Path, *needed: str) -> StudyError:
    """What is said of a folder without what a run writes."""
    for old, new in FILES.items():
        if new in needed and (folder / old).is_file():
            return StudyError(
                f"{folder}: an older version of the program ran it, {old} is now called {new};"
                f" {AGAIN}"
            )
    files = " and ".join((PROVENANCE, *needed))
    verb = "are" if needed else "is"
    return StudyError(
        f"{folder}: is no folder of a finished run (its {files} {verb} needed);"
        " name the folder that the command run has written"
    )
