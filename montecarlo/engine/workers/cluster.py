"""Workers of a Dask cluster, started by somebody else. Everything said to its user names the cure."""

from __future__ import annotations

import logging
import re
import warnings
from collections.abc import Iterable, Iterator
from contextlib import suppress
from types import TracebackType
from typing import Any

from montecarlo.engine.workers.processes import STALLED_S
from montecarlo.engine.workers.software import PRODUCT, Software, software, told_difference
from montecarlo.engine.workers.ticket import Answer, Broken, Ticket, solve
from montecarlo.errors import RunStopped, StudyError

__all__ = ["Cluster"]

CONNECT_S, ALONE_S = 10.0, 60.0
ADDRESS = re.compile(r"(tcp|tls)://(\[[0-9a-fA-F:]+\]|[A-Za-z0-9._-]+):([0-9]{1,5})")
FILES = "DASK_DISTRIBUTED__COMM__TLS__CA_FILE, ..._TLS__CLIENT__CERT and ..._TLS__CLIENT__KEY"
START = f"start some with: dask worker ADDRESS --nworkers N --nthreads 1 (with {PRODUCT} installed)"


class Cluster:
    """A connection for one run; to be used in a `with` block. Raises StudyError if the cluster cannot serve it."""

    software: Software | None

    def __init__(self, address: str, *, connect_s: float = CONNECT_S, alone_s: float = ALONE_S,
                 stalled_s: float = STALLED_S) -> None:
        self.address, self.connect_s, self.alone_s, self.stalled_s = address, connect_s, alone_s, stalled_s
        self.software, self._stuck_on = software(), list[str]()
        _check(address)
        self._client = _connected(address, connect_s)
        try:
            self._fit(connect_s)
        except BaseException:
            self.close()
            raise

    def __enter__(self) -> Cluster:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None,
                 trace: TracebackType | None) -> None:
        self.close()

    def close(self) -> None:
        with suppress(Exception):                          # the run is over, whatever the connection says
            self._client.close(timeout=2)

    def answers(self, tickets: Iterable[Ticket]) -> Iterator[Answer]:
        """As `Place` has it."""
        from joblib import Parallel, delayed, parallel_config

        from montecarlo.engine.workers.dask_backend import TellingBackend

        backend = TellingBackend(client=self._client, alone_s=self.alone_s, stalled_s=self.stalled_s)
        killed: Broken | None = None
        try:
            with parallel_config(backend=backend):
                parallel = Parallel(n_jobs=-1, return_as="generator_unordered", batch_size=1,
                                    pre_dispatch="2*n_jobs")
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
            raise RunStopped(f"--cluster {self.address}: the scheduler cannot be reached any more; start it and its "
                             "workers again")
        if self._stuck_on:                                 # a chunk that never ends would hold its worker for ever
            with suppress(Exception):
                self._client.restart_workers(self._stuck_on, timeout=self.alone_s, raise_for_error=False)
            self._stuck_on = []
        self._fit(self.connect_s)

    def _fit(self, wait_s: float) -> None:
        """Workers are there, all with the software of this machine. Raises RunStopped."""
        try:
            with suppress(TimeoutError):
                self._client.wait_for_workers(1, timeout=wait_s)
            if not self._client.nthreads():
                raise RunStopped(f"--cluster {self.address}: has no workers; {START}")
            self._same_software()
        except (OSError, TimeoutError) as error:
            raise RunStopped(f"--cluster {self.address}: does not answer ({error}); look whether its scheduler "
                             "runs") from None

    def _same_software(self) -> None:
        from importlib.metadata import PackageNotFoundError, version

        mine = dict(software())
        for worker, found in self._client.run(version, PRODUCT, on_error="return").items():
            if isinstance(found, PackageNotFoundError):
                raise RunStopped(f"--cluster {self.address}: worker {worker} has no {PRODUCT}; install the same "
                                 "version there and start the worker from that environment")
            if isinstance(found, Exception):
                raise RunStopped(f"--cluster {self.address}: worker {worker} does not answer ({found}); start it "
                                 "again")
            if found != mine[PRODUCT]:
                self._differs(worker, f"has {PRODUCT} {found} where {mine[PRODUCT]} is wanted")
        for worker, found in self._client.run(software, on_error="return").items():
            if isinstance(found, Exception):
                self._differs(worker, f"cannot load {PRODUCT} ({type(found).__name__}: {found})")
            if wrong := told_difference(dict(found), mine):
                self._differs(worker, wrong)

    def _differs(self, worker: str, how: str) -> None:
        raise RunStopped(f"--cluster {self.address}: worker {worker} {how}, so its numbers could differ; install the "
                         "same versions there and start the worker again")


# --- the connection ---------------------------------------------------------------------------------------


def _check(address: str) -> None:
    found = ADDRESS.fullmatch(address)
    if not found or not 0 < int(found[3]) < 65536:
        raise StudyError(f"--cluster {address}: must be tcp://HOST:PORT or tls://HOST:PORT, the port from 1 to 65535, "
                         "as the scheduler tells when it starts")
    try:
        import distributed
    except ImportError:
        raise StudyError(f"--cluster {address}: needs Dask, which is not installed here; pip install "
                         "distributed") from None
    if found[1] == "tls":
        try:
            context = distributed.Security().get_connection_args("client").get("ssl_context")
        except (OSError, ValueError) as error:
            raise StudyError(f"--cluster {address}: the files for TLS cannot be used ({error}); see {FILES}") from None
        if context is None:
            raise StudyError(f"--cluster {address}: TLS wants the files of an authority, a certificate and a key; name "
                             f"them to Dask by {FILES}")


def _connected(address: str, connect_s: float) -> Any:
    import distributed

    for name in ("tornado", *logging.root.manager.loggerDict):
        if name.split(".")[0] in ("distributed", "tornado"):           # what goes wrong is told here, once
            logging.getLogger(name).setLevel(logging.CRITICAL)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")                    # of versions, compared below with what it means for numbers
        try:
            client = distributed.Client(address, timeout=connect_s, set_as_default=False)
        except (OSError, TimeoutError, ValueError) as error:
            raise StudyError(f"--cluster {address}: cannot be reached ({error}); look whether a scheduler listens "
                             "there, with or without TLS as in the address") from None
    mine = distributed.__version__
    theirs = client.get_versions()["scheduler"]["packages"]["distributed"]
    wrong = f"has distributed {theirs} where {mine} is wanted" if theirs != mine else _cannot_load(client)
    if wrong:
        client.close(timeout=2)
        raise StudyError(f"--cluster {address}: the scheduler {wrong}; install the same versions at both ends and "
                         "start it again")
    return client


def _cannot_load(client: Any) -> str:
    """The scheduler looks into what it hands on, so it needs the program too."""
    from importlib.metadata import version

    try:
        client.run_on_scheduler(version, PRODUCT)
    except Exception as error:
        return f"has no {PRODUCT} ({type(error).__name__})"
    return ""


# --- what went wrong --------------------------------------------------------------------------------------


def _of_cluster(error: Exception) -> bool:
    """Whether the error is of the cluster; those of chunks come as answers."""
    from concurrent.futures import CancelledError

    return isinstance(error, OSError | TimeoutError | CancelledError | ImportError) or \
        type(error).__module__.split(".")[0] in ("distributed", "asyncio") or \
        type(error).__name__ == "ClusterLost" or "deserializ" in str(error)
