"""What Windows does otherwise, as far as it can be imitated here: its console, its names, files
that are held open, signals and calls of the system that it has not, paths and line ends."""

from __future__ import annotations

import csv
import io
import math
import os
import signal
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from montecarlo import read_study
from montecarlo.engine.sizes import memory_bytes
from montecarlo.engine.workers import Workers
from montecarlo.engine.workers.finished import Finished
from montecarlo.errors import RunStopped, StudyError
from montecarlo.quantities import files
from montecarlo.quantities.columns import inside
from montecarlo.study.read import digest
from studies.cli import writable
from studies.cli.devices import device_in
from studies.cli.ending import tidy_when_ended
from studies.cli.folder import Destination, prepare
from studies.cli.main import main
from studies.report.inputs import inputs_of
from studies.report.letters import without_symbols
from studies.report.streams import make_whole, say
from tests.made.studies import faults_of, minimal_study_text
from tests.unit.studies.cli.test_cli import untimed
from tests.unit.studies.cli.test_output import LIGHT, PROVENANCE, write

ROOT = Path(__file__).parents[2]
HELD = PermissionError(13, "Permission denied", "candidates.csv")


@pytest.fixture(autouse=True)
def at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(files, "PATIENCE_S", (0.0, 0.0, 0.0))


# --- the console --------------------------------------------------------------


@pytest.mark.parametrize("encoding", ["cp1252", "cp437", "ascii"])
def test_a_console_without_some_letters_shows_them_escaped(
    monkeypatch: pytest.MonkeyPatch, encoding: str
) -> None:
    console = io.TextIOWrapper(io.BytesIO(), encoding=encoding)
    monkeypatch.setattr(sys, "stdout", console)
    make_whole()
    say("30 kΩ, Łódź ≤ 1")
    shown = console.buffer.getvalue().decode(encoding)  # type: ignore[attr-defined]
    assert "\\u2264 1" in shown or "≤ 1" in shown


@pytest.mark.slow
def test_a_check_in_cp1252_says_the_same(tmp_path: Path) -> None:
    title = 'title = "Łódź, 30 kΩ"'
    text = minimal_study_text().replace('title = "An invented machine on its own bus"', title)
    (tmp_path / "s.toml").write_text(text, encoding="utf-8")
    said = {}
    for encoding in ("utf-8", "cp1252"):
        done = subprocess.run(
            [sys.executable, "-m", "studies", "check", "s.toml"],
            cwd=tmp_path,
            env={**os.environ, "PYTHONPATH": str(ROOT), "PYTHONIOENCODING": encoding},
            capture_output=True,
            check=True,
        )
        said[encoding] = done.stdout.decode(encoding)
    assert "Łódź" in said["utf-8"]
    assert "\\u0141ód\\u017a" in said["cp1252"]
    assert "p_missed" in said["cp1252"]
    assert "30 kohm" in said["cp1252"]  # where a letter for a unit is missing, its name stands
    plain = {
        encoding: without_symbols("\n".join(untimed(text))).split()
        for encoding, text in said.items()
    }
    escaped = [
        word.encode("cp1252", "backslashreplace").decode("cp1252") for word in plain["utf-8"]
    ]
    assert plain["cp1252"] == escaped


# --- what the system has not --------------------------------------------------


def test_no_sysconf_no_sighup_no_affinity(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delattr(os, "sysconf")
    monkeypatch.delattr(signal, "SIGHUP")
    monkeypatch.delattr(os, "sched_getaffinity")
    assert memory_bytes() == math.inf
    with tidy_when_ended():
        assert signal.getsignal(signal.SIGTERM) is not signal.SIG_DFL
    assert Workers().count == os.cpu_count()


UNGUARDED = """
import multiprocessing
multiprocessing.set_start_method("spawn")
from montecarlo.engine.workers import Workers
from tests.made.chunks import Task, solved
print(len(list(Workers(2).mapped(solved, [Task(number) for number in range(4)]))))
"""


def test_workers_that_are_spawned_run_no_script_again(tmp_path: Path) -> None:
    """A script without `if __name__ == "__main__"` would start itself in every worker."""
    (tmp_path / "script.py").write_text(UNGUARDED)
    done = subprocess.run(
        [sys.executable, "script.py"],
        cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        check=False,
    )
    assert (done.stdout, done.stderr) == ("4\n", "")


# --- files that a program holds open ------------------------------------------


def refusing(times: int, change: Callable[..., Any]) -> Callable[..., Any]:
    left = iter(range(times))

    def refused(*arguments: Any, **named: Any) -> Any:
        if next(left, None) is not None:
            raise HELD
        return change(*arguments, **named)

    return refused


def test_what_is_held_for_an_instant_is_tried_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    write(tmp_path / "out", **LIGHT)
    monkeypatch.setattr(os, "replace", refusing(3, os.replace))
    monkeypatch.setattr(Path, "rename", refusing(3, Path.rename))
    monkeypatch.setattr(Path, "unlink", refusing(1, Path.unlink))
    (tmp_path / "chunks").mkdir()
    Finished(tmp_path / "chunks").put(1, 0, b"whole")
    wanted = write(tmp_path / "new", **LIGHT)
    assert PROVENANCE in wanted


def test_a_finished_chunk_that_stays_held_is_one_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(os, "replace", refusing(99, os.replace))
    with pytest.raises(RunStopped, match="close what looks into that folder, and start") as caught:
        Finished(tmp_path).put(1, 0, b"whole")
    assert len(caught.value.faults) == 1
    assert not list(tmp_path.iterdir())


def test_an_old_result_that_a_spreadsheet_holds_is_told_before_the_run(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    write(out := tmp_path / "out", **LIGHT)
    monkeypatch.setattr(writable, "MAY_HOLD_OPEN", True)
    assert prepare(out, replace=True).old
    monkeypatch.setattr(os, "rename", refusing(99, os.rename))
    with pytest.raises(StudyError, match=r"cannot be replaced \(Permission denied\); close the"):
        prepare(out, replace=True)


def test_one_that_is_opened_during_the_run_costs_a_second_command(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    write(out := tmp_path / "out", **LIGHT)
    with monkeypatch.context() as held:
        held.setattr(Path, "rename", refusing(99, Path.rename))
        with pytest.raises(RunStopped) as caught:
            write(out, replace=True, **LIGHT)
    assert "cannot be put in place (Permission denied); close what has candidates.csv open" in str(
        caught.value
    )
    assert PROVENANCE in write(out, replace=True, **LIGHT)


def test_a_lock_that_cannot_be_taken_away_while_it_is_open_goes_afterwards(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from studies.cli import folder

    unlink, held = Path.unlink, True

    def open_file(self: Path, missing_ok: bool = False) -> None:
        if self.name == "lock" and held:
            raise HELD
        unlink(self, missing_ok)

    def released(self: Any) -> None:
        nonlocal held
        held = False
        release(self)

    release = folder.Lock.release
    monkeypatch.setattr(Path, "unlink", open_file)
    monkeypatch.setattr(folder.Lock, "release", released)
    monkeypatch.setattr(folder, "OPEN_FILES_STAY", True)
    write(tmp_path / "out", **LIGHT)
    assert not (tmp_path / "out" / "unfinished").exists()


# --- names --------------------------------------------------------------------


@pytest.mark.parametrize("name", ["CON", "nul", "aux.csv", "Com1", "LPT9.toml", "prn .txt"])
def test_a_name_of_a_device_is_known_whatever_its_ending(name: str) -> None:
    assert device_in(Path("a") / name / "b") == name
    assert not device_in(Path(f"x{name}"))


@pytest.mark.parametrize(
    "arguments",
    [
        ["new", "nul.toml"],
        ["check", "s.toml", "--picture", "aux.svg"],
        ["run", "s.toml", "--out", "con"],
        ["measured", "run", "measured.csv", "--out", "com1.csv"],
    ],
)
def test_nothing_is_written_under_such_a_name(
    arguments: list[str],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "s.toml").write_text(minimal_study_text())
    assert main(arguments) == 2
    said = capsys.readouterr().err
    assert f"{arguments[-1]}: {arguments[-1]} is the name of a device on Windows; name" in said
    assert said.count("\n") == 1
    assert [path.name for path in tmp_path.iterdir()] == ["s.toml"]


@pytest.mark.parametrize("name", ["aux.toml", "Candidates.CSV", "PROVENANCE.json"])
def test_a_study_of_such_a_name_or_of_a_result_in_capitals_is_filed_beside_it(
    tmp_path: Path, name: str
) -> None:
    names = write(tmp_path / "out", name=name, **LIGHT)
    assert f"study-{name}" in names
    assert len({each.lower() for each in names}) == len(names)


def test_events_whose_names_differ_in_capitals_only_would_share_a_file() -> None:
    (said,) = faults_of({"external_events.far_fault.name": "Near_Fault"})
    assert "differs from one before in capital letters only, which file names may not" in said


def test_a_path_too_long_for_results_is_told_before_the_run(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The limit of 260 characters, of a system that has one for whole paths."""
    make = os.mkdir

    def limited(path: Any, *arguments: Any) -> None:
        if len(os.path.abspath(path)) > 248:
            raise FileNotFoundError(2, "The system cannot find the path specified")
        make(path, *arguments)

    monkeypatch.setattr(os, "mkdir", limited)
    deep = tmp_path / ("d" * (200 - len(str(tmp_path))))
    deep.mkdir()
    with pytest.raises(StudyError, match=r"with names of 120 characters in it \(The system cannot"):
        prepare(deep / "out", replace=False)
    assert prepare(tmp_path / "out", replace=False) == Destination(tmp_path / "out", False)


# --- paths and line ends in a study -------------------------------------------


@pytest.mark.parametrize(
    "name", [r"C:\data\ct.csv", "C:/data/ct.csv", r"C:ct.csv", r"\\server\a\ct.csv", r"..\ct.csv"]
)
def test_a_drive_or_a_way_out_in_a_file_of_a_study_is_refused(tmp_path: Path, name: str) -> None:
    with pytest.raises(StudyError, match="must lie in the study file's folder or below it"):
        inside(tmp_path, name)


def test_inputs_have_the_same_names_among_results_on_every_system(tmp_path: Path) -> None:
    name = r"data\knees.csv"
    (tmp_path / name).write_bytes(b"knee_v\r\n300\r\n")
    filed = inputs_of(f"[ct]\nknee_voltage_v = {{ file = '{name}' }}\n".encode(), tmp_path)
    assert filed == {"inputs/1-knees.csv": b"knee_v\r\n300\r\n"}


KNEES = "knee_v\n290\n300\n310\n"


def test_line_ends_and_a_mark_of_byte_order_change_nothing(tmp_path: Path) -> None:
    old = 'knee_voltage_v = { nominal = 300, tolerance_percent = 10, shape = "normal", source ='
    new = 'knee_voltage_v = { dist = "empirical", file = "knees.csv", column = "knee_v", source ='
    text = minimal_study_text().replace(old, new)
    assert new in text
    digests = set()
    for ends, mark in (("\n", ""), ("\r\n", "\ufeff")):
        for name, content in (("s.toml", text), ("knees.csv", KNEES)):
            (tmp_path / name).write_text(mark + content, encoding="utf-8", newline=ends)
        study = read_study(tmp_path / "s.toml")
        assert study.ct.knee_voltage_v.support() == (290.0, 310.0)
        digests.add(digest(study))
    assert len(digests) == 1


def test_tables_have_the_line_ends_of_every_system(tmp_path: Path) -> None:
    write(tmp_path / "out", **LIGHT)
    content = (tmp_path / "out" / "candidates.csv").read_bytes()
    assert b"\r" not in content
    assert len(list(csv.DictReader(io.StringIO(content.decode())))) == 2
