"""Tickets on their way, and their answers in the order in which they come."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from concurrent.futures import Future

import pytest

from montecarlo.engine.workers import sending
from montecarlo.engine.workers.sending import Flying, answers_of
from montecarlo.engine.workers.ticket import Broken, Reply, Ticket


def tickets(count: int) -> list[Ticket]:
    return [Ticket(index, len, "") for index in range(count)]  # type: ignore[arg-type]


class Held:
    """Futures that are answered by hand."""

    def __init__(self) -> None:
        self.sent: list[Future[Reply]] = []

    def send(self, ticket: Ticket) -> Future[Reply]:
        self.sent.append(Future())
        return self.sent[-1]

    def round(
        self, count: int, room: int, look: Callable[[Flying, float], None]
    ) -> Iterator[Reply]:
        return answers_of(tickets(count), send=self.send, room=lambda: room, look=look)


def nothing(flying: Flying, waited_s: float) -> None: ...


def test_no_more_are_on_their_way_than_there_is_room_for() -> None:
    held, found = Held(), list[int]()
    taken: list[int] = []

    def send(ticket: Ticket) -> Future[Reply]:
        taken.append(ticket.index)
        assert len(taken) - len(found) <= 3
        sent = held.send(ticket)
        sent.set_result(Reply(ticket.index))
        return sent

    for reply in answers_of(tickets(20), send=send, room=lambda: 3, look=nothing):
        found.append(reply.index)
    assert found == taken == list(range(20))


def test_answers_that_are_there_come_before_an_error_that_is() -> None:
    held = Held()

    def send(ticket: Ticket) -> Future[Reply]:
        sent = held.send(ticket)
        if ticket.index == 0:
            sent.set_exception(Broken("ended"))
        else:
            sent.set_result(Reply(ticket.index))
        return sent

    answers = answers_of(tickets(3), send=send, room=lambda: 3, look=nothing)
    assert [next(answers).index, next(answers).index] == [1, 2]
    with pytest.raises(Broken, match="ended"):
        next(answers)


def test_one_who_waits_looks_at_what_is_on_its_way(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sending, "LOOK_EVERY_S", 0.01)
    held = Held()
    looks: list[int] = []

    def look(flying: Flying, waited_s: float) -> None:
        looks.append(len(flying))
        if len(looks) == 2:
            held.sent[1].set_result(Reply(1))
        if len(looks) == 4:
            raise Broken("nothing comes")

    answers = held.round(2, 2, look)
    assert next(answers).index == 1
    with pytest.raises(Broken, match="nothing comes"):
        next(answers)
    assert looks == [2, 2, 1, 1]
