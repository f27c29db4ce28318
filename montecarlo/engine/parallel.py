"""Chunks over processes. The only place that knows joblib; a chunk never knows where it runs."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Iterator
from typing import TypeVar

Task = TypeVar("Task")
Outcome = TypeVar("Outcome")


def worker_count(asked: int | None) -> int:
    """As asked, else one for each core that this process may use."""
    return asked if asked is not None else len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else (
        os.cpu_count() or 1)


def mapped(function: Callable[[Task], Outcome], tasks: Iterable[Task], workers: int) -> Iterator[Outcome]:
    """function(task) in the order of the tasks, however many workers; one worker is a plain loop in this process.

    Everything computes with one thread of linear algebra, so that workers do not share cores; and since the order of a
    sum hangs on the number of threads, so that one worker gives the bits of two."""
    from threadpoolctl import threadpool_limits

    with threadpool_limits(1, user_api="blas"):
        if workers == 1:
            yield from map(function, tasks)
            return
        from joblib import Parallel, delayed, parallel_config

        with parallel_config(backend="loky", inner_max_num_threads=1):
            parallel = Parallel(n_jobs=workers, return_as="generator", batch_size=1, pre_dispatch="2*n_jobs")
            yield from parallel(delayed(function)(task) for task in tasks)
