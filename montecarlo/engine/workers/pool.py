"""Results of tasks in their order, whatever becomes of the workers.

Chunks are sent in rounds. When workers die or hang, the chunks that were on their way are solved
one at a time; one that ends its worker again is set aside and named when all others are done (so
one bad chunk costs no other)."""

from __future__ import annotations

import os
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from typing import Any, Protocol, TypeVar

from montecarlo.engine.workers.finished import Finished
from montecarlo.engine.workers.packing import unpack
from montecarlo.engine.workers.software import Software
from montecarlo.engine.workers.ticket import Beside, Broken, Labelled, Reply, Ticket, Value, solve
from montecarlo.errors import RunStopped

Task = TypeVar("Task", bound=Labelled)
Outcome = TypeVar("Outcome")

BREAKS_MAX = 3  # one after another, with no chunk to blame
TOLD_MAX = 5  # chunks or workers named in one message


class Site(Protocol):
    """Where tickets are solved."""

    software: Software | None  # what its workers must have, if they are elsewhere

    def answers(self, tickets: Iterable[Ticket]) -> Iterator[Reply]:
        """Answers as they come, in any order.

        Parameters
        ----------
        tickets : iterable of Ticket
            Taken as they are sent.

        Yields
        ------
        Reply

        Raises
        ------
        Broken
            When workers are lost.
        """
        ...

    def mend(self) -> None:
        """After Broken: workers as new.

        Raises
        ------
        RunStopped
            Where there are none to be had.
        """
        ...


class Here:
    """A plain loop in this process."""

    software: Software | None = None

    def answers(self, tickets: Iterable[Ticket]) -> Iterator[Reply]:
        """As `Site` has it.

        Parameters
        ----------
        tickets : iterable of Ticket

        Yields
        ------
        Reply
        """
        return map(solve, tickets)

    def mend(self) -> None: ...


class Workers:
    """What solves chunks: a plain loop in this process, several processes, or another place.

    Parameters
    ----------
    count : int, optional
        Workers; else one for each core that this process may use.
    site : Site, optional
        Where chunks are solved, instead.
    finished : Finished, optional
        Where finished chunks of the run are kept, and found again.
    """

    def __init__(
        self,
        count: int | None = None,
        *,
        site: Site | None = None,
        finished: Finished | None = None,
    ) -> None:
        self.count = count if count is not None else cores()
        self.finished, self._site, self._calls = finished, site or self._own(), 0

    def _own(self) -> Site:
        if self.count == 1:
            return Here()
        from montecarlo.engine.workers.processes import Processes

        return Processes(self.count)

    @property
    def here(self) -> bool:
        """Whether chunks are solved in this process."""
        return isinstance(self._site, Here)

    @contextmanager
    def beside(self, function: Callable[..., Value], *arguments: object) -> Iterator[Beside[Value]]:
        """One function in a process of this machine, where there is one, while this one goes on;
        at the end of the block it has ended.

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
        from montecarlo.engine.workers.processes import Processes

        if isinstance(self._site, Processes):
            with self._site.beside(function, *arguments) as found:
                yield found
        else:
            found = Beside[Value]()
            found.value = function(*arguments)
            yield found

    def mapped(
        self, function: Callable[[Task], Outcome], tasks: Iterable[Task]
    ) -> Iterator[Outcome]:
        """function(task) in the order of the tasks.

        Everything computes with one thread of linear algebra, so that workers do not share cores;
        and since the order of a sum hangs on the number of threads, so that one worker gives the
        bits of two.

        Parameters
        ----------
        function : callable
            Of a module, so that a worker can import it.
        tasks : iterable

        Yields
        ------
        object
            What the function returns.

        Raises
        ------
        RunStopped
            For chunks that cannot be had, when all others are.
        """
        from threadpoolctl import threadpool_limits

        with threadpool_limits(1, user_api="blas"):
            todo = list(tasks)
            yield from self._in_order(function, todo)

    def _in_order(
        self, function: Callable[[Task], Outcome], tasks: Sequence[Task]
    ) -> Iterator[Outcome]:
        """What is finished from the disk; the others are put there as they come."""
        kept, software = self.finished, self._site.software
        self._calls += 1
        call = self._calls
        there = set[int]()
        if kept is not None:
            there = kept.among(call, [task.label for task in tasks])
        early: dict[int, Any] = {}  # in memory
        answers = self._answers(
            [
                Ticket(index, function, task, kept is not None, software)
                for index, task in enumerate(tasks)
                if index not in there
            ]
        )
        for index in range(len(tasks)):
            while index not in early and index not in there:
                answer = next(answers)
                if kept is not None:
                    kept.put(call, answer.index, answer.value)
                    there.add(answer.index)
                if kept is None or answer.index == index:
                    early[answer.index] = answer.value
            if index == len(tasks) - 1:
                deque(answers, maxlen=0)  # to its end: what is left half way ends its processes
            if kept is None:
                yield early.pop(index)
            else:
                yield unpack(early.pop(index))[1] if index in early else kept.take(call, index)

    def _answers(self, tickets: Sequence[Ticket]) -> Iterator[Reply]:
        """An answer to each, in any order. Raises RunStopped for those that cannot be had, when all
        others are."""
        left = {ticket.index: ticket for ticket in tickets}
        lost: list[tuple[Ticket, Broken]] = []
        breaks = 0
        while left:
            sent: list[int] = []
            try:
                for answer in self._site.answers(_noted(list(left.values()), sent)):
                    breaks = 0
                    del left[answer.index]
                    yield _sound(answer)
            except Broken as broken:
                self._site.mend()
                suspects = [left.pop(index) for index in sent if index in left]
                breaks += 1
                if breaks > BREAKS_MAX:
                    raise RunStopped(
                        f"workers: ended {breaks} times without finishing anything ({broken}); try "
                        "fewer of them"
                    ) from None
                for ticket in suspects:
                    try:
                        yield from map(_sound, self._site.answers([ticket]))
                        breaks = 0
                    except Broken as again:
                        self._site.mend()
                        lost.append((ticket, again))
        if lost:
            raise RunStopped(*_lost_chunks(lost))


def _noted(tickets: Iterable[Ticket], sent: list[int]) -> Iterator[Ticket]:
    for ticket in tickets:
        sent.append(ticket.index)
        yield ticket


def _sound(answer: Reply) -> Reply:
    if answer.error is not None:
        raise answer.error
    return answer


def _lost_chunks(lost: Sequence[tuple[Ticket, Broken]]) -> Iterator[str]:
    for ticket, broken in lost[:TOLD_MAX]:
        yield (
            f"chunk {ticket.task.label}: {broken}, also when solved alone; all other chunks of"
            " this step are done; provide more memory, take fewer candidates or another machine"
        )
    if len(lost) > TOLD_MAX:
        yield f"chunks: {len(lost) - TOLD_MAX} more ended in the same way"


def cores() -> int:
    """Cores that this process may use.

    Returns
    -------
    int
    """
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def workers_of(asked: int | Workers | None) -> Workers:
    """Workers as asked, else one for each core that this process may use.

    Parameters
    ----------
    asked : int or Workers or None

    Returns
    -------
    Workers
    """
    return asked if isinstance(asked, Workers) else Workers(asked)
