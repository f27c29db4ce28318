"""The CSV files that a study names, filed with its results."""

from __future__ import annotations

from pathlib import Path

import pytest

from montecarlo.errors import StudyError
from studies.report.inputs import inputs_of

STUDY = b"""
[ct]
knee_voltage_v = { dist = "empirical", file = "data/k.csv", column = "k" }
knee_current_a = { dist = "empirical", file = "data/k.csv", column = "i" }
[ct.line_end.excitation_points]
file = "k.csv"
voltage = "v"
current = "i"
[[policy.assumption_sets]]
name = "file"
changes = { "ct.knee_voltage_v" = { dist = "empirical", file = "other.csv", column = "k" } }
[[alternatives]]
changes = { "ct.knee_voltage_v.file" = "third.csv", "winding.table" = "coils.csv" }
"""


def furnish(folder: Path) -> Path:
    (folder / "data").mkdir()
    for name in ("data/k.csv", "k.csv", "other.csv", "third.csv", "coils.csv"):
        (folder / name).write_bytes(name.encode())
    return folder


def test_every_file_is_filed_once_by_a_name_of_its_own(tmp_path: Path) -> None:
    assert inputs_of(STUDY, furnish(tmp_path)) == {
        "inputs/1-k.csv": b"data/k.csv",
        "inputs/2-k.csv": b"k.csv",
        "inputs/3-other.csv": b"other.csv",
        "inputs/4-third.csv": b"third.csv",
        "inputs/5-coils.csv": b"coils.csv",
    }


def test_a_study_without_files_has_none(tmp_path: Path) -> None:
    assert inputs_of(b'title = "file"', tmp_path) == {}


def test_what_leaves_the_folder_is_not_read(tmp_path: Path) -> None:
    (tmp_path / "link.csv").symlink_to("/etc/hostname")
    for name in ("../k.csv", "/etc/hostname", "link.csv", "absent.csv"):
        with pytest.raises(StudyError, match=r"must lie in the study file's folder|cannot be read"):
            inputs_of(f'file = "{name}"'.encode(), tmp_path)
