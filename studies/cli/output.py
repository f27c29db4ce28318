"""What a run writes: tables, arrays, figures, the study as it was read, and the provenance."""

from __future__ import annotations

import json
import os
import tempfile
from collections.abc import Callable, Mapping
from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass
from hashlib import file_digest
from pathlib import Path
from typing import TYPE_CHECKING

from montecarlo.engine.workers import Workers
from montecarlo.engine.workers.software import PRODUCT
from montecarlo.quantities.files import patiently
from studies.cli.devices import device_in
from studies.cli.folder import Destination, HalfDrawn
from studies.cli.listing import PROBE, RESERVED, names_in
from studies.report.record import PROVENANCE, sealed
from studies.report.safety import CAUTION

if TYPE_CHECKING:
    import pandas as pd

    from studies.protocol import Findings

WORKBOOK = "results.xlsx"  # all tables once more


@dataclass(frozen=True)
class StudyFile:
    """What a run started from.

    Attributes
    ----------
    name : str
        Of the study file.
    content : bytes
        As it was read.
    inputs : mapping
        Files that the study names, by their names among the results.
    command : str
        As it was typed.
    """

    name: str
    content: bytes
    inputs: Mapping[str, bytes]
    command: str


def write_findings(
    findings: Findings,
    destination: Destination,
    staging: Path,
    study: StudyFile,
    more: Callable[[Path], None] = lambda folder: None,
    workers: Workers | None = None,
) -> list[str]:
    """Tables, arrays, figures, the study file as it was read and the provenance, into the staging
    folder, beside what the run itself has written there.

    Parameters
    ----------
    findings : Findings
    destination : Destination
        Told of where something cannot be written.
    staging : Path
    study : StudyFile
    more : callable
        Writes into a folder what is made from tables and figures.
    workers : Workers, optional
        One of their processes writes the workbook meanwhile.

    Returns
    -------
    list of str
        Names of all files.

    Raises
    ------
    RunStopped
    """
    try:
        for table, frame in findings.frames.items():
            write_table(frame, staging / f"{table}.csv")
        with _workbook(findings, staging, workers or Workers(1)):
            _write_all(findings, staging)
            _write_files(study.inputs, staging)
            more(staging)
        taken, name = {each.casefold() for each in (*RESERVED, *names_in(staging))}, study.name
        if name.casefold() in taken or device_in(Path(name)):
            name = f"study-{name}"
        (staging / name).write_bytes(study.content)
        files = sorted([*names_in(staging), PROVENANCE])
        record = {
            "product": PRODUCT,
            **findings.provenance,
            "command": study.command,
            "study_file": name,
            "files": files,
            "sha256": {each: _sha256(staging / each) for each in files if each != PROVENANCE},
        }
        text = json.dumps(sealed(record), indent=2, ensure_ascii=False)
        (staging / PROVENANCE).write_text(text + "\n", encoding="utf-8")
    except OSError as error:
        raise destination.not_written(error) from None
    except MemoryError:
        raise HalfDrawn(
            f"{destination.folder}: too little memory to draw the figures; end other programs and"
            f" start the same command again. The tables so far are in {staging}"
        ) from None
    return files


def _workbook(findings: Findings, folder: Path, workers: Workers) -> AbstractContextManager[object]:
    """The workbook is written by the end of the block."""
    if not findings.frames or findings.rough:
        return nullcontext()
    from studies.report.workbook import Told, write_workbook

    told = Told(findings.provenance, CAUTION, findings.text)
    return workers.beside(write_workbook, folder / WORKBOOK, dict(findings.frames), told)


def _write_all(findings: Findings, folder: Path) -> None:
    import numpy as np

    for name, arrays in findings.arrays.items():
        if bad := [key for key, array in arrays.items() if array.dtype.hasobject]:
            raise TypeError(
                f"{name}.npz: {bad[0]} holds Python objects, which only a pickle could keep"
            )
        np.savez_compressed(folder / f"{name}.npz", **dict(arrays))  # type: ignore[arg-type]
    _write_files(findings.files, folder)
    for name in findings.figures:
        findings.figures.printed(name, png=not findings.rough).write(folder, name)


def _sha256(path: Path) -> str:
    """In parts: kept samples may be large."""
    with path.open("rb") as file:
        return file_digest(file, "sha256").hexdigest()


def _write_files(files: Mapping[str, bytes], folder: Path) -> None:
    for name, content in files.items():
        (folder / name).parent.mkdir(exist_ok=True)
        (folder / name).write_bytes(content)


def write_table(frame: pd.DataFrame, path: Path) -> None:
    """CSV: numbers to eight significant digits (`montecarlo.quantities.digits.DIGITS`), so that
    every processor writes the same bytes, settings as they are; nothing for NaN, true and false in
    lower case, no text that a spreadsheet would take for a formula.

    Parameters
    ----------
    frame : DataFrame
    path : Path

    Raises
    ------
    OSError
    """
    from montecarlo.frames.cells import plain_cells
    from montecarlo.frames.digits import as_written

    words = {True: "true", False: "false"}
    flags = {name: frame[name].map(words) for name in frame.columns if frame[name].dtype == bool}
    cells = plain_cells(as_written(frame).assign(**flags))
    with path.open(
        "w", encoding="utf-8", newline=""
    ) as file:  # pandas would take ~ for a home, .gz for a wish
        cells.to_csv(file, index=False, lineterminator="\n")


def write_new_table(frame: pd.DataFrame, path: Path) -> None:
    """A table under a name that is not in use, whole or not at all, but for a kill in its last
    step, which leaves an empty file.

    Parameters
    ----------
    frame : DataFrame
    path : Path

    Raises
    ------
    FileExistsError, OSError
    """
    with tempfile.TemporaryDirectory(prefix=PROBE, dir=path.parent) as beside:
        whole = Path(beside) / "table.csv"
        write_table(frame, whole)
        path.open("xb").close()  # refused if the name has been taken meanwhile
        patiently(lambda: os.replace(whole, path))
