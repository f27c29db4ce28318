"""The CSV files that a study names, filed with its results: these then hold all that went in, and
can be read again."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping
from pathlib import Path, PureWindowsPath
from tempfile import TemporaryDirectory
from typing import Any

from montecarlo.errors import StudyError
from montecarlo.quantities.columns import LARGEST_CSV, inside
from montecarlo.quantities.files import read_bounded
from montecarlo.study.description import Study
from montecarlo.study.read import LARGEST_FILE, digest, study_of

FOLDER = "inputs"
KEYS = ("file", "table")
NAME_KEPT = 60  # characters of a file's own name


def inputs_of(content: bytes, folder: Path) -> dict[str, bytes]:
    """By their names among the results, the files that the study in `content` names, which was read
    from `folder`. Raises StudyError."""
    return {filed: _bytes_of(inside(folder, name)) for name, filed in _filed(content).items()}


def study_again(results: Path, study_file: str, *, samples: int, seed: int, expected: str) -> Study:
    """The study of a run from its results, where it stands as it was then; `expected` is its
    digest. Raises StudyError."""
    changed = StudyError(
        f"{results}: {study_file} or a file in {FOLDER} is not as the run left it (or another"
        " version of the program ran it); run the study again"
    )
    try:
        content = read_bounded(results / study_file, LARGEST_FILE)
        with (
            TemporaryDirectory() as folder
        ):  # where the files have the names that the study gives them
            home = Path(folder)
            for name, filed in _filed(content).items():
                path = inside(home, name)
                path.parent.mkdir(parents=True, exist_ok=True)
                path.write_bytes(_bytes_of(results / filed))
            study = study_of(content, home / study_file, samples=samples, seed=seed)
    except (OSError, ValueError, RecursionError, StudyError):
        raise changed from None
    if digest(study) != expected:
        raise changed
    return study


def _filed(content: bytes) -> dict[str, str]:
    """Where each file that a study names is filed, in the order of the study file."""
    names = dict.fromkeys(_named(tomllib.loads(content.decode("utf-8-sig"))))
    return {
        name: f"{FOLDER}/{number}-{PureWindowsPath(name).name[-NAME_KEPT:]}"  # knows / and \\ alike
        for number, name in enumerate(names, 1)
    }


def _named(node: Any) -> Iterator[str]:
    """`file` of quantities and excitation points, `table` of the winding, also as the key of a
    change."""
    if isinstance(node, Mapping):
        for key, value in node.items():
            if isinstance(value, str) and key.rpartition(".")[2] in KEYS:
                yield value
            yield from _named(value)
    elif isinstance(node, list):
        for value in node:
            yield from _named(value)


def _bytes_of(path: Path) -> bytes:
    try:
        return read_bounded(path, LARGEST_CSV)
    except OSError as error:
        raise StudyError(
            f"{path}: cannot be read ({error.strerror or error}); leave it in its place"
        ) from None
