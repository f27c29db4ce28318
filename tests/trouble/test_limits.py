"""Limits of the system to processes, threads and memory: one line and exit code 2, never a hang."""

from __future__ import annotations

import errno
import os
import shutil
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from montecarlo.engine.workers import processes
from montecarlo.errors import RunStopped
from tests.made.studies import minimal_study_text
from tests.trouble.cluster import ROOT

LONGEST_S = 120.0
NOBODY = "65534"
REFUSED = (
    "workers: the system allows no more processes or threads here ({}); raise that limit (ulimit "
    "-u), take fewer --workers, or --workers 1, which starts none"
)
NO_THREAD = "can't start new thread"

# A process of its own: what joblib starts is kept for the next call.
SCRIPT = """\
import errno, os, sys
from joblib.externals.loky.backend import fork_exec, queues
from montecarlo.engine.workers import Workers
from montecarlo.errors import RunStopped
from tests.made.chunks import Task, solved

def no_thread(self):
    raise RuntimeError("can't start new thread")

def no_process(*unused, **named):
    raise {error}

{change}
try:
    list(Workers(2).mapped(solved, [Task(0), Task(1), Task(2)]))
except RunStopped as stopped:
    print(*stopped.faults, sep="\\n")
    sys.exit(2)
"""


def said(change: str, error: str = "OSError") -> str:
    script = SCRIPT.format(change=change, error=error)
    done = subprocess.run(
        [sys.executable, "-c", script],
        cwd=ROOT,
        capture_output=True,
        text=True,
        timeout=LONGEST_S,
        check=False,
    )
    assert (done.returncode, done.stderr) == (2, "")
    return done.stdout


def test_a_thread_of_joblib_that_cannot_start_another_is_told_and_not_waited_for() -> None:
    change = "queues.Queue._start_thread = no_thread"
    assert said(change) == REFUSED.format(NO_THREAD) + "\n"


@pytest.mark.parametrize("number", [errno.EAGAIN, errno.ENOMEM])
def test_a_process_that_may_not_be_started_is_one_line(number: int) -> None:
    change = "fork_exec.fork_exec = no_process"
    reason = os.strerror(number)
    assert said(change, f"OSError({number}, {reason!r})") == REFUSED.format(reason) + "\n"


def test_a_pipe_to_a_worker_that_broke_is_no_reader_that_has_left() -> None:
    """Which would end the run with exit code 141 and no word."""
    change = "fork_exec.fork_exec = no_process"
    assert "chunk task 0: its worker process ended" in said(
        change, "BrokenPipeError(32, 'Broken pipe')"
    )


def test_room_is_looked_for_before_workers_are_started(monkeypatch: pytest.MonkeyPatch) -> None:
    start, started = threading.Thread.start, 0

    def limited(self: threading.Thread) -> None:
        nonlocal started
        if (started := started + 1) > 5:
            raise RuntimeError(NO_THREAD)
        start(self)

    before = threading.active_count()
    monkeypatch.setattr(threading.Thread, "start", limited)
    with pytest.raises(RunStopped) as caught:
        next(processes.Processes(2).answers([]))
    assert caught.value.faults == (REFUSED.format(NO_THREAD),)
    assert started == 6
    assert threading.active_count() == before


def test_a_worker_that_cannot_watch_the_run_works_all_the_same(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def refused(self: threading.Thread) -> None:
        raise RuntimeError(NO_THREAD)

    monkeypatch.setattr(threading.Thread, "start", refused)
    processes._end_with(os.getppid())


@pytest.mark.parametrize(
    "allowed", [2, *(pytest.param(count, marks=pytest.mark.slow) for count in (1, 4, 6, 8))]
)
def test_a_limit_to_processes_is_one_line(tmp_path: Path, allowed: int) -> None:
    """As somebody who has no other processes, who may read and write here all the same."""
    resource = pytest.importorskip("resource")
    setpriv, caps = shutil.which("setpriv"), "+dac_read_search,+dac_override"
    somebody = [
        str(setpriv),
        "--reuid",
        NOBODY,
        "--regid",
        NOBODY,
        "--clear-groups",
        "--inh-caps",
        caps,
        "--ambient-caps",
        caps,
    ]
    if (
        setpriv is None
        or os.geteuid() != 0
        or subprocess.run(
            [*somebody, sys.executable, "-c", ""], check=False, capture_output=True
        ).returncode
    ):
        pytest.skip("only root can be somebody else")
    (tmp_path / "s.toml").write_text(minimal_study_text())
    env = {**os.environ, "PYTHONPATH": str(ROOT), "HOME": str(tmp_path)}
    env.pop("OPENBLAS_NUM_THREADS", None)
    done = subprocess.run(
        [*somebody, sys.executable, "-m", "studies", "run", "s.toml", "--workers", "2"],
        cwd=tmp_path,
        env=env,
        capture_output=True,
        text=True,
        timeout=LONGEST_S,
        check=False,
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_NPROC, (allowed, allowed)),
    )
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr == f"statorodds: {REFUSED.format(NO_THREAD)}\n"
    assert {path.name for path in tmp_path.iterdir()} == {"s.toml"}


LOADING = """\
import importlib.util, pathlib, resource, sys
import montecarlo.errors
package = pathlib.Path(importlib.util.find_spec("pandas").origin).parent
library = max(package.rglob("*.so"), key=lambda path: path.stat().st_size)
spec = importlib.util.spec_from_file_location(library.name.partition(".")[0], library)
pages = int(pathlib.Path("/proc/self/statm").read_text().split()[0])
resource.setrlimit(resource.RLIMIT_AS, (pages * resource.getpagesize() + 400_000,) * 2)
try:
    importlib.util.module_from_spec(spec)
except ImportError as error:
    sys.exit(0 if montecarlo.errors.no_memory(error) else f"said otherwise: {error}")
sys.exit("it found room")
"""


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="limits as Linux has them")
def test_a_library_without_room_is_known_by_the_words_of_the_system_s_loader() -> None:
    done = subprocess.run(
        [sys.executable, "-c", LOADING],
        cwd=ROOT,
        capture_output=True,
        text=True,
        timeout=LONGEST_S,
        check=False,
    )
    assert (done.returncode, done.stderr) == (0, "")
