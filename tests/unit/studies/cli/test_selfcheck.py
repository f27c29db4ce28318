"""The command selfcheck: every finding with a verdict, a broken installation told in lines, exit
codes."""

from __future__ import annotations

import importlib
import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from importlib import metadata
from pathlib import Path
from typing import Any
from unittest.mock import Mock

import pytest

from montecarlo.engine.workers import processes
from montecarlo.engine.workers.pool import Here
from studies.cli import selfcheck
from studies.cli.selfcheck import BAD, GOOD, OPTIONAL, Finding, examine, shown

REQUIRES = [
    "numpy>=1.26",
    "scipy[extra]>=1.11.1",
    'pyarrow>=14; extra == "parquet"',
    "joblib",
    'ruff>=0.8; extra == "test"',
    "pandapower>=3.5; extra == 'test-network'",
]


def found(look: Any) -> dict[str, Finding]:
    return {one.what: one for one in look()}


def requires(monkeypatch: pytest.MonkeyPatch, *lines: str, **versions: str | None) -> None:
    """An installation with these requirements, and these versions (None: not there) instead of the
    true ones."""
    true = metadata.version

    def version(name: str) -> str:
        given = versions.get(name, true(name) if name not in versions else None)
        if given is None:
            raise metadata.PackageNotFoundError(name)
        return given

    monkeypatch.setattr(metadata, "requires", lambda name: list(lines))
    monkeypatch.setattr(metadata, "version", version)


# --- packages -----------------------------------------------------------------


def test_requirements_without_those_of_tests(monkeypatch: pytest.MonkeyPatch) -> None:
    requires(monkeypatch, *REQUIRES)
    packages = found(selfcheck.packages)
    assert list(packages) == ["numpy", "scipy", "pyarrow", "joblib"]
    assert {one.verdict for one in packages.values()} == {GOOD}
    assert packages["pyarrow"].found.endswith("for run --keep-samples")


def test_what_an_option_needs_may_be_absent(monkeypatch: pytest.MonkeyPatch) -> None:
    requires(monkeypatch, *REQUIRES, pyarrow=None)
    assert found(selfcheck.packages)["pyarrow"] == Finding(
        "pyarrow", "for run --keep-samples", OPTIONAL
    )


def test_what_every_run_needs_may_not(monkeypatch: pytest.MonkeyPatch) -> None:
    requires(monkeypatch, *REQUIRES, joblib=None, numpy="1.25.2")
    packages = found(selfcheck.packages)
    assert packages["joblib"] == Finding("joblib", "missing", BAD, "pip install -U joblib")
    assert packages["numpy"].verdict == BAD
    assert packages["numpy"].found == "1.25.2, must be >=1.26"
    assert packages["numpy"].cure == "pip install -U 'numpy>=1.26'"


@pytest.mark.parametrize(
    "error", [ImportError("libopenblas.so:\n no such file"), OSError("bad ELF"), SystemError()]
)
def test_a_package_that_does_not_import_is_a_line(
    monkeypatch: pytest.MonkeyPatch, error: Exception
) -> None:
    requires(monkeypatch, "numpy>=1.26")
    true = importlib.import_module

    def fails(name: str, *rest: Any) -> Any:
        if name == "numpy":
            raise error
        return true(name, *rest)

    monkeypatch.setattr(importlib, "import_module", fails)
    one = found(selfcheck.packages)["numpy"]
    assert one.verdict == BAD
    assert "does not import" in one.found
    assert "\n" not in one.found
    assert one.cure == "pip install --force-reinstall numpy"


def test_versions_are_compared_as_numbers(monkeypatch: pytest.MonkeyPatch) -> None:
    requires(monkeypatch, "numpy>=1.26", "joblib>=1.4", numpy="10.0.1rc1", joblib="1.10")
    assert {one.verdict for one in selfcheck.packages()} == {GOOD}


# --- the machine --------------------------------------------------------------


def test_a_folder_that_cannot_be_written(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    def refuses(**unused: Any) -> Any:
        raise PermissionError(13, "Permission denied", str(tmp_path))

    monkeypatch.setattr(tempfile, "TemporaryFile", refuses)
    both = {one.what: one for one in examine_only("current folder", "temporary folder")}
    assert {one.verdict for one in both.values()} == {BAD}
    assert both["current folder"].found == f"cannot be written (Permission denied): {Path.cwd()}"
    assert "--out" in both["current folder"].cure
    assert "TMPDIR" in both["temporary folder"].cure


def examine_only(*names: str) -> Iterator[Finding]:
    for what in names:
        yield from selfcheck._safely(
            what, lambda what=what: selfcheck._folder(what), selfcheck.FOLDERS[what]
        )


def test_a_full_disk(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(selfcheck, "LEAST_FREE", 10**18)
    one = next(examine_only("current folder"))
    assert one.verdict == BAD
    assert one.cure.startswith("free ")


def test_the_cache_of_the_compiled_solvers_is_the_one_that_numba_uses() -> None:
    (one,) = selfcheck._cache()
    assert one.verdict == GOOD
    folder = Path(one.found.removeprefix("kept in "))
    assert any(
        path.name.startswith("kernel.integrate") or "kernel" in path.name
        for path in folder.glob("*.nbi")
    )


def test_a_cache_that_anybody_can_write_is_told(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    from montecarlo.secondary import kernel

    function = Mock()
    function.stats.cache_path = str(tmp_path)
    monkeypatch.setattr(kernel, "integrate", function)
    for mode, verdict in ((0o700, GOOD), (0o775, GOOD), (0o777, BAD)):
        tmp_path.chmod(mode)
        one = next(one for one in selfcheck._cache() if one.found.endswith(str(tmp_path)))
        assert one.verdict == verdict
        assert one.cure == (
            "set NUMBA_CACHE_DIR to a folder that only you can write" if verdict == BAD else ""
        )


def test_no_browser_is_no_fault(monkeypatch: pytest.MonkeyPatch) -> None:
    from studies.report import pdf

    monkeypatch.setattr(pdf, "find_browser", lambda: None)
    (one,) = selfcheck._browser()
    assert one == Finding("browser", "for run --pdf: Chromium, Chrome or Edge", OPTIONAL)


def test_worker_processes_are_started_and_a_plain_loop_is_not_taken_for_one(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    (one,) = selfcheck._workers()
    assert one.verdict == GOOD
    monkeypatch.setattr(processes, "Processes", lambda *unused: Here())
    (one,) = selfcheck._workers()
    assert (one.verdict, one.cure) == (BAD, "run with --workers 1")


# --- the numbers --------------------------------------------------------------


def test_both_self_checks_agree_with_their_formulas() -> None:
    (earth,), (rare,) = selfcheck._earth_fault(), selfcheck._rare_event()
    assert earth.found.startswith(
        "p_missed 19.6824 %, by hand I R / V = 19.6824 %"
    )  # 100 A 7.5 ohm sqrt(3)/6.6 kV
    assert "by the normal law 1.000e-06" in rare.found
    assert (earth.verdict, rare.verdict) == (GOOD, GOOD)


def test_a_wrong_number_is_seen(monkeypatch: pytest.MonkeyPatch) -> None:
    from studies.verify.published import statistics, whole

    monkeypatch.setattr(whole, "missed_percent", lambda example: 19.7)
    monkeypatch.setattr(statistics, "deep_probability", lambda: (1.2e-6, 1e-8))
    for (one,) in (selfcheck._earth_fault(), selfcheck._rare_event()):
        assert one.verdict == BAD
        assert one.cure.startswith("do not use numbers")


# --- the command --------------------------------------------------------------


def test_exit_codes_and_the_closing_line(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    good, bad = Finding("a", "fine"), Finding("b", "broken", BAD, "mend it")
    monkeypatch.setattr(selfcheck, "examine", lambda: iter([good, Finding("c", "", OPTIONAL)]))
    assert selfcheck.selfcheck() == 0
    assert capsys.readouterr().out.endswith("Everything that a run needs is in order.\n")
    monkeypatch.setattr(selfcheck, "examine", lambda: iter([good, bad]))
    assert selfcheck.selfcheck() == 1
    out = capsys.readouterr().out
    assert "1 of these would spoil a run or its numbers" in out
    assert f"\n{'':<35}mend it\n" in out


def test_whatever_a_look_stumbles_over_is_a_finding(monkeypatch: pytest.MonkeyPatch) -> None:
    def breaks() -> Iterator[Finding]:
        raise RuntimeError("cannot cache function:\nno locator available")

    for name in (
        "_tool",
        "_python",
        "packages",
        "_cores",
        "_threads",
        "_cache",
        "_browser",
        "_workers",
        "_earth_fault",
        "_rare_event",
    ):
        monkeypatch.setattr(selfcheck, name, breaks)
    monkeypatch.setattr(selfcheck, "_folder", lambda what: breaks())
    findings = list(examine())
    assert len(findings) == 12
    for one in findings:
        assert one.verdict == BAD
        assert one.found == "RuntimeError: cannot cache function: no locator available"
        assert shown(one).count("\n") == 1
        assert one.cure


def test_an_installation_without_numpy_is_told_without_a_traceback(tmp_path: Path) -> None:
    """A whole process in which NumPy cannot be imported."""
    (tmp_path / "numpy.py").write_text("raise ImportError('numpy is broken here')\n")
    done = subprocess.run(
        [sys.executable, "-m", "studies", "selfcheck"],
        capture_output=True,
        text=True,
        check=False,
        env=os.environ | {"PYTHONPATH": os.pathsep.join([str(tmp_path), os.getcwd()])},
    )
    assert done.returncode == 1, done.stderr
    assert "Traceback" not in done.stdout + done.stderr
    assert any(
        line.startswith("numpy ") and "numpy is broken here" in line
        for line in done.stdout.splitlines()
    )
    assert any(
        line.split()[:4] == ["self-check:", "rare", "event", "NOT"]
        for line in done.stdout.splitlines()
    )
