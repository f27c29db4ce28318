"""Processes of this machine, by joblib's own backend."""

from __future__ import annotations

import multiprocessing
import os
import threading
import time
from collections.abc import Iterable, Iterator
from contextlib import contextmanager

from montecarlo.engine.workers.software import Software
from montecarlo.engine.workers.ticket import Answer, Broken, Ticket, solve

__all__ = ["ENDED", "STALLED_S", "Processes"]

STALLED_S = 1800.0                                         # without an answer from any worker
LOOK_EVERY_S = 1.0
SAFE_PATH = "PYTHONSAFEPATH"                               # a variable of Python's own
ENDED = "its worker process ended (a crash, or too little memory)"


class Processes:
    """`count` processes, two or more."""

    software: Software | None = None

    def __init__(self, count: int, stalled_s: float = STALLED_S) -> None:
        self.count, self.stalled_s = count, stalled_s

    def answers(self, tickets: Iterable[Ticket]) -> Iterator[Answer]:
        """As `Place` has it."""
        from joblib import Parallel, delayed, parallel_config
        from joblib.externals.loky.process_executor import BrokenProcessPool

        try:
            with parallel_config(backend="loky", inner_max_num_threads=1, initializer=_end_with,
                                 initargs=(os.getpid(),)):
                parallel = Parallel(n_jobs=self.count, return_as="generator_unordered", batch_size=1,
                                    pre_dispatch="2*n_jobs", timeout=self.stalled_s)
            with _no_code_of_this_folder():
                yield from parallel(delayed(solve)(ticket) for ticket in tickets)
        except BrokenProcessPool:
            raise Broken(ENDED) from None
        except multiprocessing.TimeoutError:
            raise Broken(f"no answer in {self.stalled_s:g} s") from None

    def mend(self) -> None:
        """Nothing to do: joblib ends broken workers and starts others at the next call."""


@contextmanager
def _no_code_of_this_folder() -> Iterator[None]:
    """Python, started with -m or -c as workers are, looks for modules in the current folder first:
    a file joblib.py or random.py beside a study would be run."""
    before = os.environ.get(SAFE_PATH)
    os.environ[SAFE_PATH] = "1"
    try:
        yield
    finally:
        del os.environ[SAFE_PATH]
        if before is not None:
            os.environ[SAFE_PATH] = before


def _end_with(run: int) -> None:
    """In a worker process: end soon after the run has, even when that was killed. Without this it finishes its chunk
    and then waits for work, for minutes, with all its memory."""
    def watch() -> None:
        while os.getppid() == run:
            time.sleep(LOOK_EVERY_S)
        os._exit(1)

    if os.name == "posix":                                 # elsewhere the number of a parent outlives it
        threading.Thread(target=watch, daemon=True).start()
