"""Workers of a Dask cluster, started by somebody else. Everything said to its user names the
cure."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import suppress
from importlib.metadata import PackageNotFoundError, version
from typing import Any

from montecarlo.engine.workers.dask_client import Round, asked, closed, connected
from montecarlo.engine.workers.pool import TOLD_MAX
from montecarlo.engine.workers.sending import STALLED_S
from montecarlo.engine.workers.software import PRODUCT, Software, software, told_difference
from montecarlo.engine.workers.ticket import Broken, Reply, Ticket
from montecarlo.errors import RunStopped

CONNECT_S, ALONE_S, LOOK_EVERY_S, LEAVE_S = 10.0, 60.0, 0.1, 1.0
AT_ONCE = 256  # workers that are asked: each takes a connection, of which Dask holds 512
START = (
    "start some with: PYTHONSAFEPATH=1 dask worker ADDRESS --nworkers N --nthreads 1 "
    f"(with {PRODUCT} installed)"
)


class Cluster:
    """A connection for one run; to be used in a `with` block.

    Parameters
    ----------
    address : str
        tcp://HOST:PORT or tls://HOST:PORT of the scheduler.
    connect_s : float
        How long the scheduler may take to be reached, and over any question (s).
    alone_s : float
        How long a run goes on without its answer or without workers, and how long these may take
        to load the program (s).
    stalled_s : float
        How long no chunk may be answered (s).

    Raises
    ------
    StudyError
        If the cluster cannot serve the run.
    """

    def __init__(
        self,
        address: str,
        *,
        connect_s: float = CONNECT_S,
        alone_s: float = ALONE_S,
        stalled_s: float = STALLED_S,
    ) -> None:
        self.address, self.connect_s = address, connect_s
        self.alone_s, self.stalled_s = alone_s, stalled_s
        self.software: Software | None = software()
        self._stuck_on: list[str] = []
        self._client = connected(address, connect_s)
        try:
            self._fit()
        except BaseException:
            self.close()
            raise

    def __enter__(self) -> Cluster:
        return self

    def __exit__(self, *error: object) -> None:
        self.close()

    def close(self) -> None:
        closed(self._client)

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
        """
        round_ = Round(self._client, self.connect_s, self.alone_s, self.stalled_s)
        killed: Broken | None = None
        try:
            for answer in round_.answers(tickets):
                if isinstance(answer.error, Broken):
                    killed = answer.error
                else:
                    yield answer
        finally:
            self._stuck_on = round_.stuck_on
        if killed is not None:
            raise killed

    def mend(self) -> None:
        """Raises RunStopped where the cluster is gone or a worker has other software."""
        if self._client.status != "running":
            raise RunStopped(
                f"--cluster {self.address}: the scheduler cannot be reached any more; start it and"
                " its workers again"
            )
        if self._stuck_on:  # a chunk that never ends would hold its worker for ever
            with suppress(Exception):
                asked(
                    self.alone_s + self.connect_s,
                    self._client,
                    self._client.restart_workers,
                    self._stuck_on,
                    timeout=self.alone_s,
                    raise_for_error=False,
                )
            self._stuck_on = []
        self._fit()

    def _fit(self) -> None:
        """Workers are there, all with the software of this machine. Raises RunStopped."""
        end = time.monotonic() + self.connect_s
        try:
            while not self._workers():
                if time.monotonic() > end:
                    raise RunStopped(f"--cluster {self.address}: has no workers; {START}")
                time.sleep(LOOK_EVERY_S)
            self._same_software()
        except (OSError, TimeoutError) as error:
            raise RunStopped(
                f"--cluster {self.address}: does not answer ({error}); look whether its scheduler "
                "runs"
            ) from None

    def _workers(self) -> list[str]:
        return list(asked(self.connect_s, self._client, self._client.nthreads))

    def _same_software(self) -> None:
        mine = dict(software())
        for worker, found in self._each(version, PRODUCT).items():
            if isinstance(found, PackageNotFoundError):
                raise RunStopped(
                    f"--cluster {self.address}: worker {worker} has no {PRODUCT}; install the same "
                    "version there and start the worker from that environment"
                )
            if isinstance(found, Exception):
                raise RunStopped(
                    f"--cluster {self.address}: worker {worker} does not answer ({found}); start it"
                    " again"
                )
            if found != mine[PRODUCT]:
                self._differs(worker, f"has {PRODUCT} {found} where {mine[PRODUCT]} is wanted")
        for worker, found in self._each(software).items():
            if isinstance(found, Exception):
                self._differs(worker, f"cannot load {PRODUCT} ({type(found).__name__}: {found})")
            if wrong := told_difference(dict(found), mine):
                self._differs(worker, wrong)

    def _each(self, question: Callable[..., Any], *arguments: Any) -> dict[str, Any]:
        """What each worker answers, or the error that it raised; without those that have left
        meanwhile. Raises RunStopped with the names of those that do not answer: one that is frozen
        would hold up an answer for all."""

        async def one(worker: str, room: asyncio.Semaphore) -> Any:
            try:
                async with room:
                    found = await asyncio.wait_for(
                        self._client.run(question, *arguments, workers=[worker], on_error="return"),
                        self.alone_s,
                    )
                return found[worker]
            except TimeoutError:
                return None

        async def every(workers: list[str]) -> list[Any]:
            room = asyncio.Semaphore(AT_ONCE)
            return await asyncio.gather(*(one(worker, room) for worker in workers))

        workers = self._workers()
        turns = max(1, -(-len(workers) // AT_ONCE))
        within_s = turns * self.alone_s + self.connect_s
        answers = asked(within_s, self._client, every, workers)
        if any(isinstance(answer, OSError) for answer in answers):
            time.sleep(LEAVE_S)  # until the scheduler knows too that it has left
        there = set(self._workers())
        found = {
            worker: answer
            for worker, answer in zip(workers, answers, strict=True)
            if worker in there
        }
        if silent := [worker for worker, answer in found.items() if answer is None]:
            more = f" and {len(silent) - TOLD_MAX} more" if len(silent) > TOLD_MAX else ""
            raise RunStopped(
                f"--cluster {self.address}: no answer in {self.alone_s:g} s from worker "
                f"{', '.join(silent[:TOLD_MAX])}{more}; end what hangs there and start it again"
            )
        return found

    def _differs(self, worker: str, how: str) -> None:
        raise RunStopped(
            f"--cluster {self.address}: worker {worker} {how}, so its numbers could differ; install"
            " the same versions there and start the worker again"
        )
