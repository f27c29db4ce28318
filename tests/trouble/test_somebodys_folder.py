"""A study in somebody else's folder: nothing that lies there is run, and nothing there changes a
number."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from montecarlo.engine.workers import Workers, processes
from studies.report.pdf import find_browser
from tests.made.chunks import Task, solved
from tests.made.studies import minimal_study_text
from tests.trouble import cluster as real

NAMES = ("joblib", "random", "queue", "statistics", "threadpoolctl", "distributed", "numpy")
# as pip writes it
COMMAND = "import sys\nfrom studies.cli.main import main\nsys.exit(main())\n"
LONGEST_S = 300.0


@pytest.fixture(scope="module")
def command(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("bin") / "statorodds"
    path.write_text(COMMAND)
    return path


@pytest.fixture(scope="module")
def clean(command: Path, tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes]:
    """Tables of a run in a folder that holds the study alone."""
    return run(command, with_study(tmp_path_factory.mktemp("clean")), "--workers", "1")


def with_study(folder: Path) -> Path:
    text = minimal_study_text().replace("samples = 512", "samples = 64")
    text = text.replace("installations = 32", "installations = 16").replace(
        "p_false_max = 0.01", "p_false_max = 0.5"
    )
    (folder / "s.toml").write_text(text)
    return folder


def with_strangers(folder: Path) -> Path:
    """Python files under names that workers import. Each leaves a mark when it is run."""
    for name in NAMES:
        mark = folder / f"{name} was run"
        (folder / f"{name}.py").write_text(
            f"open({str(mark)!r}, 'w').close()\nraise SystemExit(9)\n"
        )
    return folder


def marks(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.glob("* was run"))


def done_in(folder: Path, command: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    env = {key: value for key, value in os.environ.items() if key != "PYTHONSAFEPATH"}
    return subprocess.run(
        [sys.executable, str(command), *arguments],
        cwd=folder,
        check=False,
        env={**env, "PYTHONPATH": str(real.ROOT)},
        timeout=LONGEST_S,
        capture_output=True,
        text=True,
    )


def run(command: Path, folder: Path, *options: str) -> dict[str, bytes]:
    done = done_in(folder, command, "run", "s.toml", *options)
    assert (done.returncode, done.stderr) == (0, "")
    return {path.name: path.read_bytes() for path in (folder / "s-results").glob("*.csv")}


@pytest.mark.slow
def test_worker_processes_run_no_file_of_the_folder(
    command: Path, clean: dict[str, bytes], tmp_path: Path
) -> None:
    folder = with_strangers(with_study(tmp_path))
    assert run(command, folder, "--workers", "2") == clean != {}
    assert marks(folder) == []


@pytest.mark.slow
def test_workers_of_a_cluster_run_no_file_of_the_folder_if_started_as_the_guide_says(
    command: Path, clean: dict[str, bytes], tmp_path: Path
) -> None:
    pytest.importorskip("distributed", reason="needs the extra [cluster]")
    folder = with_strangers(with_study(tmp_path))
    with real.cluster(folder) as made:
        assert run(command, folder, "--cluster", made.address) == clean != {}
    assert marks(folder) == []


def test_the_guide_starts_workers_so() -> None:
    text = (real.ROOT / "studies" / "GUIDE.md").read_text(encoding="utf-8")
    assert "PYTHONSAFEPATH=1 dask scheduler" in text
    assert "PYTHONSAFEPATH=1 dask worker" in text


@pytest.mark.slow
def test_the_selfcheck_runs_no_file_of_the_folder(command: Path, tmp_path: Path) -> None:
    done = done_in(with_strangers(tmp_path), command, "selfcheck")
    (line,) = (line for line in done.stdout.splitlines() if line.startswith("worker processes"))
    assert line.split()[2] == "good"
    assert marks(tmp_path) == []


@pytest.mark.parametrize("before", [None, "", "1"])
def test_the_environment_is_afterwards_what_it_was(
    monkeypatch: pytest.MonkeyPatch, before: str | None
) -> None:
    monkeypatch.delenv(processes.SAFE_PATH, raising=False)
    if before is not None:
        monkeypatch.setenv(processes.SAFE_PATH, before)
    assert len(list(Workers(2).mapped(solved, [Task(0), Task(1)]))) == 2
    assert os.environ.get(processes.SAFE_PATH) == before


def test_a_file_that_would_lead_numba_elsewhere_is_one_line(command: Path, tmp_path: Path) -> None:
    """It could name a folder of compiled code, which is loaded and run."""
    (with_study(tmp_path) / ".numba_config.yaml").write_text("cache_dir: .\n")
    for arguments in (["run", "s.toml"], ["check", "s.toml"], ["selfcheck"], ["verify"]):
        done = done_in(tmp_path, command, *arguments)
        assert (done.returncode, done.stdout) == (2, "")
        assert (
            done.stderr
            == "statorodds: .numba_config.yaml: this file of the current folder would change how"
            " the "
            "solvers are compiled and loaded; move it away, or start from another folder\n"
        )


@pytest.mark.parametrize("what", ["bytes", "pipe", "folder"])
def test_a_file_of_the_drawing_library_that_cannot_be_read_is_one_line(
    command: Path, tmp_path: Path, what: str
) -> None:
    path = with_study(tmp_path) / "matplotlibrc"
    if what == "bytes":
        path.write_bytes(b"\xff\xfe")
    else:
        (os.mkfifo if what == "pipe" else os.mkdir)(path)
    done = done_in(tmp_path, command, "run", "s.toml")
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr.startswith("statorodds: matplotlibrc: this file of the current folder is no")
    assert done.stderr.count("\n") == 1


def test_a_program_in_the_folder_is_no_installed_browser(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    (tmp_path / "chromium").write_text("#!/bin/sh\n")
    (tmp_path / "chromium").chmod(0o755)
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("PATH", ".")  # Windows looks there unasked
    monkeypatch.setattr("studies.report.pdf.PLACES", {})
    assert find_browser() is None
