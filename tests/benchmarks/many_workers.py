"""A scheduler in a process of its own and many Dask workers in another, all on 127.0.0.1, for what
a hand-over costs: `python -m tests.benchmarks.many_workers ADDRESS WORKERS FOLDER` is the second.

What real workers would do on cores of their own (profiles of what they compute, looks at their
memory) is off, so that their number is not the load of this machine."""

from __future__ import annotations

import asyncio
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import psutil

from montecarlo.engine.workers.cluster import Cluster
from tests.trouble.cluster import cluster, waited

START_S = 600.0
SWITCHED_OFF = {
    "distributed.worker.profile.enabled": False,
    "distributed.admin.system-monitor.interval": "1h",
    "distributed.admin.system-monitor.gil.enabled": False,
}


@dataclass(frozen=True)
class Spent:
    """Processor time of each process, wall time, and bytes over the loopback."""

    scheduler_s: float
    workers_s: float
    own_s: float
    wall_s: float
    sent_bytes: int

    def __sub__(self, other: Spent) -> Spent:
        return Spent(
            self.scheduler_s - other.scheduler_s,
            self.workers_s - other.workers_s,
            self.own_s - other.own_s,
            self.wall_s - other.wall_s,
            self.sent_bytes - other.sent_bytes,
        )


@dataclass(frozen=True)
class Many:
    """Workers in one process, and their scheduler."""

    count: int
    place: Cluster
    scheduler: psutil.Process
    workers: psutil.Process

    def spent(self) -> Spent:
        """Up to now."""
        times = (_cpu_s(self.scheduler), _cpu_s(self.workers), time.process_time())
        lo = psutil.net_io_counters(pernic=True)["lo"].bytes_sent
        return Spent(*times, time.monotonic(), lo)

    def at_rest(self, seconds: float) -> Spent:
        """While nobody asks for anything: heartbeats."""
        before = self.spent()
        time.sleep(seconds)
        return self.spent() - before


@contextmanager
def many_workers(folder: Path, count: int) -> Iterator[Many]:
    with cluster(folder, workers=0) as made:
        with (folder / "workers.log").open("wb") as log:
            process = subprocess.Popen(
                [sys.executable, "-m", __name__, made.address, str(count), str(folder)],
                stdout=log,
                stderr=log,
                env=made.environment,
            )
        try:
            ready = folder / "ready"
            waited(lambda: ready.exists() or process.poll() is not None, START_S)
            assert ready.exists(), (folder / "workers.log").read_text()
            with Cluster(made.address, connect_s=60.0, alone_s=START_S) as place:
                scheduler = psutil.Process(made.scheduler.pid)
                yield Many(count, place, scheduler, psutil.Process(process.pid))
        finally:
            process.kill()
            process.wait()


def _cpu_s(process: psutil.Process) -> float:
    times = process.cpu_times()
    return float(times.user + times.system)


async def _work(address: str, count: int, folder: Path) -> None:
    from distributed import Worker

    workers = [
        Worker(
            address,
            nthreads=1,
            host="127.0.0.1",
            memory_limit=0,
            dashboard=False,
            local_directory=str(folder),
        )
        for _ in range(count)
    ]
    for start in range(0, count, 50):  # all at once, some would wait too long
        await asyncio.gather(*workers[start : start + 50])
    (folder / "ready").touch()
    await asyncio.gather(*(worker.finished() for worker in workers))


def main() -> None:
    import dask

    address, count, folder = sys.argv[1:]
    with dask.config.set(SWITCHED_OFF):
        asyncio.run(_work(address, int(count), Path(folder)))


if __name__ == "__main__":
    main()
