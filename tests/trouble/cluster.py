"""A real scheduler and real workers, as processes on 127.0.0.1."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
import warnings
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path

ROOT = Path(__file__).parents[2]
START_S = 60.0


class Cluster:
    """Processes of one scheduler and its workers. `before`: folders that the workers search for
    modules first."""

    def __init__(
        self, folder: Path, scheme: str = "tcp", environment: Mapping[str, str] | None = None
    ) -> None:
        self.folder, self._processes = folder, list[subprocess.Popen[bytes]]()
        self.environment = {
            **os.environ,
            "PYTHONPATH": str(ROOT),
            "PYTHONSAFEPATH": "1",
            **(environment or {}),
        }
        self._workers = 0
        file = folder / "scheduler.json"
        self.scheduler = self._start(
            "scheduler",
            "--host",
            f"{scheme}://127.0.0.1",
            "--port",
            "0",
            "--no-dashboard",
            "--scheduler-file",
            str(file),
        )
        waited(lambda: _address(file))
        self.address = _address(file)

    def add_workers(self, count: int, before: Sequence[Path] = (), threads: int = 1) -> list[int]:
        """Process numbers of the keepers that start the workers, and start them anew when they
        die."""
        first = self._workers
        self._workers += count
        keepers = [
            self._start(
                "worker",
                self.address,
                "--nworkers",
                "1",
                "--nthreads",
                str(threads),
                "--no-dashboard",
                "--local-directory",
                str(self.folder),
                before=before,
            )
            for _ in range(count)
        ]
        waited(lambda: len(self.workers()) >= first + count)
        return [keeper.pid for keeper in keepers]

    def workers(self) -> dict[str, int]:
        """Process number of each worker, by address."""
        from distributed import Client

        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of versions that are meant to differ
            client = Client(self.address, set_as_default=False)
        with client:
            found: dict[str, int] = client.run(os.getpid)
            return found

    def end_workers(self) -> None:
        """Workers and their keepers, all at once."""
        for process in self._processes[1:]:
            _end(process)

    def freeze(self, number: int) -> None:
        """The scheduler (0), or a worker with its keeper (1, ...): they keep their connections and
        do nothing more."""
        os.killpg(self._processes[number].pid, signal.SIGSTOP)

    def close(self) -> None:
        for process in reversed(self._processes):
            _end(process)

    def _start(
        self, what: str, *options: str, before: Sequence[Path] = ()
    ) -> subprocess.Popen[bytes]:
        path = os.pathsep.join([*map(str, before), self.environment["PYTHONPATH"]])
        with (self.folder / f"{what}-{len(self._processes)}.log").open("wb") as log:
            process = subprocess.Popen(
                [sys.executable, "-m", "dask", what, *options],
                stdout=log,
                stderr=log,
                cwd=self.folder,
                env={**self.environment, "PYTHONPATH": path},
                start_new_session=True,
            )
        self._processes.append(process)
        return process


@contextmanager
def cluster(
    folder: Path,
    workers: int = 2,
    scheme: str = "tcp",
    environment: Mapping[str, str] | None = None,
) -> Iterator[Cluster]:
    made = Cluster(folder, scheme, environment)
    try:
        if workers:
            made.add_workers(workers)
        yield made
    finally:
        made.close()


def _address(file: Path) -> str:
    """Empty while the file is not there, or not whole."""
    with suppress(FileNotFoundError, json.JSONDecodeError):
        return str(json.loads(file.read_text())["address"])
    return ""


def _end(process: subprocess.Popen[bytes]) -> None:
    with suppress(ProcessLookupError):
        os.killpg(process.pid, signal.SIGKILL)
    process.wait()


def waited(done: object, most_s: float = START_S) -> None:
    """Until done() is true."""
    assert callable(done)
    end = time.monotonic() + most_s
    while not done():
        assert time.monotonic() < end, "waited in vain"
        time.sleep(0.05)
