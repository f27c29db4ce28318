"""Tasks without a model, for tests of what solves them; importable by workers in other
processes."""

from __future__ import annotations

import errno
import os
import signal
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from joblib.externals.loky import process_executor

from montecarlo.quantities import Array


@dataclass(frozen=True)
class Task:
    """acts: what becomes of the process that solves it: "" nothing, "dies", "hangs", "fails",
    "swells"; "grows": it ends after the chunk, as one does that has grown. once: a file that is
    made the first time, after which nothing happens any more."""

    number: int
    acts: str = ""
    once: Path | None = None
    takes_s: float = 0.0

    @property
    def label(self) -> str:
        return f"task {self.number}"


def solved(task: Task) -> Array:
    time.sleep(task.takes_s)
    if task.acts and not (task.once is not None and task.once.exists()):
        if task.once is not None:
            task.once.touch()
        if task.acts == "dies":
            os.kill(os.getpid(), signal.SIGKILL)
        if task.acts == "hangs":
            time.sleep(3600)
        if task.acts == "swells":
            raise MemoryError
        if task.acts == "grows":
            process_executor._MAX_MEMORY_LEAK_SIZE = -(10**12)
            return expected(task)
        raise ArithmeticError(f"number {task.number}")
    return expected(task)


def solved_from_to(task: Task) -> Array:
    begun = time.time()
    time.sleep(task.takes_s)
    return np.array([begun, time.time()])


def expected(task: Task) -> Array:
    return np.random.default_rng(task.number).normal(size=3)


def put(path: Path, text: str, acts: str = "") -> None:
    """Write a file beside a run; `acts` as of a task, in another process than the one named."""
    if acts == "dies" and str(os.getpid()) != text:
        os.kill(os.getpid(), signal.SIGKILL)
    if acts == "fails":
        raise OSError(errno.ENOSPC, "no room")
    if acts == "hangs":
        time.sleep(3600)
    path.write_text(f"{text} {os.getpid()}")
