"""joblib's Dask backend, which tells of what goes wrong on the cluster.

joblib counts on a callback after every task, failed or not. Its own backend leaves it out where the
task itself was lost (a worker that died four times over it, a function that cannot be loaded there,
a scheduler that went), and joblib then waits for ever; nor does it notice that no worker is left,
or that none answers. A process that is frozen, or whose machine is, keeps its connections: only a
limit to every wait tells."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Awaitable, Callable
from contextlib import suppress
from typing import Any

from joblib._dask import DaskDistributedBackend

from montecarlo.engine.workers.processes import ENDED
from montecarlo.engine.workers.ticket import Answer, Broken

__all__ = ["ClusterLost", "TellingBackend", "asked", "told"]

LOOK_EVERY_S = 1.0
AHEAD = 2  # chunks for each core, so that none waits for the next
NAMELESS = -1
UNFETCHED_S = 30.0  # that answers may lie ready while none comes


def told(result: Any) -> Any:
    """What joblib shall hear: a list of answers, or an error, which ends the round. A result may
    come from a worker that has died since: the state of its future, which says "lost" then, tells
    nothing of it.

    A chunk that died with its workers is an answer too, of a chunk that is not named: the others go
    on."""
    failed = isinstance(result, tuple) and len(result) == 3 and isinstance(result[1], BaseException)
    if failed and type(result[1]).__name__ == "KilledWorker":
        return [Answer(NAMELESS, error=Broken(ENDED))]
    return result[1] if failed else result


def asked(
    within_s: float,
    client: Any,
    call: Callable[..., Awaitable[Any]],
    *arguments: Any,
    **options: Any,
) -> Any:
    """What a client's call returns. TimeoutError where that takes longer."""
    return client.sync(call, *arguments, callback_timeout=within_s, **options)


class ClusterLost(Exception):
    """No workers, no scheduler, or no answer."""


class TellingBackend(DaskDistributedBackend):  # type: ignore[misc]
    """answer_s: how long the scheduler may take over a question; alone_s: how long it may answer
    none, or have no worker; stalled_s: how long no chunk may be answered. `stuck_on`: workers that
    were busy when it gave up waiting."""

    def __init__(self, *, client: Any, answer_s: float, alone_s: float, stalled_s: float) -> None:
        super().__init__(client=client)
        self.answer_s, self.alone_s, self.stalled_s = answer_s, alone_s, stalled_s
        self.stuck_on: list[str] = []

    def effective_n_jobs(self, n_jobs: int) -> int:
        """At least 2: joblib runs the tasks of a single worker in the calling process."""
        return max(2, int(sum(asked(self.answer_s, self.client, self.client.nthreads).values())))

    def start_call(self) -> None:
        self._answered = self._ready = time.monotonic()
        super().start_call()
        self.client.loop.add_callback(self._watch)

    async def _collect(self) -> None:
        while self._continue:
            try:
                async for future, result in self.waiting_futures:
                    self._answered = time.monotonic()
                    self._tell(future, told(result))
            except Exception as error:  # or nobody would listen any more
                await self._give_up(f"answers cannot be fetched ({error})")
            await asyncio.sleep(0.01)

    def _tell(self, future: Any, result: Any) -> None:
        waiting, callback = self._results.pop(future, None), self._callbacks.pop(future, None)
        if waiting is not None and callback is not None:
            waiting.set_result(result)
            callback(result)  # joblib raises what is an exception

    async def _watch(self) -> None:
        """Give up where nothing will come any more."""
        heard = manned = time.monotonic()
        while self._continue:
            await asyncio.sleep(LOOK_EVERY_S)
            cores, now = await self._cores(), time.monotonic()
            heard, manned = now if cores is not None else heard, now if cores else manned
            if self.client.status != "running":
                await self._give_up("the scheduler cannot be reached any more")
            elif now - heard > self.alone_s:
                await self._give_up(f"the scheduler has not answered for {self.alone_s:g} s")
            elif cores == 0 and now - manned > self.alone_s:
                await self._give_up(f"the cluster has had no workers for {self.alone_s:g} s")
            elif cores:
                self._send_more(AHEAD * cores - len(self._callbacks))
                if self._unfetched_s(now) > UNFETCHED_S:
                    await self._give_up("answers that are ready cannot be fetched")
                if now - self._answered > self.stalled_s and self._callbacks:
                    self.stuck_on = await self._busy()
                    await self._give_up(f"no answer in {self.stalled_s:g} s")

    def _send_more(self, count: int) -> None:
        """To workers that joined: joblib sends as many as there were cores for at first, then one
        for each answer. A large stock sent at first would serve them too, but all that is on its
        way is suspect when the cluster is lost, and then solved one at a time."""
        for _ in range(count):
            with self.parallel._lock:
                if self.parallel._original_iterator is not None:  # there are some left
                    self.parallel.dispatch_next()

    def _unfetched_s(self, now: float) -> float:
        """How long answers have been seen to lie ready without one coming. What was lost with its
        worker is solved again, so it does not lie ready."""
        if self._answered >= self._ready or all(
            each.status in ("pending", "lost") for each in self._callbacks
        ):
            self._ready = now
        return now - self._ready

    async def _cores(self) -> int | None:
        """None: no answer. Where the connection has ended, the client's status follows."""
        try:
            return int(
                sum((await asyncio.wait_for(self.client.nthreads(), self.answer_s)).values())
            )
        except Exception:
            return None

    async def _busy(self) -> list[str]:
        try:
            processing = await asyncio.wait_for(self.client.processing(), self.answer_s)
        except Exception:  # then none is started again
            return []
        return [worker for worker, tasks in processing.items() if tasks]

    async def _give_up(self, why: str) -> None:
        left = list(self._callbacks)
        with suppress(Exception):  # or the scheduler hands them to the next worker
            await asyncio.wait_for(self.client.cancel(left, force=True), self.answer_s)
        for future in left:
            self._tell(future, ClusterLost(why))
        self._answered = time.monotonic()

    def abort_everything(self, ensure_ready: bool = True) -> None:
        """The run wants none of the answers any more; the cluster shall not work on them."""
        left = list(self._callbacks)
        super().abort_everything(ensure_ready)
        if left and self.client.status == "running":
            with suppress(Exception):
                asked(self.answer_s, self.client, self.client.cancel, left, force=True)
