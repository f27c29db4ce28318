"""Processes of this machine, by joblib's own backend."""

from __future__ import annotations

import errno
import multiprocessing
import os
import threading
import time
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress

from montecarlo.engine.workers.software import Software
from montecarlo.engine.workers.ticket import Answer, Broken, Ticket, solve
from montecarlo.errors import RunStopped

__all__ = ["ENDED", "STALLED_S", "Processes"]

STALLED_S = 1800.0  # without an answer from any worker
LOOK_EVERY_S = 1.0
THREADS_A_WORKER, THREADS_BESIDE = 2, 4  # that joblib and the workers start
NO_THREAD = "can't start new thread"  # in Python's own words
NO_PROCESS = (errno.EAGAIN, errno.ENOMEM)
SAFE_PATH = "PYTHONSAFEPATH"  # a variable of Python's own
ENDED = "its worker process ended (a crash, or too little memory)"


class Processes:
    """`count` processes, two or more."""

    software: Software | None = None

    def __init__(self, count: int, stalled_s: float = STALLED_S) -> None:
        self.count, self.stalled_s, self._begun = count, stalled_s, False

    def answers(self, tickets: Iterable[Ticket]) -> Iterator[Answer]:
        """As `Place` has it. Raises RunStopped where the system allows no more processes or
        threads."""
        from joblib import Parallel, delayed, parallel_config
        from joblib.externals.loky.process_executor import BrokenProcessPool

        if not self._begun:  # later they are there already
            _check_room(THREADS_A_WORKER * self.count + THREADS_BESIDE)
        self._begun = True
        try:
            with parallel_config(
                backend="loky",
                inner_max_num_threads=1,
                initializer=_end_with,
                initargs=(os.getpid(),),
            ):
                parallel = Parallel(
                    n_jobs=self.count,
                    return_as="generator_unordered",
                    batch_size=1,
                    pre_dispatch="2*n_jobs",
                    timeout=self.stalled_s,
                )
            with _no_code_of_this_folder(), _no_thread_lost():
                yield from parallel(delayed(solve)(ticket) for ticket in tickets)
        except BrokenProcessPool as broken:
            if NO_THREAD in str(broken):
                raise _no_room(broken) from None
            raise Broken(ENDED) from None
        except multiprocessing.TimeoutError:
            raise Broken(f"no answer in {self.stalled_s:g} s") from None
        except OSError as error:  # a chunk's own comes as an answer
            if error.errno in NO_PROCESS:
                raise _no_room(error) from None
            raise Broken(ENDED) from None
        except RuntimeError as error:
            if "thread" not in str(error):
                raise
            raise _no_room(error) from None

    def mend(self) -> None:
        """joblib ends broken workers and starts others at the next call."""
        self._begun = False


# --- limits of the system -----------------------------------------------------


def _check_room(count: int) -> None:
    """So many threads can be started at once, each of which counts like a process."""
    done = threading.Event()
    started: list[threading.Thread] = []
    try:
        for _ in range(count):
            thread = threading.Thread(target=done.wait, daemon=True)
            thread.start()
            started.append(thread)
    except RuntimeError as error:
        raise _no_room(error) from None
    finally:
        done.set()
        for thread in started:
            thread.join()


def _no_room(error: BaseException) -> RunStopped:
    reason = error.strerror if isinstance(error, OSError) else NO_THREAD
    return RunStopped(
        f"workers: the system allows no more processes or threads here ({reason}); raise "
        "that limit (ulimit -u), take fewer --workers, or --workers 1, which starts none"
    )


@contextmanager
def _no_thread_lost() -> Iterator[None]:
    """joblib's thread that hands chunks to workers may end with an error; the run would wait for
    it."""
    from joblib.externals.loky.process_executor import BrokenProcessPool

    def told(lost: threading.ExceptHookArgs) -> None:
        if end := getattr(lost.thread, "terminate_broken", None):
            end(BrokenProcessPool(str(lost.exc_value)))
        else:
            before(lost)

    before, threading.excepthook = threading.excepthook, told
    try:
        yield
    finally:
        threading.excepthook = before


# --- worker processes ---------------------------------------------------------


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
    """In a worker process: end soon after the run has, even when that was killed. Without this it
    finishes its chunk and then waits for work, for minutes, with all its memory."""

    def watch() -> None:
        while os.getppid() == run:
            time.sleep(LOOK_EVERY_S)
        os._exit(1)

    if os.name == "posix":  # elsewhere the number of a parent outlives it
        with suppress(RuntimeError):  # too many threads: it works all the same
            threading.Thread(target=watch, daemon=True).start()
