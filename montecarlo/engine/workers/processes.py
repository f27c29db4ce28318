"""Processes of this machine, by joblib's own backend."""

from __future__ import annotations

import multiprocessing
from collections.abc import Iterable, Iterator

from montecarlo.engine.workers.software import Software
from montecarlo.engine.workers.ticket import Answer, Broken, Ticket, solve

__all__ = ["ENDED", "STALLED_S", "Processes"]

STALLED_S = 1800.0                                         # without an answer from any worker
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
            with parallel_config(backend="loky", inner_max_num_threads=1):
                parallel = Parallel(n_jobs=self.count, return_as="generator_unordered", batch_size=1,
                                    pre_dispatch="2*n_jobs", timeout=self.stalled_s)
            yield from parallel(delayed(solve)(ticket) for ticket in tickets)
        except BrokenProcessPool:
            raise Broken(ENDED) from None
        except multiprocessing.TimeoutError:
            raise Broken(f"no answer in {self.stalled_s:g} s") from None

    def mend(self) -> None:
        """Nothing to do: joblib ends broken workers and starts others at the next call."""
