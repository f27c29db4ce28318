"""Tickets sent to workers a few ahead, and answers as they come."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future
from itertools import islice
from queue import Empty, SimpleQueue

from montecarlo.engine.workers.ticket import Reply, Ticket

AHEAD = 2  # tickets for each worker, so that none waits for the next
STALLED_S = 1800.0  # without an answer from any worker
LOOK_EVERY_S = 1.0
ENDED = "its worker process ended (a crash, or too little memory)"

Flying = set["Future[Reply]"]  # sent and not answered


def answers_of(
    tickets: Iterable[Ticket],
    *,
    send: Callable[[Ticket], Future[Reply]],
    room: Callable[[], int],
    look: Callable[[Flying, float], None],
) -> Iterator[Reply]:
    """Answers in the order in which they come.

    Parameters
    ----------
    tickets : iterable of Ticket
        Taken as they are sent, so what has been taken is on its way.
    send : callable
        Hands one ticket to a worker.
    room : callable
        How many tickets may be on their way, one or more.
    look : callable
        Called every second with what is on its way and how long an answer has been waited for (s).
        Ends the round by an error.

    Yields
    ------
    Reply
        One for each ticket.

    Raises
    ------
    Exception
        What `look` raises, or a future holds, once all answers that came before it are given.
    """
    left = iter(tickets)
    flying: Flying = set()
    come: SimpleQueue[Future[Reply]] = SimpleQueue()  # to wait for any would ask each every time
    waiting = looked = time.monotonic()
    while True:
        for ticket in islice(left, max(0, room() - len(flying))):
            sent = send(ticket)
            flying.add(sent)
            sent.add_done_callback(come.put)
        if not flying:
            return
        done = _those_there(come)
        flying.difference_update(done)
        for each in sorted(done, key=lambda one: one.exception() is not None):
            yield each.result()
            waiting = time.monotonic()  # what is done with an answer is no waiting
        if time.monotonic() - looked >= LOOK_EVERY_S:
            looked = time.monotonic()
            look(flying, looked - waiting)


def _those_there(come: SimpleQueue[Future[Reply]]) -> list[Future[Reply]]:
    """All that have come, or the first that does; none if that takes too long."""
    found = list[Future[Reply]]()
    try:
        found.append(come.get(timeout=LOOK_EVERY_S))
        while True:
            found.append(come.get_nowait())
    except Empty:
        return found
