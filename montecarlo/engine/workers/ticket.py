"""One chunk on its way to a worker, and what comes back. A chunk's own errors come back as data, so
that whatever else goes wrong is the fault of the place where it ran."""

from __future__ import annotations

import traceback
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from typing import Any, Generic, Protocol, TypeVar

from montecarlo.engine.workers.packing import pack
from montecarlo.engine.workers.software import Software, other_software
from montecarlo.errors import RunStopped, StudyError

Value = TypeVar("Value")


class Labelled(Protocol):
    """What a task is called in reports: its stratum, round and number."""

    @property
    def label(self) -> str: ...


class Broken(Exception):
    """Workers ended, hung or could not be reached; some of the chunks that were sent have no
    answer."""


class Beside(Generic[Value]):
    """What a function returned that ran beside something else.

    Attributes
    ----------
    value : object
        There once it has ended.
    """

    value: Value


@dataclass(frozen=True, eq=False)
class Ticket:
    """One task on its way.

    Attributes
    ----------
    index : int
        Its place among the tasks of its call.
    function : callable
    task : Labelled
    packed : bool
        The answer is to be kept, so the worker packs it.
    software : tuple, optional
        What a worker elsewhere must have.
    """

    index: int
    function: Callable[[Any], Any]
    task: Labelled
    packed: bool = False
    software: Software | None = None


@dataclass(frozen=True, eq=False)
class Reply:
    """What became of a ticket.

    Attributes
    ----------
    index : int
        Of the ticket.
    value : object
        What the function returned, as bytes if the ticket says packed.
    error : Exception, optional
        Or else what it raised.
    """

    index: int
    value: Any = None
    error: Exception | None = None


def solve(ticket: Ticket) -> Reply:
    """Solve one chunk wherever this runs.

    Parameters
    ----------
    ticket : Ticket

    Returns
    -------
    Reply
    """
    try:
        if ticket.software is not None:
            _elsewhere(ticket.software)
        value = ticket.function(ticket.task)
        return Reply(ticket.index, pack((ticket.task.label, value)) if ticket.packed else value)
    except StudyError as error:
        return Reply(ticket.index, error=error)
    except MemoryError:
        return Reply(
            ticket.index,
            error=RunStopped(
                f"chunk {ticket.task.label}: too little memory; take fewer --workers, fewer"
                " candidates or another machine"
            ),
        )
    except Exception as error:
        error.add_note(f"in chunk {ticket.task.label}:\n{traceback.format_exc()}")
        return Reply(ticket.index, error=error)


def _elsewhere(wanted: Software) -> None:
    """On a worker of a cluster: the same software, and one thread of linear algebra as
    everywhere."""
    if wrong := other_software(wanted):
        import socket

        raise RunStopped(
            f"--cluster: a worker on {socket.gethostname()} {wrong}; install the same versions"
            " there and start the worker again"
        )
    _one_thread()


@cache
def _one_thread() -> None:
    from threadpoolctl import threadpool_limits

    threadpool_limits(1, user_api="blas")
