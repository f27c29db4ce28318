"""Processes of this machine, by the executor of loky that joblib brings."""

from __future__ import annotations

import importlib
import multiprocessing
import os
import threading
import time
import warnings
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager, suppress
from functools import partial
from typing import Any

from montecarlo.engine.workers.sending import AHEAD, ENDED, STALLED_S, Flying, answers_of
from montecarlo.engine.workers.software import Software
from montecarlo.engine.workers.ticket import Beside, Broken, Reply, Ticket, Value, solve
from montecarlo.errors import RunStopped, no_room

IDLE_S = 300.0  # after which a process without work ends
LOOK_EVERY_S = 1.0
# What loky says where a process that has grown ends between two chunks. Another takes its place.
GROWN = "A worker stopped while some jobs were given to the executor"
THREADS_A_WORKER, THREADS_BESIDE = 2, 4  # that loky and the workers start
SAFE_PATH = "PYTHONSAFEPATH"  # a variable of Python's own
POOLS = ("OMP", "OPENBLAS", "MKL", "BLIS", "NUMBA", "NUMEXPR")
ONE_THREAD = {f"{name}_NUM_THREADS": "1" for name in POOLS} | {"VECLIB_MAXIMUM_THREADS": "1"}


class Processes:
    """Processes of this machine.

    Parameters
    ----------
    count : int
        How many, two or more.
    stalled_s : float
        How long no chunk may be answered (s).
    """

    software: Software | None = None

    def __init__(self, count: int, stalled_s: float = STALLED_S) -> None:
        self.count, self.stalled_s, self._begun = count, stalled_s, False

    def answers(self, tickets: Iterable[Ticket]) -> Iterator[Reply]:
        """As `Site` has it.

        Parameters
        ----------
        tickets : iterable of Ticket

        Yields
        ------
        Reply

        Raises
        ------
        Broken
            Where a process ended or hangs.
        RunStopped
            Where the system allows no more processes or threads.
        """
        if not self._begun:  # later they are there already
            _check_room(self.count)
        self._begun = True
        try:
            with _no_code_of_this_folder(), _ended_threads() as ended:
                yield from self._answers(tickets, ended)
        except BrokenProcessPool as broken:
            raise Broken(ENDED) from broken
        except (OSError, RuntimeError) as error:  # a chunk's own comes as an answer
            if no_room(error):
                raise _no_room(error) from None
            if not isinstance(error, OSError):
                raise
            raise Broken(ENDED) from None

    def _answers(self, tickets: Iterable[Ticket], ended: list[BaseException]) -> Iterator[Reply]:
        others = multiprocessing.active_children()
        executor = _executor(self.count)

        def look(flying: Flying, waited_s: float) -> None:
            if ended:
                raise _no_room(ended[0]) if no_room(ended[0]) else Broken(ENDED)
            if waited_s > self.stalled_s:
                raise Broken(f"no answer in {self.stalled_s:g} s")

        try:
            yield from answers_of(
                tickets,
                send=partial(executor.submit, solve),
                room=lambda: AHEAD * self.count,
                look=look,
            )
        except BaseException as error:
            lost = bool(ended)
            ended.append(error)
            executor.shutdown(kill_workers=True)
            if lost:  # and the thread that kills them may be gone
                for child in {*multiprocessing.active_children()} - {*others}:
                    child.terminate()
            raise

    @contextmanager
    def beside(self, function: Callable[..., Value], *arguments: object) -> Iterator[Beside[Value]]:
        """One function in a process while this one goes on; at the end of the block it has ended.
        If its process is lost, it is called here.

        Parameters
        ----------
        function : callable
            Of a module.
        *arguments : object

        Yields
        ------
        Beside
            Has what the function returns once the block has ended.

        Raises
        ------
        Exception
            What the function raises.
        """
        executor, future, found = None, None, Beside[Value]()
        with suppress(OSError, RuntimeError), _no_code_of_this_folder():
            executor = _executor(self.count)
            future = executor.submit(function, *arguments)
        try:
            yield found
            try:
                found.value = function(*arguments) if future is None else future.result()
            except RuntimeError:  # lost with its process, or its own, which comes again
                found.value = function(*arguments)
        except BaseException as error:
            _end(executor, error)
            raise

    def mend(self) -> None:
        """After Broken: others are started at the next call."""
        self._begun = False


@contextmanager
def started_early(count: int, modules: Sequence[str]) -> Iterator[None]:
    """Processes that import what they need while this one still reads and checks. `Processes` of
    that number takes them; what goes wrong here goes wrong there again, and is told there.

    Parameters
    ----------
    count : int
        How many; nothing is started for one.
    modules : sequence of str
        What they import.

    Yields
    ------
    None
        If this is left by an error they are ended.
    """
    executor = None
    if count > 1:
        with suppress(OSError, RuntimeError, RunStopped), _no_code_of_this_folder():
            _check_room(count)
            executor = _executor(count)
            for _ in range(count):
                executor.submit(_imported, modules)
    try:
        yield
    except BaseException as error:
        _end(executor, error)
        raise


def _end(executor: Any, error: BaseException) -> None:
    """End processes because of an error; what their threads say of it is not reported."""
    if executor is not None:
        with _ended_threads() as ended:
            ended.append(error)
            executor.shutdown(kill_workers=True)


def _imported(modules: Sequence[str]) -> None:
    for name in modules:
        importlib.import_module(name)


def _executor(count: int) -> Any:
    from joblib.externals.loky import get_reusable_executor

    warnings.filterwarnings("ignore", GROWN, UserWarning)
    return get_reusable_executor(
        max_workers=count,
        timeout=IDLE_S,
        initializer=_end_with,
        initargs=(os.getpid(),),
        env=ONE_THREAD,
    )


# --- limits of the system -----------------------------------------------------


def has_room(count: int) -> bool:
    """Whether the system allows so many workers, and some threads beside them.

    Parameters
    ----------
    count : int

    Returns
    -------
    bool
    """
    try:
        _check_room(count)
    except RunStopped:
        return False
    return True


def _check_room(count: int) -> None:
    """The threads of so many workers, and some beside them, can be started at once; each counts
    like a process."""
    done = threading.Event()
    started: list[threading.Thread] = []
    try:
        for _ in range(THREADS_A_WORKER * count + THREADS_BESIDE):
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
    return RunStopped(
        f"workers: the system allows no more processes or threads here ({no_room(error)}); raise "
        "that limit (ulimit -u), take fewer --workers, or --workers 1, which starts none"
    )


@contextmanager
def _ended_threads() -> Iterator[list[BaseException]]:
    """Errors of threads that end while this lasts: one may be loky's, which hands chunks to
    workers, and the run would wait for it. After the first they are not reported any more."""
    ended: list[BaseException] = []

    def reported(lost: threading.ExceptHookArgs) -> None:
        error = lost.exc_value or SystemError("a thread ended")
        if not ended and not no_room(error):  # which is reported in one line
            before(lost)
        ended.append(error)

    before, threading.excepthook = threading.excepthook, reported
    try:
        yield ended
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
