"""The folder of a run: what is refused, what is replaced, and that nothing half-written stays."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from montecarlo.engine.pickup_columns import Column
from montecarlo.errors import RunStopped, StudyError
from studies.cli.folder import Destination, prepare
from studies.cli.listing import UNFINISHED
from studies.cli.output import StudyFile, write_findings, write_new_table, write_table
from studies.protocol import Drawn, Findings
from studies.report.look import blank
from studies.report.record import PROVENANCE, SEAL, is_as_sealed
from studies.report.sample_files import SampleFiles

STUDY = b"# the study, byte for byte\r\n"
IDENTITY = {"study": "1234", "numpy": "2.0"}


def findings(**other: Any) -> Findings:
    frame = pd.DataFrame(
        {"candidate": [1, 2], "p": [0.1, np.nan], "chosen": [True, False], "note": ["", "a, b"]}
    )
    parts: dict[str, Any] = {
        "frames": {"candidates": frame},
        "figures": Drawn({"tradeoff": lambda: blank()[0]}),
        "arrays": {"installations": {"input/x": np.arange(3.0)}},
        "provenance": {"version": "1", "seed": 7},
    }
    return Findings(**(parts | other))


def write(
    folder: Path, *, replace: bool = False, name: str = "study.toml", **other: Any
) -> list[str]:
    destination = prepare(folder, replace=replace)
    with destination.opened(IDENTITY) as sitting:
        return write_findings(
            findings(**other),
            destination,
            sitting.staging,
            StudyFile(name, STUDY, {}, "statorodds run study.toml"),
        )


def refusal(folder: Path, *, replace: bool = False) -> str:
    with pytest.raises(StudyError) as caught:
        prepare(folder, replace=replace)
    assert len(caught.value.faults) == 1
    return caught.value.faults[0]


def write_half(destination: Destination, failure: type[BaseException]) -> None:
    with destination.opened(IDENTITY) as sitting:
        (sitting.staging / "candidates.csv").write_text("half")
        raise failure


def write_beside(destination: Destination, stranger: str) -> None:
    with destination.opened(IDENTITY) as sitting:
        (sitting.finished.folder / "0001-000000.npz").write_bytes(b"hours of work")
        (destination.folder / stranger).write_text("mine")
        write_findings(
            findings(), destination, sitting.staging, StudyFile("study.toml", STUDY, {}, "")
        )


def names(folder: Path) -> set[str]:
    return {path.name for path in folder.iterdir()}


# --- what is written ----------------------------------------------------------


def test_everything_is_written_and_listed(tmp_path: Path) -> None:
    files = write(tmp_path / "out")
    assert (
        names(tmp_path / "out")
        == set(files)
        == {
            "candidates.csv",
            "tradeoff.svg",
            "tradeoff.png",
            "installations.npz",
            "results.xlsx",
            "study.toml",
            PROVENANCE,
        }
    )
    assert names(tmp_path) == {"out"}
    assert (tmp_path / "out" / "study.toml").read_bytes() == STUDY


def test_provenance_names_product_files_and_command(tmp_path: Path) -> None:
    files = write(tmp_path / "out")
    record = json.loads((tmp_path / "out" / PROVENANCE).read_text())
    assert is_as_sealed(record)
    sums = record.pop("sha256")
    assert len(record.pop(SEAL)) == 64
    assert record == {
        "product": "statorodds",
        "version": "1",
        "seed": 7,
        "command": "statorodds run study.toml",
        "study_file": "study.toml",
        "files": files,
    }
    assert sums["study.toml"] == hashlib.sha256(STUDY).hexdigest()
    assert set(sums) == set(files) - {PROVENANCE}


def test_arrays_come_back_without_pickle(tmp_path: Path) -> None:
    write(tmp_path / "out")
    with np.load(tmp_path / "out" / "installations.npz", allow_pickle=False) as arrays:
        assert arrays["input/x"].tolist() == [0.0, 1.0, 2.0]


def test_an_array_that_needs_a_pickle_is_refused_and_leaves_nothing(tmp_path: Path) -> None:
    with pytest.raises(TypeError, match="pickle"):
        write(tmp_path / "out", arrays={"installations": {"x": np.array([None], dtype=object)}})
    assert names(tmp_path) == set()


def test_table_has_eight_digits_and_words_for_flags(tmp_path: Path) -> None:
    values = [0.1 + 0.2, 1e-300, np.nan, 1 / 3]
    frame = pd.DataFrame({"p": values, "chosen": [True, False, True, False], "n": [1, 2, 3, 4]})
    write_table(frame, tmp_path / "t.csv")
    text = (tmp_path / "t.csv").read_bytes().decode()
    assert text == "p,chosen,n\n0.3,true,1\n1e-300,false,2\n,true,3\n0.33333333,false,4\n"


def test_settings_stand_in_a_table_as_they_were_typed(tmp_path: Path) -> None:
    typed = "0.123456789012"
    frame = pd.DataFrame({"earth_pickup_a": [float(typed)], "expected": [float(typed)]})
    write_table(frame, tmp_path / "t.csv")
    assert (tmp_path / "t.csv").read_text().splitlines()[1] == f"{typed},0.12345679"


@pytest.mark.parametrize("name", ["candidates.csv", PROVENANCE, "tradeoff.svg", "results.xlsx"])
def test_a_study_named_like_a_result_is_kept_beside_it(tmp_path: Path, name: str) -> None:
    write(tmp_path / "out", name=name)
    assert (tmp_path / "out" / f"study-{name}").read_bytes() == STUDY
    assert (tmp_path / "out" / name).read_bytes() != STUDY


@pytest.mark.parametrize("name", ["desktop.ini", "Thumbs.db", ".DS_Store", UNFINISHED])
def test_a_study_named_like_what_is_overlooked_is_listed_under_another_name(
    tmp_path: Path, name: str
) -> None:
    files = write(tmp_path / "out", name=name)
    assert f"study-{name}" in files
    assert names(tmp_path / "out") == set(files)
    record = json.loads((tmp_path / "out" / PROVENANCE).read_text())
    assert record["study_file"] == f"study-{name}" in record["sha256"]
    assert set(write(tmp_path / "out", name=name, replace=True)) == set(files)


def files_in(folder: Path) -> set[str]:
    return {path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file()}


INNER = {"files": {"waves/a.cfg": b"a\r\n", "waves/b.dat": b"\x00", "page.html": b"<p>"}}


def test_files_of_an_inner_folder_are_listed_and_replaced(tmp_path: Path) -> None:
    out = tmp_path / "out"
    files = write(out, **INNER)
    assert files_in(out) == set(files) > {"waves/a.cfg", "waves/b.dat", "page.html"}
    assert (out / "waves" / "b.dat").read_bytes() == b"\x00"
    (out / "waves" / ".DS_Store").write_text("")
    assert set(write(out, replace=True, **INNER)) == files_in(out)
    assert set(write(out, replace=True)) == files_in(out)
    assert "waves" not in names(out)


def test_a_stranger_in_an_inner_folder_is_not_removed(tmp_path: Path) -> None:
    out = tmp_path / "out"
    write(out, **INNER)
    (out / "waves" / "notes.txt").write_text("mine")
    assert "holds waves/notes.txt, not written by a run" in refusal(out, replace=True)


def test_a_link_in_place_of_an_inner_folder_is_not_followed(tmp_path: Path) -> None:
    out = tmp_path / "out"
    write(out, **INNER)
    (out / "waves").rename(tmp_path / "precious")
    (out / "waves").symlink_to(tmp_path / "precious")
    assert "holds waves, not written by a run" in refusal(out, replace=True)
    record = json.loads((out / PROVENANCE).read_text())
    (out / PROVENANCE).write_text(
        json.dumps(record | {"files": ["waves/a.cfg", "waves", *record["files"]]})
    )
    write(out, replace=True)
    assert files_in(tmp_path / "precious") == {"a.cfg", "b.dat"}


def test_an_inner_folder_that_gained_a_file_meanwhile_is_kept(tmp_path: Path) -> None:
    out = tmp_path / "out"
    write(out, **INNER)
    destination = prepare(out, replace=True)
    (out / "waves" / "notes.txt").write_text("mine")
    with pytest.raises(StudyError, match=r"holds waves/notes.txt"), destination.opened(IDENTITY):
        raise AssertionError("sampled")
    (out / "waves" / "notes.txt").unlink()
    with pytest.raises(StudyError, match="the rest of the results is in") as caught:
        write_beside(prepare(out, replace=True), "waves/notes.txt")
    assert len(caught.value.faults) == 2
    assert (out / "waves" / "notes.txt").read_text() == "mine"
    assert {"candidates.csv", PROVENANCE} <= names(out / UNFINISHED / "results")


@pytest.mark.parametrize(
    "name", ["~", "~/x.csv", "t.csv.gz", "t.zip", "t.tar", "t.csv.zst", "s3:b"]
)
def test_a_name_of_a_table_is_taken_as_it_stands(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    (home := tmp_path / "home").mkdir()
    (here := tmp_path / "here").mkdir()
    monkeypatch.setenv("HOME", str(home))
    monkeypatch.chdir(here)
    (path := Path(name)).parent.mkdir(exist_ok=True)
    for write_one in (write_new_table, write_table):
        write_one(pd.DataFrame({"p": [0.5]}), path)
        assert (here / name).read_bytes() == b"p\n0.5\n"
    assert names(home) == set()
    assert names(path.parent) | {path.name} == names(path.parent)
    with pytest.raises(FileExistsError):
        write_new_table(pd.DataFrame({"p": [0.7]}), path)
    assert path.read_bytes() == b"p\n0.5\n"
    assert len(names(path.parent)) == 1


def test_a_folder_named_like_a_home_takes_results(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (home := tmp_path / "home").mkdir()
    monkeypatch.setenv("HOME", str(home))
    monkeypatch.chdir(tmp_path)
    assert set(write(Path("~"))) == names(tmp_path / "~")
    assert names(home) == set()


def test_kept_samples_go_where_they_are_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    pytest.importorskip("pyarrow")
    (home := tmp_path / "home").mkdir()
    monkeypatch.setenv("HOME", str(home))
    monkeypatch.chdir(tmp_path)
    for name in ("~", "s3:b"):
        with SampleFiles(Path(name)) as samples:
            samples.append("a", {Column("x", "A", "a current", "input"): np.arange(3.0)})
        assert names(tmp_path / name) == {"a.parquet", "samples_columns.csv"}
    assert names(home) == set()


def test_a_new_table_is_whole_or_not_there(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(self: pd.DataFrame, file: Any, **_: Any) -> None:
        file.write("p\n")
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(pd.DataFrame, "to_csv", full)
    with pytest.raises(OSError, match="No space left on device"):
        write_new_table(pd.DataFrame({"p": [0.5]}), tmp_path / "t.csv")
    assert names(tmp_path) == set()


# --- where it may stand -------------------------------------------------------


def test_an_absent_folder_is_not_made_before_the_run(tmp_path: Path) -> None:
    assert prepare(tmp_path / "out", replace=False) == Destination(tmp_path / "out", False)
    assert names(tmp_path) == set()


def test_an_empty_folder_is_filled(tmp_path: Path) -> None:
    (tmp_path / "out").mkdir()
    before = (tmp_path / "out").stat().st_ino
    files = write(tmp_path / "out")
    assert names(tmp_path / "out") == set(files)
    assert (
        tmp_path / "out"
    ).stat().st_ino == before  # may be a mount point, or where a shell stands


def test_what_is_there_is_refused(tmp_path: Path) -> None:
    (tmp_path / "notes.txt").write_text("mine")
    assert (
        refusal(tmp_path) == f"{tmp_path}: exists and is not empty; name another folder with --out"
    )
    assert "holds no provenance.json" in refusal(tmp_path, replace=True)
    assert names(tmp_path) == {"notes.txt"}


def test_results_are_replaced_only_when_asked(tmp_path: Path) -> None:
    write(tmp_path / "out", name="old.toml")
    assert "add --replace" in refusal(tmp_path / "out")
    files = write(tmp_path / "out", replace=True, name="new.toml")
    assert names(tmp_path / "out") == set(files)
    assert "old.toml" not in files


def test_a_stranger_among_the_results_is_not_removed(tmp_path: Path) -> None:
    out = tmp_path / "out"
    write(out)
    (out / "notes.txt").write_text("mine")
    (out / ".DS_Store").write_text("")
    assert "holds notes.txt, not written by a run" in refusal(out, replace=True)


@pytest.mark.parametrize(
    "record",
    [
        "",
        "[]",
        "{}",
        '{"product": "other", "files": ["provenance.json"]}',
        '{"product": "statorodds", "files": 3}',
        '{"product": "statorodds"}',
        "\xff",
        "[" * 200_000,
    ],
)
def test_a_foreign_provenance_protects_the_folder(tmp_path: Path, record: str) -> None:
    (tmp_path / PROVENANCE).write_bytes(record.encode("latin-1"))
    assert "holds no provenance.json of a run" in refusal(tmp_path, replace=True)


def test_a_record_cannot_name_files_outside(tmp_path: Path) -> None:
    out, outside = tmp_path / "out", tmp_path / "precious.txt"
    outside.write_text("mine")
    write(out)
    record = json.loads((out / PROVENANCE).read_text())
    files = [*record["files"], "../precious.txt", str(outside), 3]
    (out / PROVENANCE).write_text(json.dumps(record | {"files": files}))
    write(out, replace=True)
    assert outside.read_text() == "mine"


def test_a_file_and_a_dead_link_are_refused(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    (tmp_path / "link").symlink_to("nowhere")
    assert "is a file" in refusal(tmp_path / "file", replace=True)
    assert "is a link to nothing" in refusal(tmp_path / "link", replace=True)


def test_a_link_to_a_folder_is_followed(tmp_path: Path) -> None:
    (tmp_path / "real").mkdir()
    (tmp_path / "link").symlink_to("real")
    files = write(tmp_path / "link")
    assert (tmp_path / "link").is_symlink()
    assert names(tmp_path / "real") == set(files)


def test_a_missing_parent_is_named(tmp_path: Path) -> None:
    assert f"the folder {tmp_path / 'no'} that it would stand in does not exist" in refusal(
        tmp_path / "no" / "out"
    )


def test_a_place_that_cannot_be_written_to_is_named_before_the_run() -> None:
    if not Path("/proc/self").is_dir():
        pytest.skip("no place that even root cannot write to")
    assert "cannot be written to" in refusal(Path("/proc/statorodds-results"))


@pytest.mark.parametrize("failure", [KeyboardInterrupt, RuntimeError, SystemExit])
@pytest.mark.parametrize("exists", [False, True])
def test_a_failure_while_writing_leaves_nothing(
    tmp_path: Path, failure: type[BaseException], exists: bool
) -> None:
    out = tmp_path / "out"
    if exists:
        out.mkdir()
    with pytest.raises(failure):
        write_half(prepare(out, replace=False), failure)
    assert names(tmp_path) == ({"out"} if exists else set())
    assert not exists or names(out) == set()


def test_a_failed_replacement_keeps_the_old_results(tmp_path: Path) -> None:
    out = tmp_path / "out"
    write(out)
    before = {path.name: path.read_bytes() for path in out.iterdir()}
    with pytest.raises(KeyboardInterrupt):
        write_half(prepare(out, replace=True), KeyboardInterrupt)
    assert {path.name: path.read_bytes() for path in out.iterdir()} == before


def test_results_are_not_lost_to_a_folder_that_appeared_meanwhile(tmp_path: Path) -> None:
    destination = prepare(out := tmp_path / "out", replace=False)
    out.mkdir()
    (out / "other.csv").write_text("another run was faster")
    with pytest.raises(StudyError, match="exists and is not empty"), destination.opened(IDENTITY):
        raise AssertionError("sampled")
    assert names(out) == {"other.csv"}
    (out / "other.csv").unlink()
    with pytest.raises(
        StudyError, match=r"candidates\.csv has appeared there meanwhile; move it away"
    ):
        write_beside(prepare(out, replace=False), "candidates.csv")
    assert (out / "candidates.csv").read_text() == "mine"
    assert "exists and is not empty" in refusal(out)


def test_a_full_disk_is_one_line_and_leaves_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(np, "savez_compressed", full)
    with pytest.raises(StudyError, match="No space left on device"):
        write(tmp_path / "out")
    assert names(tmp_path) == set()


def test_too_little_memory_for_the_figures_keeps_the_tables_and_the_chunks(tmp_path: Path) -> None:
    """Already when the first is drawn, which is not before tables are written."""

    def no_memory() -> Any:
        raise MemoryError

    out = tmp_path / "out"
    with pytest.raises(RunStopped) as caught:
        write(out, figures=Drawn({"tradeoff": no_memory}))
    staging = out / UNFINISHED / "results"
    assert caught.value.faults == (
        (
            f"{out}: too little memory to draw the figures; end other programs and start the same"
            f" command again. The tables so far are in {staging}"
        ),
        (
            f"{out}: finished chunks kept in {out / UNFINISHED}: 0; the same command goes on from"
            " there"
        ),
    )
    assert (staging / "candidates.csv").read_text().startswith("candidate,p,")
    files = write(out)
    assert names(out) == set(files)


def test_too_little_memory_before_anything_is_written_is_one_line_and_keeps_the_chunks(
    tmp_path: Path,
) -> None:
    out = tmp_path / "out"
    with pytest.raises(RunStopped, match="too little memory; end other programs") as caught:
        work_until(MemoryError(), prepare(out, replace=False))
    assert len(caught.value.faults) == 2
    assert (out / UNFINISHED / "chunks" / "0001-000000.npz").read_bytes() == b"an hour's work"


def test_a_folder_that_can_be_made_and_not_filled_does_not_stay(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As under a umask that takes every permission: root may fill it all the same, so it is refused
    here."""
    make = Path.mkdir

    def barred(self: Path, *arguments: Any, **named: Any) -> None:
        if self.name == UNFINISHED:
            make(self.parent, exist_ok=True)
            raise PermissionError(13, "Permission denied")
        make(self, *arguments, **named)

    monkeypatch.setattr(Path, "mkdir", barred)
    with pytest.raises(RunStopped, match="cannot be written \\(Permission denied\\)"):
        write(tmp_path / "out")
    assert names(tmp_path) == set()


def test_the_folder_is_as_open_as_any_other(tmp_path: Path) -> None:
    mask = os.umask(0o027)
    try:
        write(tmp_path / "out")
    finally:
        os.umask(mask)
    assert (tmp_path / "out").stat().st_mode & 0o777 == 0o750


# --- a run that is killed -----------------------------------------------------


def killed_at(step: int, out: Path, *, replace: bool) -> bool:
    """Write a whole run in a child process that ends, without a word, before its step-th change to
    the disk; whether it got that far."""
    if not (child := os.fork()):
        steps = 0

        def counted(plain: Callable[..., Any]) -> Callable[..., Any]:
            def call(*arguments: Any, **named: Any) -> Any:
                nonlocal steps
                if (steps := steps + 1) == step:
                    os._exit(9)
                return plain(*arguments, **named)

            return call

        for name in ("mkdir", "rmdir", "rename", "replace", "unlink", "remove"):
            setattr(os, name, counted(getattr(os, name)))
        write(out, replace=replace, **LIGHT)
        os._exit(0)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 9


@pytest.mark.parametrize("replace", [False, True])
@pytest.mark.parametrize("every", [pytest.param(1, marks=pytest.mark.slow), 4])
def test_a_run_killed_at_any_change_to_the_disk_is_made_whole_by_the_next(
    tmp_path: Path, replace: bool, every: int
) -> None:
    wanted = {
        path: (tmp_path / "wanted" / path).read_bytes()
        for path in write(tmp_path / "wanted", **LIGHT)
    }
    for step in range(1, 200, every):
        out = tmp_path / f"out-{step}"
        if replace:
            write(out, name="older.toml", **LIGHT)
        if not killed_at(step, out, replace=replace):
            break
        done = (out / PROVENANCE).exists() and not (out / "older.toml").exists()
        assert not done or whole(out, wanted)
        if done and not replace:
            assert "add --replace" in refusal(out)
        write(out, replace=replace or done, **LIGHT)
        assert files_in(out) == set(wanted)
        assert whole(out, wanted)
    assert step > 15  # changes to the disk, each of them or every fourth


@pytest.mark.parametrize("lost", [b"", b"\x00" * 400, b'{"files": ['])
@pytest.mark.parametrize("placed", [1, 3, 6])
def test_an_unreadable_record_of_placing_is_no_end_of_the_run(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, lost: bytes, placed: int
) -> None:
    """What a power cut may leave of it, after some of the results were put in place."""
    out, rename, done = tmp_path / "out", Path.rename, 0

    def cut(self: Path, target: Path) -> Path:
        nonlocal done
        if (done := done + 1) > placed:
            raise OSError(5, "Input/output error")
        return rename(self, target)

    monkeypatch.setattr(Path, "rename", cut)
    with pytest.raises(RunStopped, match="cannot be put in place"):
        write(out, **LIGHT)
    monkeypatch.undo()
    assert len(names(out)) == placed + 1
    (out / UNFINISHED / "placing.json").write_bytes(lost)
    files = write(out, **LIGHT)
    assert files_in(out) == set(files)


def test_a_file_of_somebody_else_is_not_taken_for_a_half_placed_result(tmp_path: Path) -> None:
    """There is no record of placing, so nothing was put in place."""
    out = tmp_path / "out"
    with pytest.raises(KeyboardInterrupt):
        work_until(KeyboardInterrupt(), prepare(out, replace=False))
    (out / UNFINISHED / "results").mkdir()
    record = {"product": "statorodds", "files": ["page.html", PROVENANCE]}
    (out / UNFINISHED / "results" / PROVENANCE).write_text(json.dumps(record))
    (out / "page.html").write_text("mine")
    assert "exists and is not empty" in refusal(out)
    assert "holds no provenance.json" in refusal(out, replace=True)


def test_what_decides_is_on_the_disk_before_anything_rests_on_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """fsync of each record before it gets its name, of every result before it is placed, of the
    folder before the chunks are taken away."""
    said: list[tuple[str, str]] = []
    sync, replace, rename, clear = os.fsync, os.replace, Path.rename, Destination._clear

    def synced(handle: int) -> None:
        said.append(("on disk", Path(os.readlink(f"/proc/self/fd/{handle}")).name))
        sync(handle)

    def replaced(old: Path, new: Path) -> None:
        said.append(("named", Path(old).name))
        replace(old, new)

    def renamed(old: Path, new: Path) -> Path:
        said.append(("placed", old.name))
        return rename(old, new)

    def cleared(self: Destination) -> None:
        said.append(("cleared", ""))
        clear(self)

    if not Path("/proc/self/fd").is_dir():
        pytest.skip("no names of open files")
    for name, call in (("fsync", synced), ("replace", replaced)):
        monkeypatch.setattr(os, name, call)
    monkeypatch.setattr(Path, "rename", renamed)
    monkeypatch.setattr(Destination, "_clear", cleared)
    files = write(tmp_path / "out", **LIGHT)
    for record in ("run.part", "placing.part"):
        at = said.index(("named", record))
        assert said[at - 1] == ("on disk", record)
        assert said[at + 1] == ("on disk", UNFINISHED)
    first = next(at for at, (what, _) in enumerate(said) if what == "placed")
    assert {Path(name).name for name in files} <= {
        name for what, name in said[:first] if what == "on disk"
    }
    assert said[-2:] == [("on disk", "out"), ("cleared", "")]
    assert said[-3] == ("placed", PROVENANCE)


LIGHT: dict[str, Any] = {**INNER, "figures": {}}
STABLE = (
    "candidates.csv",
    "waves/a.cfg",
    "waves/b.dat",
    "page.html",
    "study.toml",
)  # the others hold times


def whole(out: Path, wanted: dict[str, bytes]) -> bool:
    """Whether files without a time in them are as they should be, and all as the provenance
    says."""
    record = json.loads((out / PROVENANCE).read_text())
    return all((out / name).read_bytes() == wanted[name] for name in STABLE) and all(
        hashlib.sha256((out / name).read_bytes()).hexdigest() == wanted
        for name, wanted in record["sha256"].items()
    )


# --- an unfinished run --------------------------------------------------------


def leave_unfinished(out: Path, identity: dict[str, str] = IDENTITY) -> None:
    """A run that is stopped with one chunk finished."""
    with pytest.raises(
        KeyboardInterrupt, match=r"finished chunks kept in .*: 1; the same command goes on"
    ):
        work_until(KeyboardInterrupt(), prepare(out, replace=False), identity)


def work_until(
    error: BaseException, destination: Destination, identity: dict[str, str] = IDENTITY
) -> None:
    with destination.opened(identity) as sitting:
        (sitting.finished.folder / "0001-000000.npz").write_bytes(b"an hour's work")
        raise error


def test_the_same_run_finds_its_chunks_and_takes_them_away_at_the_end(tmp_path: Path) -> None:
    leave_unfinished(tmp_path / "out")
    assert names(tmp_path / "out") == {UNFINISHED}
    with prepare(tmp_path / "out", replace=False).opened(IDENTITY) as sitting:
        assert sitting.finished.there == 1
    assert names(tmp_path) == {"out"}
    assert names(tmp_path / "out") == set()


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        (
            {"study": "5678"},
            (
                "holds an unfinished run of another study (its file, --samples, --seed or --quick"
                " is not the same); go on with that one, add --replace to throw it away, or name"
                " another folder with --out"
            ),
        ),
        ({"numpy": "2.1"}, "holds an unfinished run with numpy 2.0 where it is 2.1 now; go on"),
        ({"scipy": "1.0"}, "holds an unfinished run with scipy unknown where it is 1.0 now; go on"),
    ],
)
def test_another_run_does_not_mix_with_it(
    tmp_path: Path, changes: dict[str, str], said: str
) -> None:
    out = tmp_path / "out"
    leave_unfinished(out)
    with (
        pytest.raises(StudyError) as caught,
        prepare(out, replace=False).opened(IDENTITY | changes),
    ):
        raise AssertionError("sampled")
    assert said in caught.value.faults[0]
    assert (out / UNFINISHED / "chunks" / "0001-000000.npz").read_bytes() == b"an hour's work"
    with prepare(out, replace=True).opened(IDENTITY | changes) as sitting:
        assert sitting.finished.there == 0


def test_a_record_that_cannot_be_read_is_another_run(tmp_path: Path) -> None:
    leave_unfinished(out := tmp_path / "out")
    (out / UNFINISHED / "run.json").write_text("{")
    with (
        pytest.raises(
            StudyError, match=r"of which unfinished/run\.json cannot be read; add --replace to"
        ),
        prepare(out, replace=False).opened(IDENTITY),
    ):
        raise AssertionError("sampled")
    (out / UNFINISHED / "run.json").write_text("[" * 100_000)
    with (
        pytest.raises(StudyError, match="cannot be read; add --replace to"),
        prepare(out, replace=False).opened(IDENTITY),
    ):
        raise AssertionError("sampled")


def test_an_empty_record_of_a_run_without_a_finished_chunk_holds_nobody_up(tmp_path: Path) -> None:
    """As a power cut may leave it: there is nothing to lose."""
    leave_unfinished(out := tmp_path / "out")
    (out / UNFINISHED / "run.json").write_text("")
    (out / UNFINISHED / "chunks" / "0001-000000.npz").unlink()
    files = write(out)
    assert names(out) == set(files)


def test_what_a_link_in_the_unfinished_run_leads_to_is_left_alone(tmp_path: Path) -> None:
    leave_unfinished(out := tmp_path / "out")
    (tmp_path / "elsewhere").mkdir()
    (tmp_path / "elsewhere" / "mine.csv").write_text("mine")
    (out / UNFINISHED / "results").symlink_to(tmp_path / "elsewhere")
    with prepare(out, replace=False).opened(IDENTITY):
        pass
    assert names(out) == set()
    assert names(tmp_path / "elsewhere") == {"mine.csv"}


@pytest.mark.parametrize("stays", ["chunks", "results"])
def test_what_cannot_be_thrown_away_is_not_taken_for_this_run(
    stays: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    leave_unfinished(out := tmp_path / "out")
    (out / UNFINISHED / "results").mkdir()
    remove = shutil.rmtree

    def held(folder: Path, ignore_errors: bool = False) -> None:
        if Path(folder).name != stays:
            remove(folder, ignore_errors)
        elif not ignore_errors:
            raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(shutil, "rmtree", held)
    with (
        pytest.raises(RunStopped, match="cannot be written \\(Permission denied\\)"),
        prepare(out, replace=True).opened(IDENTITY | {"study": "5678"}),
    ):
        raise AssertionError("sampled")


def test_two_runs_on_one_folder(tmp_path: Path) -> None:
    out = tmp_path / "out"
    with prepare(out, replace=False).opened(IDENTITY):
        for replace in (False, True):
            with (
                pytest.raises(
                    StudyError, match="another run is at work here; wait until it has ended"
                ),
                prepare(out, replace=replace).opened(IDENTITY),
            ):
                raise AssertionError("sampled")
        assert names(out) == {UNFINISHED}
    assert names(tmp_path) == set()


def test_a_fault_of_the_study_leaves_nothing_and_one_of_the_place_keeps_the_chunks(
    tmp_path: Path,
) -> None:
    for error, left in (
        (StudyError("study.x: wrong"), set()),
        (RunStopped("disk: full"), {"out"}),
        (RuntimeError("a bug"), {"out"}),
    ):
        with pytest.raises(type(error)) as caught:
            work_until(error, prepare(tmp_path / "out", replace=True))
        assert names(tmp_path) == left
        if isinstance(error, RunStopped):
            assert caught.value.faults[1].endswith(  # type: ignore[attr-defined]
                f"finished chunks kept in {tmp_path / 'out' / UNFINISHED}: 1"
                + "; the same command goes on from there"
            )


def test_a_folder_of_somebody_else_called_unfinished_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "out" / UNFINISHED).mkdir(parents=True)
    (tmp_path / "out" / UNFINISHED / "novel.txt").write_text("chapter one")
    assert "exists and is not empty" in refusal(tmp_path / "out")
    assert "holds no provenance.json" in refusal(tmp_path / "out", replace=True)


# --- records and locks --------------------------------------------------------


def test_a_pipe_in_place_of_a_record_holds_nobody_up(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / PROVENANCE)
    assert "holds no provenance.json of a run" in refusal(tmp_path, replace=True)
    leave_unfinished(out := tmp_path / "out")
    for name in ("run.json", "placing.json", "run.part"):
        (out / UNFINISHED / name).unlink(missing_ok=True)
        os.mkfifo(out / UNFINISHED / name)
    with (
        pytest.raises(
            StudyError, match=r"of which unfinished/run\.json cannot be read; add --replace"
        ),
        prepare(out, replace=False).opened(IDENTITY),
    ):
        raise AssertionError("sampled")
    write(out, replace=True)
    assert PROVENANCE in names(out)
    assert UNFINISHED not in names(out)


def test_deep_nesting_in_a_record_of_placing_is_no_crash(tmp_path: Path) -> None:
    leave_unfinished(out := tmp_path / "out")
    (out / UNFINISHED / "placing.json").write_text("[" * 200_000)
    assert prepare(out, replace=False).old == ()


def test_a_half_written_record_that_is_a_link_is_not_followed(tmp_path: Path) -> None:
    (out := tmp_path / "out").mkdir()
    (out / UNFINISHED).mkdir()
    (tmp_path / "precious").write_text("mine")
    (out / UNFINISHED / "run.part").symlink_to(tmp_path / "precious")
    write(out)
    assert (tmp_path / "precious").read_text() == "mine"


@pytest.mark.parametrize("moment", [1, 2])
@pytest.mark.parametrize("done", [False, True])
def test_a_run_that_begins_as_another_ends_works_alone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, moment: int, done: bool
) -> None:
    """The second begins before the first gives its lock away, and just after."""
    (out := tmp_path / "out").mkdir()
    begun: list[Any] = []
    tidy, calls = Destination._tidy, 0

    def begin_first(self: Destination, **named: bool) -> None:
        nonlocal calls
        if (calls := calls + 1) == moment:
            with suppress(StudyError):
                begun.append(prepare(out, replace=True)._locked())
        tidy(self, **named)

    monkeypatch.setattr(Destination, "_tidy", begin_first)
    with suppress(KeyError), prepare(out, replace=False).opened(IDENTITY):
        if not done:
            raise KeyError
    assert len(begun) == moment - 1  # refused while the first still holds it
    if begun:
        with (
            pytest.raises(StudyError, match="another run is at work here"),
            prepare(out, replace=True).opened(IDENTITY),
        ):
            raise AssertionError("sampled beside another")
        begun[0].release()


def test_a_lock_that_was_taken_away_while_it_was_waited_for_is_not_held(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    fcntl = pytest.importorskip("fcntl")
    out, flock, opened = tmp_path / "out", fcntl.flock, []

    def taken_away_first(handle: int, what: int) -> None:
        if not opened and what != fcntl.LOCK_UN:  # open already; the other run ends just now
            opened.append(handle)
            (out / UNFINISHED / "lock").unlink()
        flock(handle, what)

    monkeypatch.setattr(fcntl, "flock", taken_away_first)
    lock = prepare(out, replace=False)._locked()
    assert opened
    with pytest.raises(StudyError, match="another run is at work here"):
        prepare(out, replace=False)._locked()
    lock.release()
