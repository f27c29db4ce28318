"""What a cluster is asked before a run, and how it is given tickets."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from montecarlo.engine.workers import cluster
from montecarlo.engine.workers.cluster import Cluster
from montecarlo.engine.workers.dask_client import Round
from montecarlo.engine.workers.ticket import Ticket
from tests.made.chunks import Task, expected, solved


class Client:
    """Of five workers."""

    def __init__(self) -> None:
        self.at_once = self.most = 0
        self.limits_s: list[float] = []

    def sync(self, call: Callable[..., Any], *arguments: Any, callback_timeout: float) -> Any:
        self.limits_s.append(callback_timeout)
        return asyncio.run(call(*arguments))

    async def nthreads(self) -> dict[str, int]:
        return dict.fromkeys("abcde", 1)

    async def run(
        self, question: Callable[[], Any], *, workers: list[str], on_error: str
    ) -> dict[str, Any]:
        self.at_once += 1
        self.most = max(self.most, self.at_once)
        await asyncio.sleep(0.01)
        self.at_once -= 1
        return {workers[0]: question()}


@pytest.mark.parametrize(("at_once", "most", "turns"), [(2, 2, 3), (256, 5, 1)])
def test_workers_are_asked_as_many_at_once_as_there_are_connections(
    at_once: int, most: int, turns: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(cluster, "AT_ONCE", at_once)
    place, client = object.__new__(Cluster), Client()
    place.alone_s, place.connect_s, place._client = 60.0, 10.0, client
    assert place._each(lambda: 7) == dict.fromkeys("abcde", 7)
    assert client.most == most
    assert max(client.limits_s) == turns * 60 + 10


def test_a_scheduler_is_given_closed_tickets() -> None:
    class Open:
        """What it could look into."""

        loop = SimpleNamespace(add_callback=lambda *given: None)

        def submit(self, function: Callable[..., Any], given: object, *, pure: bool) -> object:
            self.given, self.reply, self.pure = given, function(given), pure
            return object()

    client = Open()
    Round(client, 1.0, 1.0, 1.0)._send(Ticket(5, solved, Task(7)))
    assert type(client.given) is bytes
    assert not client.pure
    assert client.reply.index == 5
    assert np.array_equal(client.reply.value, expected(Task(7)))
