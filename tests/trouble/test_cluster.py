"""A Dask cluster of real processes: the same bytes as one worker, and an end, with a reason, to
everything that goes wrong there."""

from __future__ import annotations

import os
import re
import shutil
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterable, Iterator
from concurrent.futures import Future
from contextlib import contextmanager
from pathlib import Path
from unittest.mock import Mock

import pytest

from montecarlo.engine.workers import Workers
from montecarlo.engine.workers.cluster import Cluster
from montecarlo.engine.workers.dask_client import UNFETCHED_S, Round
from montecarlo.engine.workers.finished import Finished
from montecarlo.engine.workers.ticket import Broken, Reply, Ticket
from montecarlo.errors import RunStopped, StudyError
from tests.made.chunks import Task, solved, solved_from_to
from tests.made.studies import minimal_study_text
from tests.trouble import cluster as real
from tests.unit.montecarlo.engine.workers.test_workers import same, tasks

pytest.importorskip("distributed", reason="needs the extra [cluster]")


@pytest.fixture(scope="module")
def two(tmp_path_factory: pytest.TempPathFactory) -> Iterator[real.Cluster]:
    """A scheduler and two workers, for tests that leave it as it was."""
    with real.cluster(tmp_path_factory.mktemp("cluster")) as made:
        yield made


def statorodds(folder: Path, *arguments: str) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-m", "studies", *arguments],
        cwd=folder,
        text=True,
        env={**os.environ, "PYTHONPATH": str(real.ROOT)},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )


def tables(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.glob("*.csv")}


# --- what a cluster is for ----------------------------------------------------


@pytest.mark.slow
def test_a_study_on_a_cluster_has_the_bytes_of_one_worker_also_when_a_worker_dies(
    two: real.Cluster, tmp_path: Path
) -> None:
    (tmp_path / "s.toml").write_text(minimal_study_text())
    alone = statorodds(tmp_path, "run", "s.toml", "--workers", "1", "--out", "alone")
    assert alone.communicate()[1] == ""
    run = statorodds(tmp_path, "run", "s.toml", "--cluster", two.address, "--out", "cluster")
    chunks = tmp_path / "cluster" / "unfinished" / "chunks"
    real.waited(lambda: len(list(chunks.glob("*.npz"))) > 2 or run.poll() is not None)
    os.kill(next(iter(two.workers().values())), signal.SIGKILL)
    assert run.communicate()[1] == ""
    assert run.returncode == 0
    assert tables(tmp_path / "cluster") == tables(tmp_path / "alone") != {}
    assert not chunks.parent.exists()


@pytest.mark.slow
def test_a_worker_killed_in_the_middle_costs_nothing(two: real.Cluster) -> None:
    slow = [Task(number, takes_s=0.1) for number in range(60)]
    real.waited(lambda: len(two.workers()) == 2)
    victim = next(iter(two.workers().values()))
    threading.Timer(1.0, os.kill, (victim, signal.SIGKILL)).start()
    with Cluster(two.address) as place:
        assert same(Workers(site=place).mapped(solved, slow), slow)


@pytest.mark.slow
def test_workers_that_join_get_chunks_too(tmp_path: Path) -> None:
    """More than the twice one core that were sent when the call began."""
    slow = [Task(number, takes_s=0.5) for number in range(60)]
    with real.cluster(tmp_path, workers=1) as made, Cluster(made.address) as place:
        spans = Workers(site=place).mapped(solved_from_to, slow)
        found = [next(spans)]
        made.add_workers(1, threads=8)
        found += spans
    assert max(sum(begun <= at < ended for begun, ended in found) for at, _ in found) > 4


# --- what goes wrong ----------------------------------------------------------


@pytest.mark.slow
def test_a_chunk_that_kills_every_worker_is_named(two: real.Cluster, tmp_path: Path) -> None:
    said = "chunk task 3: its worker process ended"
    with Cluster(two.address) as place, pytest.raises(RunStopped, match=said) as caught:
        list(
            Workers(site=place, finished=Finished(tmp_path)).mapped(
                solved, tasks(8, t3=Task(3, "dies"))
            )
        )
    assert len(caught.value.faults) == 1
    assert len(Finished(tmp_path)) == 7


@pytest.mark.slow
def test_a_chunk_that_never_ends_is_named_and_its_worker_is_free_again(
    two: real.Cluster, tmp_path: Path
) -> None:
    real.waited(lambda: len(two.workers()) == 2)
    said = "chunk task 3: no answer in 4 s"
    with Cluster(two.address, stalled_s=4.0) as place, pytest.raises(RunStopped, match=said):
        list(
            Workers(site=place, finished=Finished(tmp_path)).mapped(
                solved, tasks(6, t3=Task(3, "hangs"))
            )
        )
    assert len(Finished(tmp_path)) == 5
    real.waited(lambda: len(two.workers()) == 2)
    with Cluster(two.address) as place:
        assert same(Workers(site=place).mapped(solved, tasks(6)), tasks(6))


@pytest.mark.slow
def test_a_chunk_that_kills_its_workers_leaves_the_others_on_the_cluster(two: real.Cluster) -> None:
    sent: list[list[int]] = []
    slow = [Task(number, "dies" if number == 3 else "", takes_s=0.3) for number in range(60)]

    class Noting(Cluster):
        def answers(self, tickets: Iterable[Ticket]) -> Iterator[Reply]:
            sent.append([])
            return super().answers(sent[-1].append(ticket.index) or ticket for ticket in tickets)

    with (
        Noting(two.address) as place,
        pytest.raises(RunStopped, match="chunk task 3: its worker process ended"),
    ):
        list(Workers(site=place).mapped(solved, slow))
    first, *alone = sent  # one round for all, one for each that was lost
    assert first == list(range(60))
    assert [3] in alone
    assert len(alone) <= 2  # Dask also drops what waits at each worker that 3 kills
    assert all(len(each) == 1 for each in alone)


def test_a_future_has_the_states_that_are_looked_at(two: real.Cluster) -> None:
    with Cluster(two.address) as place:
        future = place._client.submit(time.sleep, 0.5, pure=False)
        assert future.status == "pending"
        future.result()
        assert future.status == "finished"


def test_answers_that_lie_ready_are_given_up_when_none_comes() -> None:
    """Counted from when they are seen to lie ready, not from the last answer: chunks take long."""
    client, future, answer = Mock(status="running"), Mock(), Future[Reply]()
    client.sync.return_value = {"worker": 1}
    round_ = Round(client, answer_s=1.0, alone_s=1.0, stalled_s=1e9)
    round_._sent[answer] = future
    for future.status, ready in [("pending", False), ("lost", False), ("finished", True)]:
        round_._look({answer}, waited_s=100.0)
        assert ("ready" in round_._since) == ready
    round_._since["ready"] -= UNFETCHED_S + 1.0
    round_._look({answer}, waited_s=1.0)  # another one came
    with pytest.raises(Broken, match="answers that are ready cannot be fetched"):
        round_._look({answer}, waited_s=100.0)


def test_an_error_of_a_chunk_comes_through(two: real.Cluster) -> None:
    with Cluster(two.address) as place, pytest.raises(ArithmeticError, match="number 3") as caught:
        list(Workers(site=place).mapped(solved, tasks(6, t3=Task(3, "fails"))))
    assert "in chunk task 3" in "".join(caught.value.__notes__)


@pytest.mark.slow
def test_one_worker_alone_does_not_hand_its_chunks_to_the_run_itself(tmp_path: Path) -> None:
    with (
        real.cluster(tmp_path, workers=1) as small,
        Cluster(small.address) as place,
        pytest.raises(RunStopped, match="chunk task 1: its worker process ended"),
    ):
        list(Workers(site=place).mapped(solved, tasks(3, t1=Task(1, "dies"))))


@pytest.mark.slow
@pytest.mark.parametrize("whole", [False, True])
def test_the_run_ends_when_the_cluster_goes(whole: bool, tmp_path: Path) -> None:
    (kept := tmp_path / "kept").mkdir()
    slow, said = (
        [Task(number, takes_s=0.2) for number in range(100)],
        "has no workers; start some with",
    )
    with real.cluster(tmp_path) as made, Cluster(made.address, connect_s=2.0, alone_s=2.0) as place:

        def end() -> None:
            real.waited(lambda: len(list(kept.glob("*.npz"))) > 2)
            made.close() if whole else made.end_workers()

        threading.Thread(target=end).start()
        with pytest.raises(
            RunStopped, match="cannot be reached any more|does not answer|has no" if whole else said
        ):
            list(Workers(site=place, finished=Finished(kept)).mapped(solved, slow))
    assert 2 < len(Finished(kept)) < 100


@pytest.mark.slow
def test_a_frozen_scheduler_ends_the_run_which_keeps_its_chunks(tmp_path: Path) -> None:
    (kept := tmp_path / "kept").mkdir()
    slow, said = (
        [Task(number, takes_s=0.2) for number in range(100)],
        "does not answer .*; look whether its scheduler",
    )
    with real.cluster(tmp_path) as made, Cluster(made.address, connect_s=1.0, alone_s=2.0) as place:

        def freeze() -> None:
            real.waited(lambda: len(list(kept.glob("*.npz"))) > 2)
            made.freeze(0)

        threading.Thread(target=freeze).start()
        with pytest.raises(RunStopped, match=said) as caught:
            list(Workers(site=place, finished=Finished(kept)).mapped(solved, slow))
    assert len(caught.value.faults) == 1
    assert 2 < len(Finished(kept)) < 100


@pytest.mark.slow
def test_a_frozen_worker_is_named_at_the_start(tmp_path: Path) -> None:
    with real.cluster(tmp_path, workers=1) as made:
        frozen = next(iter(made.workers()))
        made.add_workers(1)
        made.freeze(1)
        with pytest.raises(
            RunStopped, match=rf"no answer in 3 s from worker {frozen}; end what hangs there"
        ):
            Cluster(made.address, alone_s=3.0)


@pytest.mark.slow
def test_a_worker_that_leaves_while_it_is_asked_is_not_missed(tmp_path: Path) -> None:
    with real.cluster(tmp_path, workers=1) as made, Cluster(made.address) as place:
        assert place._each(os.getpid).keys() == made.workers().keys()
        assert place._each(os.killpg, 0, signal.SIGKILL) == {}  # its keeper too


# --- what does not fit --------------------------------------------------------


@pytest.mark.parametrize(
    ("address", "said"),
    [
        ("127.0.0.1:8786", "must be tcp://HOST:PORT or tls://HOST:PORT"),
        ("tcp://127.0.0.1", "must be tcp://HOST:PORT"),
        ("tcp://127.0.0.1:0", "the port from 1 to 65535"),
        ("tcp://127.0.0.1:99999", "the port from 1 to 65535"),
        ("ucx://127.0.0.1:1", "must be tcp://"),
        ("tcp://a b:1", "must be tcp://"),
        ("", "must be tcp://"),
        ("tcp://$(id):1", "must be tcp://"),
        ("tcp://127.0.0.1:1", r"cannot be reached \(.*\); look whether a scheduler listens there"),
        ("tcp://nowhere.invalid:1", "cannot be reached"),
        (f"tcp://{'a' * 300}:1", "cannot be reached"),
        (
            "tls://127.0.0.1:1",
            (
                "TLS wants the files of an authority, a certificate and a key; name them to Dask by"
                " DASK_"
            ),
        ),
    ],
)
def test_an_address_that_leads_nowhere_is_one_line(address: str, said: str) -> None:
    with pytest.raises(
        StudyError, match=re.escape(f"--cluster {address}: ") + ".*" + said
    ) as caught:
        Cluster(address, connect_s=1.0)
    assert len(caught.value.faults) == 1
    assert "\n" not in caught.value.faults[0]


@contextmanager
def listening(says: bytes) -> Iterator[str]:
    """Address of something that is no scheduler."""
    with socket.create_server(("127.0.0.1", 0)) as server:

        def serve() -> None:
            taken = []
            while True:
                try:
                    taken.append(server.accept()[0])
                    taken[-1].sendall(says)
                except OSError:
                    break
            for each in taken:
                each.close()

        thread = threading.Thread(target=serve)
        thread.start()
        yield f"tcp://127.0.0.1:{server.getsockname()[1]}"
        server.shutdown(socket.SHUT_RDWR)
        thread.join()


def test_what_listens_and_is_no_scheduler_is_one_line(two: real.Cluster) -> None:
    with listening(b"HTTP/1.1 400 Bad Request\r\n\r\n") as page, listening(b"") as silent:
        for address, said in (
            (page, "what answers there is no Dask scheduler; give the address"),
            (silent, r"cannot be reached \(no answer in 1 s\)"),
            (next(iter(two.workers())), "is a Dask worker, no scheduler; give the address"),
        ):
            with pytest.raises(StudyError, match=re.escape(f"--cluster {address}: ") + said):
                Cluster(address, connect_s=1.0)


@pytest.mark.slow
def test_a_wrong_address_leaves_nothing_else_on_the_screen(tmp_path: Path) -> None:
    (tmp_path / "s.toml").write_text(minimal_study_text())
    with listening(b"HTTP/1.1 400 Bad Request\r\n\r\n") as page:
        addresses = (page, "tcp://127.0.0.1:1", f"tcp://{'a' * 300}:1")
        runs = [
            statorodds(tmp_path, "run", "s.toml", "--cluster", address) for address in addresses
        ]
        for address, run in zip(addresses, runs, strict=True):
            said = run.communicate()[1]
            assert run.returncode == 2
            assert said.startswith(f"statorodds: --cluster {address}: ")
            assert said.count("\n") == 1


@pytest.mark.slow
def test_a_cluster_without_workers_is_one_line(tmp_path: Path) -> None:
    said = "has no workers; start some with: PYTHONSAFEPATH=1 dask worker"
    with real.cluster(tmp_path, workers=0) as empty, pytest.raises(StudyError, match=said):
        Cluster(empty.address, connect_s=1.0)


FORGETS = """
import importlib.metadata as metadata, sys
class Without:
    def find_spec(self, name, *rest):
        if name.split(".")[0] in ("montecarlo", "studies"): raise ModuleNotFoundError(name)
sys.meta_path.insert(0, Without())
whole = metadata.version
def version(name):
    if name == "statorodds": raise metadata.PackageNotFoundError(name)
    return whole(name)
metadata.version = version
"""


@pytest.mark.slow
def test_workers_without_the_program_and_with_another_version_are_named(tmp_path: Path) -> None:
    (without := tmp_path / "without").mkdir()
    (without / "sitecustomize.py").write_text(FORGETS)
    (older := tmp_path / "older" / "statorodds-0.0.1.dist-info").mkdir(parents=True)
    (older / "METADATA").write_text("Metadata-Version: 2.1\nName: statorodds\nVersion: 0.0.1\n")
    (numpy := tmp_path / "numpy" / "numpy-1.0.dist-info").mkdir(parents=True)
    (numpy / "METADATA").write_text("Metadata-Version: 2.1\nName: numpy\nVersion: 1.0\n")
    for before, said in (
        (without, r"has no statorodds; install the same version there"),
        (older.parent, r"has statorodds 0\.0\.1 where \S+ is wanted, so its numbers could differ"),
        (numpy.parent, r"has numpy 1\.0 where \S+ is wanted"),
    ):
        (folder := before / "cluster").mkdir()
        with real.cluster(folder, workers=0) as made:
            made.add_workers(1, before=[before])
            with pytest.raises(
                StudyError, match=r"--cluster \S+: worker tcp://127.0.0.1:[0-9]+ " + said
            ):
                Cluster(made.address)


@pytest.mark.slow
def test_one_of_the_two_ways_to_have_workers(tmp_path: Path) -> None:
    (tmp_path / "s.toml").write_text(minimal_study_text())
    run = statorodds(tmp_path, "run", "s.toml", "--cluster", "tcp://127.0.0.1:1", "--workers", "2")
    said = run.communicate()[1]
    assert run.returncode == 2
    assert said.startswith("statorodds: --workers: counts processes of this machine")
    assert not (tmp_path / "s-results").exists()


# --- TLS ----------------------------------------------------------------------


@pytest.fixture(scope="module")
def encrypted(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """Settings of Dask for an authority, a certificate and a key of this test."""
    if not shutil.which("openssl"):
        pytest.skip("needs openssl to make a certificate")
    folder = tmp_path_factory.mktemp("tls")
    subprocess.run(
        [
            "openssl",
            "req",
            "-x509",
            "-newkey",
            "rsa:2048",
            "-nodes",
            "-days",
            "2",
            "-subj",
            "/CN=127.0.0.1",
            "-addext",
            "subjectAltName=IP:127.0.0.1",
            "-keyout",
            "key.pem",
            "-out",
            "cert.pem",
        ],
        cwd=folder,
        check=True,
        capture_output=True,
    )
    tls = "DASK_DISTRIBUTED__COMM__TLS__"
    names = {
        f"{tls}CA_FILE": "cert.pem",
        **{
            f"{tls}{who}__{what}": f"{what.lower()}.pem"
            for what in ("CERT", "KEY")
            for who in ("CLIENT", "SCHEDULER", "WORKER")
        },
    }
    return {name: str(folder / file) for name, file in names.items()}


@pytest.mark.slow
def test_tls_serves_a_run_and_a_wrong_file_is_named(
    encrypted: dict[str, str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    import dask

    with dask.config.set({}):
        for name, value in encrypted.items():
            monkeypatch.setenv(name, value)
        dask.config.refresh()
        with (
            real.cluster(tmp_path, scheme="tls", environment=encrypted) as made,
            Cluster(made.address) as place,
        ):
            assert made.address.startswith("tls://")
            assert same(Workers(site=place).mapped(solved, tasks(6)), tasks(6))
            plain = made.address.replace("tls://", "tcp://")
            with pytest.raises(
                StudyError, match=r"cannot be reached .* with or without TLS as in the address"
            ):
                Cluster(plain, connect_s=1.0)
        monkeypatch.setenv("DASK_DISTRIBUTED__COMM__TLS__CA_FILE", str(tmp_path / "gone.pem"))
        dask.config.refresh()
        with pytest.raises(StudyError, match="the files for TLS cannot be used"):
            Cluster("tls://127.0.0.1:1")
    for name in encrypted:
        monkeypatch.delenv(name)
    dask.config.refresh()
