"""The one file that speaks to Dask: a connection, questions with a limit to every wait, and one
round of tickets.

A process that is frozen, or whose machine is, keeps its connections: only a limit to a wait tells.
"""

from __future__ import annotations

import asyncio
import re
import time
import warnings
from collections.abc import Awaitable, Callable, Iterable, Iterator
from concurrent.futures import Future
from contextlib import suppress
from importlib.metadata import version
from typing import Any, NoReturn

from montecarlo.engine.workers.sending import AHEAD, ENDED, Flying, answers_of
from montecarlo.engine.workers.software import PRODUCT
from montecarlo.engine.workers.ticket import Broken, Reply, Ticket, solve
from montecarlo.errors import StudyError

ADDRESS = re.compile(r"(tcp|tls)://(\[[0-9a-fA-F:]+\]|[A-Za-z0-9._-]+):([0-9]{1,5})")
FILES = "DASK_DISTRIBUTED__COMM__TLS__CA_FILE, ..._TLS__CLIENT__CERT and ..._TLS__CLIENT__KEY"
PRINTED = "give the address that dask scheduler prints when it starts"
CLOSE_S = 2.0
UNFETCHED_S = 30.0  # that answers may lie ready while none comes


def asked(
    within_s: float,
    client: Any,
    call: Callable[..., Awaitable[Any]],
    *arguments: Any,
    **options: Any,
) -> Any:
    """What a client's call returns.

    Parameters
    ----------
    within_s : float
        How long that may take (s).
    client : distributed.Client
    call : callable
        Its method, or any other that returns what can be awaited; the rest is handed on.

    Returns
    -------
    object

    Raises
    ------
    TimeoutError
    """
    return client.sync(call, *arguments, callback_timeout=within_s, **options)


# --- one round ----------------------------------------------------------------


def solve_closed(ticket: bytes) -> Reply:
    """As `solve`. The scheduler would build the study of every ticket that it can look into, and
    keep thousands of them until it tidies up.

    Parameters
    ----------
    ticket : bytes
        Of a Ticket, as Dask would send it.

    Returns
    -------
    Reply
    """
    from distributed.protocol import deserialize_bytes

    return solve(deserialize_bytes(ticket))


class Round:
    """Tickets on the workers of a cluster, given up where nothing will come any more.

    Parameters
    ----------
    client : distributed.Client
    answer_s : float
        How long the scheduler may take over a question (s).
    alone_s : float
        How long it may answer none, or have no worker (s).
    stalled_s : float
        How long no chunk may be answered (s).

    Attributes
    ----------
    stuck_on : list of str
        Workers that were busy when it gave up waiting for answers.
    """

    def __init__(self, client: Any, answer_s: float, alone_s: float, stalled_s: float) -> None:
        self.client, self.answer_s = client, answer_s
        self.alone_s, self.stalled_s = alone_s, stalled_s
        self.stuck_on: list[str] = []
        self._sent: dict[Future[Reply], Any] = {}  # Dask's future of each
        self._cores = 1
        self._since: dict[str, float] = {}  # when what may end the round began

    def answers(self, tickets: Iterable[Ticket]) -> Iterator[Reply]:
        """As `Site` has it; Broken for all that is on its way.

        A ticket that died with its workers is an answer too, with the error Broken: the others go
        on.

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
        self._look(set(), 0.0)
        try:
            yield from answers_of(tickets, send=self._send, room=self._room, look=self._look)
        finally:
            self._drop()

    def _send(self, ticket: Ticket) -> Future[Reply]:
        from distributed.protocol import serialize_bytes

        answer: Future[Reply] = Future()
        self._sent[answer] = self.client.submit(solve_closed, serialize_bytes(ticket), pure=False)
        self.client.loop.add_callback(self._fetch, ticket.index, answer)
        return answer

    async def _fetch(self, index: int, answer: Future[Reply]) -> None:
        """A chunk's own error is an answer, so every other one is of the cluster."""
        from distributed import KilledWorker

        try:
            answer.set_result(await self._sent[answer])
        except KilledWorker:
            answer.set_result(Reply(index, error=Broken(ENDED)))
        except BaseException as error:  # whatever it is, or the answer would be waited for
            answer.set_exception(Broken(str(error) or type(error).__name__))
        self._sent.pop(answer, None)  # which the cluster may forget now

    def _room(self) -> int:
        return AHEAD * self._cores

    def _look(self, flying: Flying, waited_s: float) -> None:
        began, found = time.monotonic(), self._reply(self.client.nthreads)
        silent_s = self._lasted_s("silent", began, found is None)
        alone_s = self._lasted_s("alone", began, found is not None and not any(found.values()))
        ready_s = self._lasted_s("ready", began, self._lie_ready(flying))
        if found:
            self._cores = max(1, sum(found.values()))  # workers that join get tickets too
        if self.client.status != "running":
            raise Broken("the scheduler cannot be reached any more")
        if silent_s > self.alone_s:
            raise Broken(f"the scheduler has not answered for {self.alone_s:g} s")
        if alone_s > self.alone_s:
            raise Broken(f"the cluster has had no workers for {self.alone_s:g} s")
        if min(waited_s, ready_s) > UNFETCHED_S:
            raise Broken("answers that are ready cannot be fetched")
        if found and waited_s > self.stalled_s:
            busy = self._reply(self.client.processing) or {}  # else none is started again
            self.stuck_on = [worker for worker, tasks in busy.items() if tasks]
            raise Broken(f"no answer in {self.stalled_s:g} s")

    def _lasted_s(self, what: str, began: float, holds: bool) -> float:
        """How long something has held; 0 while it does not."""
        if not holds:
            self._since.pop(what, None)
            return 0.0
        return time.monotonic() - self._since.setdefault(what, began)

    def _lie_ready(self, flying: Flying) -> bool:
        """Not what was lost with its worker, for that is solved again."""
        sent = [self._sent[each] for each in flying if each in self._sent]
        return any(future.status not in ("pending", "lost") for future in sent)

    def _reply(self, call: Callable[..., Any]) -> dict[str, Any] | None:
        """Of each worker. None: no answer; where the connection has ended, the client's status
        follows."""
        try:
            return dict(asked(self.answer_s, self.client, call))
        except Exception:
            return None

    def _drop(self) -> None:
        """Nobody wants what is still on its way: the cluster shall not work on it, nor hand it to
        the next worker."""
        left = list(self._sent.values())
        if left and self.client.status == "running":
            with suppress(Exception):
                asked(self.answer_s, self.client, self.client.cancel, left, force=True)


# --- the connection -----------------------------------------------------------


def _check(address: str) -> None:
    found = ADDRESS.fullmatch(address)
    if not found or not 0 < int(found[3]) < 65536:
        raise StudyError(
            f"--cluster {address}: must be tcp://HOST:PORT or tls://HOST:PORT, the port from 1 to"
            " 65535, as the scheduler prints when it starts"
        )
    try:
        import distributed
    except ImportError:
        raise StudyError(
            f"--cluster {address}: needs Dask, which is not installed here; pip install distributed"
        ) from None
    if found[1] == "tls":
        try:
            context = distributed.Security().get_connection_args("client").get("ssl_context")
        except (OSError, ValueError) as error:
            raise StudyError(
                f"--cluster {address}: the files for TLS cannot be used ({error}); see {FILES}"
            ) from None
        if context is None:
            raise StudyError(
                f"--cluster {address}: TLS wants the files of an authority, a certificate and a"
                f" key; name them to Dask by {FILES}"
            )


def connected(address: str, connect_s: float) -> Any:
    """A client of the scheduler at an address.

    Parameters
    ----------
    address : str
        tcp://HOST:PORT or tls://HOST:PORT.
    connect_s : float
        How long the scheduler may take to be reached (s).

    Returns
    -------
    distributed.Client

    Raises
    ------
    StudyError
        Where there is no scheduler, or one with other versions.
    """
    _check(address)
    import distributed

    mine, theirs = distributed.__version__, _scheduler_version(address, connect_s)
    if theirs != mine:
        _unlike(address, f"has distributed {theirs} where {mine} is wanted")
    with warnings.catch_warnings():
        # of versions, compared here with what it means for numbers
        warnings.simplefilter("ignore")
        try:
            client = distributed.Client(address, timeout=connect_s, set_as_default=False)
        except (OSError, TimeoutError) as error:
            raise StudyError(_unreached(address, error)) from None
    try:  # it looks into what it hands on, so it needs the program
        asked(connect_s, client, client.run_on_scheduler, version, PRODUCT)
    except Exception as error:
        closed(client)
        _unlike(address, f"has no {PRODUCT} ({type(error).__name__})")
    return client


def _scheduler_version(address: str, connect_s: float) -> str:
    """Of `distributed`, if a scheduler listens at the address. The client itself would wait for
    ever where something listens and says nothing, take the first bytes of another protocol for a
    length, and not notice a worker."""
    from distributed import Security, rpc

    async def known() -> tuple[dict[str, Any], dict[str, Any]]:
        async with rpc(
            address, timeout=connect_s, connection_args=Security().get_connection_args("client")
        ) as there:
            who = await there.identity()
            return who, await there.versions() if "workers" in who else {}

    try:
        who, versions = asyncio.run(asyncio.wait_for(known(), connect_s + CLOSE_S))
    except TimeoutError:
        raise StudyError(_unreached(address, f"no answer in {connect_s:g} s")) from None
    except (OSError, ValueError) as error:
        raise StudyError(_unreached(address, error)) from None
    except Exception:  # whatever another protocol's bytes are taken for
        raise StudyError(
            f"--cluster {address}: what answers there is no Dask scheduler; {PRINTED}"
        ) from None
    if not versions:
        raise StudyError(
            f"--cluster {address}: is a Dask {who['type'].lower()}, no scheduler; {PRINTED}"
        )
    return str(versions["packages"]["distributed"])


def _unreached(address: str, why: object) -> str:
    return (
        f"--cluster {address}: cannot be reached ({why}); look whether a scheduler listens there,"
        " with or without TLS as in the address"
    )


def _unlike(address: str, how: str) -> NoReturn:
    raise StudyError(
        f"--cluster {address}: the scheduler {how}; install the same versions at both ends and"
        " start it again"
    )


def closed(client: Any) -> None:
    """Close a client, whatever the connection says.

    Parameters
    ----------
    client : distributed.Client
    """
    try:
        client.close(timeout=CLOSE_S)
    except Exception:  # or Python would close it once more at its end, and say so
        client.status = "closed"
