"""Workers of a Dask cluster, started by somebody else. Everything said to its user names the
cure."""

from __future__ import annotations

import asyncio
import logging
import re
import time
import warnings
from collections.abc import Callable, Iterable, Iterator
from contextlib import suppress
from importlib.metadata import PackageNotFoundError, version
from types import TracebackType
from typing import Any, NoReturn

from montecarlo.engine.workers.dask_backend import AHEAD, ClusterLost, TellingBackend, asked
from montecarlo.engine.workers.pool import TOLD_MAX
from montecarlo.engine.workers.processes import STALLED_S
from montecarlo.engine.workers.software import PRODUCT, Software, software, told_difference
from montecarlo.engine.workers.ticket import Answer, Broken, Ticket, solve
from montecarlo.errors import RunStopped, StudyError

__all__ = ["Cluster"]

CONNECT_S, ALONE_S, LOOK_EVERY_S, CLOSE_S, LEAVE_S = 10.0, 60.0, 0.1, 2.0, 1.0
ADDRESS = re.compile(r"(tcp|tls)://(\[[0-9a-fA-F:]+\]|[A-Za-z0-9._-]+):([0-9]{1,5})")
FILES = "DASK_DISTRIBUTED__COMM__TLS__CA_FILE, ..._TLS__CLIENT__CERT and ..._TLS__CLIENT__KEY"
PRINTED = "give the address that dask scheduler prints when it starts"
START = (
    "start some with: PYTHONSAFEPATH=1 dask worker ADDRESS --nworkers N --nthreads 1 "
    f"(with {PRODUCT} installed)"
)


class Cluster:
    """A connection for one run; to be used in a `with` block. Raises StudyError if the cluster
    cannot serve it.

    connect_s: how long the scheduler may take to be reached, and over any question; alone_s: how
    long a run goes on without its answer or without workers, and how long these may take to load
    the program; stalled_s: how long no chunk may be answered."""

    software: Software | None

    def __init__(
        self,
        address: str,
        *,
        connect_s: float = CONNECT_S,
        alone_s: float = ALONE_S,
        stalled_s: float = STALLED_S,
    ) -> None:
        self.address, self.connect_s, self.alone_s, self.stalled_s = (
            address,
            connect_s,
            alone_s,
            stalled_s,
        )
        self.software, self._stuck_on = software(), list[str]()
        _check(address)
        self._client = _connected(address, connect_s)
        try:
            self._fit()
        except BaseException:
            self.close()
            raise

    def __enter__(self) -> Cluster:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        _closed(self._client)

    def answers(self, tickets: Iterable[Ticket]) -> Iterator[Answer]:
        """As `Place` has it."""
        from joblib import Parallel, delayed, parallel_config

        backend = TellingBackend(
            client=self._client,
            answer_s=self.connect_s,
            alone_s=self.alone_s,
            stalled_s=self.stalled_s,
        )
        killed: Broken | None = None
        try:
            with parallel_config(backend=backend):
                parallel = Parallel(
                    n_jobs=-1,
                    return_as="generator_unordered",
                    batch_size=1,
                    pre_dispatch=f"{AHEAD}*n_jobs",
                )
            for answer in parallel(delayed(solve)(ticket) for ticket in tickets):
                if isinstance(answer.error, Broken):
                    killed = answer.error
                else:
                    yield answer
        except Exception as error:
            if not _of_cluster(error):
                raise
            self._stuck_on = backend.stuck_on
            raise Broken(str(error) or type(error).__name__) from None
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

        async def one(worker: str) -> Any:
            try:
                found = await asyncio.wait_for(
                    self._client.run(question, *arguments, workers=[worker], on_error="return"),
                    self.alone_s,
                )
                return found[worker]
            except TimeoutError:
                return None

        async def every(workers: list[str]) -> list[Any]:
            return await asyncio.gather(*map(one, workers))

        workers = self._workers()
        answers = asked(self.alone_s + self.connect_s, self._client, every, workers)
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


# --- the connection -----------------------------------------------------------


def _check(address: str) -> None:
    found = ADDRESS.fullmatch(address)
    if not found or not 0 < int(found[3]) < 65536:
        raise StudyError(
            f"--cluster {address}: must be tcp://HOST:PORT or tls://HOST:PORT, the port from 1 to"
            " 65535, as the scheduler tells when it starts"
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


def _connected(address: str, connect_s: float) -> Any:
    import distributed

    for name in ("tornado", *logging.root.manager.loggerDict):
        # what goes wrong is told here, once
        if name.split(".")[0] in ("distributed", "tornado"):
            logging.getLogger(name).setLevel(logging.CRITICAL)
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
        _closed(client)
        _unlike(address, f"has no {PRODUCT} ({type(error).__name__})")
    return client


def _scheduler_version(address: str, connect_s: float) -> str:
    """Of `distributed`, if a scheduler listens at the address. The client itself would wait for
    ever where something listens and says nothing, take the first bytes of another protocol for a
    length, and not notice a worker."""
    from distributed import Security
    from distributed.core import rpc

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


def _closed(client: Any) -> None:
    """The run is over, whatever the connection says."""
    try:
        client.close(timeout=CLOSE_S)
    except Exception:  # or Python would close it once more at its end, and say so
        client.status = "closed"


# --- what went wrong ----------------------------------------------------------


def _of_cluster(error: Exception) -> bool:
    """Whether the error is of the cluster; those of chunks come as answers."""
    from concurrent.futures import CancelledError

    return (
        isinstance(error, ClusterLost | OSError | TimeoutError | CancelledError | ImportError)
        or type(error).__module__.split(".")[0] in ("distributed", "asyncio")
        or "deserializ" in str(error)
    )
