"""Workers: results in order whatever comes first, and what becomes of chunks whose process dies,
hangs or fails."""

from __future__ import annotations

import io
import multiprocessing
import os
import subprocess
import sys
import time
import zipfile
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from montecarlo.engine.workers import Workers
from montecarlo.engine.workers.finished import Finished
from montecarlo.engine.workers.packing import Damaged, pack, unpack
from montecarlo.engine.workers.pool import Site
from montecarlo.engine.workers.processes import Processes, started_early
from montecarlo.engine.workers.ticket import Broken, Reply, Ticket, solve
from montecarlo.errors import RunStopped, StudyError
from tests.made.chunks import Task, expected, put, solved

ROOT = Path(__file__).parents[5]


def tasks(count: int, **special: Task) -> list[Task]:
    """Numbered tasks; those named t3=... in place of their number."""
    return [special.get(f"t{number}", Task(number)) for number in range(count)]


def same(found: Iterable[object], wanted: list[Task]) -> bool:
    return [np.asarray(each).tolist() for each in found] == [
        expected(task).tolist() for task in wanted
    ]


class Reversed(Site):
    """Answers in the wrong order, or loses some once they are sent."""

    def __init__(self, loses: dict[int, int] | None = None, at_once: int = 4) -> None:
        self.software = None
        self.loses, self.at_once, self.rounds, self.mended = loses or {}, at_once, [list[int]()], 0

    def answers(self, tickets: Iterable[Ticket]) -> Iterator[Reply]:
        window: list[Ticket] = []
        self.rounds.append([])
        for ticket in tickets:
            self.rounds[-1].append(ticket.index)
            window.append(ticket)
            if len(window) == self.at_once:
                yield from self._answered(window)
        yield from self._answered(window)

    def _answered(self, window: list[Ticket]) -> Iterator[Reply]:
        while window:
            ticket = window.pop()
            if self.loses.get(ticket.index, 0):
                self.loses[ticket.index] -= 1
                raise Broken("lost")
            yield solve(ticket)

    def mend(self) -> None:
        self.mended += 1


@pytest.mark.parametrize("count", [0, 1, 3, 4, 9])
@pytest.mark.parametrize("kept", [False, True])
def test_results_have_the_order_of_the_tasks(count: int, kept: bool, tmp_path: Path) -> None:
    workers = Workers(2, site=Reversed(), finished=Finished(tmp_path) if kept else None)
    assert same(workers.mapped(solved, tasks(count)), tasks(count))


def test_answers_are_taken_to_their_end_so_that_processes_stay_for_the_next_step() -> None:
    class Watched(Reversed):
        ended = 0

        def answers(self, tickets: Iterable[Ticket]) -> Iterator[Reply]:
            yield from super().answers(tickets)
            self.ended += 1  # not reached where a generator is left half way

    place = Watched()
    workers = Workers(2, site=place)
    for step in (1, 2):
        assert same(workers.mapped(solved, tasks(6)), tasks(6))
        assert place.ended == step


def test_a_round_that_breaks_costs_only_what_was_on_its_way() -> None:
    place = Reversed({5: 1})
    assert same(Workers(2, site=place).mapped(solved, tasks(12)), tasks(12))
    assert place.mended == 1
    assert [len(sent) for sent in place.rounds[1:]] == [
        8,
        1,
        1,
        4,
    ]  # 7, 6 were back; 4, 5 alone; the rest


def test_a_chunk_that_is_lost_again_is_named_when_all_others_are_done(tmp_path: Path) -> None:
    place = Reversed({5: 9, 9: 9})
    with pytest.raises(RunStopped) as caught:
        list(Workers(2, site=place, finished=Finished(tmp_path)).mapped(solved, tasks(12)))
    assert [fault.split(":")[0] for fault in caught.value.faults] == [
        "chunk task 5",
        "chunk task 9",
    ]
    assert len(Finished(tmp_path)) == 10
    place = Reversed()
    assert same(
        Workers(2, site=place, finished=Finished(tmp_path)).mapped(solved, tasks(12)), tasks(12)
    )
    assert place.rounds[1:] == [[5, 9]]


def test_a_place_that_only_breaks_is_given_up() -> None:
    class Useless(Reversed):
        def answers(self, tickets: Iterable[Ticket]) -> Iterator[Reply]:
            raise Broken("nobody there")
            yield

    with pytest.raises(RunStopped, match="ended 4 times without finishing anything"):
        list(Workers(2, site=Useless()).mapped(solved, tasks(3)))


def test_an_error_of_a_chunk_is_raised_as_it_is_and_names_the_chunk() -> None:
    with pytest.raises(ArithmeticError, match="number 1") as caught:
        list(Workers(1).mapped(solved, tasks(3, t1=Task(1, "fails"))))
    assert "in chunk task 1" in caught.value.__notes__[0]


def test_a_chunk_without_memory_is_one_line() -> None:
    with pytest.raises(RunStopped, match="chunk task 1: too little memory; take fewer --workers"):
        list(Workers(1).mapped(solved, tasks(3, t1=Task(1, "swells"))))


def test_a_worker_elsewhere_with_other_software_is_no_fault_of_the_study() -> None:
    answer = solve(Ticket(0, solved, Task(0), software=(("numpy", "0.1"),)))
    assert isinstance(answer.error, RunStopped)
    assert "where 0.1 is wanted; install the same versions there and start the worker again" in str(
        answer.error
    )


def test_a_folder_that_was_taken_away_is_told(tmp_path: Path) -> None:
    (folder := tmp_path / "chunks").mkdir()
    finished = Finished(folder)
    folder.rmdir()
    with pytest.raises(RunStopped, match="start the run again, and leave the folder to it"):
        finished.put(1, 0, b"whole")


# --- real processes -----------------------------------------------------------


def test_a_process_that_dies_once_costs_nothing(tmp_path: Path) -> None:
    bad = Task(3, "dies", once=tmp_path / "died")
    assert same(Workers(2).mapped(solved, tasks(8, t3=bad)), tasks(8))


def test_a_process_that_has_grown_ends_without_a_word(recwarn: pytest.WarningsRecorder) -> None:
    """loky looks at a process after a second, and starts another in its place."""
    pytest.importorskip("psutil", reason="without it loky does not look")
    some = [Task(number, "grows" if number == 0 else "", takes_s=0.4) for number in range(12)]
    assert same(Workers(2).mapped(solved, some), some)
    assert [str(one.message) for one in recwarn] == []


def test_a_chunk_that_kills_its_process_again_and_again_is_named(tmp_path: Path) -> None:
    with pytest.raises(RunStopped, match="chunk task 3: its worker process ended") as caught:
        list(Workers(2, finished=Finished(tmp_path)).mapped(solved, tasks(8, t3=Task(3, "dies"))))
    assert len(caught.value.faults) == 1
    assert len(Finished(tmp_path)) == 7


def test_a_chunk_that_never_ends_is_named() -> None:
    """Alone, so that it alone can be late however busy the machine is; what becomes of others
    beside a lost chunk is tried above."""
    workers = Workers(2, site=Processes(2, stalled_s=2.0))
    with pytest.raises(RunStopped, match="chunk task 3: no answer in 2 s, also when solved alone"):
        list(workers.mapped(solved, [Task(3, "hangs")]))


@pytest.mark.filterwarnings(
    "ignore:.*(still being processed|successfully executed)"
)  # joblib tells what it drops
def test_an_error_comes_through_from_another_process() -> None:
    with pytest.raises(ArithmeticError, match="number 3") as caught:
        list(Workers(2).mapped(solved, tasks(6, t3=Task(3, "fails"))))
    assert "in chunk task 3" in "".join(caught.value.__notes__)


HANGS = """
from pathlib import Path
from montecarlo.engine.workers import Workers
from tests.made.chunks import Task, solved
tasks = [Task(number, "hangs", once=Path(f"{number}")) for number in range(2)]
list(Workers(2).mapped(solved, tasks))
"""


@pytest.mark.skipif(os.name != "posix", reason="a process keeps its parent's number there")
def test_processes_end_with_a_run_that_was_killed(tmp_path: Path) -> None:
    """Its pipe closes when the last of them is gone."""
    run = subprocess.Popen(
        [sys.executable, "-c", HANGS],
        cwd=tmp_path,
        stdout=subprocess.PIPE,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )
    while not ((tmp_path / "0").exists() and (tmp_path / "1").exists()):
        assert run.poll() is None
        time.sleep(0.1)
    run.kill()
    assert run.communicate(timeout=60) == (b"", None)


# --- before chunks, and beside what follows them ------------------------------


def test_processes_that_were_started_early_are_those_that_solve(tmp_path: Path) -> None:
    with started_early(2, ["montecarlo.sampling.nets"]):
        early = {*multiprocessing.active_children()}
        assert same(Workers(2).mapped(solved, tasks(4)), tasks(4))
        assert {*multiprocessing.active_children()} == early
    assert len(early) >= 2


def test_processes_that_were_started_early_end_with_an_error() -> None:
    before, started = {*multiprocessing.active_children()}, set[Any]()

    def wrong() -> None:
        started.update({*multiprocessing.active_children()} - before)
        raise StudyError("wrong")

    with pytest.raises(StudyError, match="wrong"), started_early(2, []):
        wrong()
    for process in started:
        process.join(10)
    assert not any(process.is_alive() for process in started)


def test_one_worker_starts_none() -> None:
    before = {*multiprocessing.active_children()}
    with started_early(1, ["no_such_module"]):
        assert {*multiprocessing.active_children()} == before


def test_a_module_that_is_not_there_is_no_fault_of_a_run() -> None:
    with started_early(2, ["no_such_module"]):
        assert same(Workers(2).mapped(solved, tasks(4)), tasks(4))


@pytest.mark.parametrize("count", [1, 2])
def test_a_function_beside_has_ended_at_the_end_of_the_block(count: int, tmp_path: Path) -> None:
    with Workers(count).beside(put, tmp_path / "file", "text"):
        pass
    text, process = (tmp_path / "file").read_text().split()
    assert text == "text"
    assert (process == str(os.getpid())) == (count == 1)


@pytest.mark.parametrize("count", [1, 2])
def test_a_function_beside_hands_back_what_it_returns(count: int) -> None:
    crew = Workers(count)
    with crew.beside(divmod, 17, 5) as found:
        assert same(crew.mapped(solved, tasks(4)), tasks(4))
    assert found.value == (3, 2)


def test_a_function_beside_outlives_processes_that_others_lose(tmp_path: Path) -> None:
    """Its own is ended with theirs, and it is called here."""
    crew, bad = Workers(2), Task(3, "dies", once=tmp_path / "died")
    with crew.beside(time.sleep, 1.0) as found:
        assert same(crew.mapped(solved, tasks(8, t3=bad)), tasks(8))
    assert found.value is None


def test_a_function_whose_process_is_lost_is_called_here(tmp_path: Path) -> None:
    me = str(os.getpid())
    with Workers(2).beside(put, tmp_path / "file", me, "dies"):
        pass
    assert (tmp_path / "file").read_text() == f"{me} {me}"


@pytest.mark.parametrize("count", [1, 2])
def test_what_a_function_beside_raises_comes_through(count: int, tmp_path: Path) -> None:
    with (
        pytest.raises(OSError, match="no room"),
        Workers(count).beside(put, tmp_path / "file", "text", "fails"),
    ):
        pass


def test_an_error_meanwhile_ends_the_function_beside(tmp_path: Path) -> None:
    with (
        pytest.raises(KeyboardInterrupt),
        Workers(2).beside(put, tmp_path / "file", "text", "hangs"),
    ):
        raise KeyboardInterrupt
    assert not (tmp_path / "file").exists()


# --- finished chunks ----------------------------------------------------------


def run(folder: Path, count: int = 5) -> tuple[list[object], list[list[int]]]:
    """Two calls on what stands in a folder; their results, and what was solved for each."""
    place = Reversed(at_once=1)
    workers = Workers(2, site=place, finished=Finished(folder))
    found = [*workers.mapped(solved, tasks(count)), *workers.mapped(solved, tasks(count))]
    return found, place.rounds[1:]


def test_what_is_finished_is_not_solved_again(tmp_path: Path) -> None:
    first, sent = run(tmp_path)
    assert sent == [[0, 1, 2, 3, 4]] * 2
    (tmp_path / "0002-000003.npz").unlink()
    again, sent = run(tmp_path)
    assert sent == [[3]]
    assert same(again, 2 * tasks(5))
    assert [np.asarray(each).tobytes() for each in again] == [
        np.asarray(each).tobytes() for each in first
    ]


@pytest.mark.parametrize("damage", [b"", b"PK", b"no archive at all"])
def test_a_damaged_chunk_is_solved_again(tmp_path: Path, damage: bytes) -> None:
    run(tmp_path)
    (tmp_path / "0001-000002.npz").write_bytes(damage)
    again, sent = run(tmp_path)
    assert sent == [[2]]
    assert same(again, 2 * tasks(5))


def test_every_single_wrong_byte_is_noticed_or_does_not_matter(tmp_path: Path) -> None:
    run(tmp_path, 1)
    path = tmp_path / "0001-000000.npz"
    whole = path.read_bytes()
    for place in range(len(whole)):
        path.write_bytes(whole[:place] + bytes([whole[place] ^ 0x41]) + whole[place + 1 :])
        assert same(run(tmp_path, 1)[0], 2 * tasks(1))
    for length in range(0, len(whole), 7):
        path.write_bytes(whole[:length])
        assert same(run(tmp_path, 1)[0], 2 * tasks(1))


def _archive(tree: str, header: str) -> bytes:
    """An archive of one array that has nothing but a header."""
    target = io.BytesIO()
    with zipfile.ZipFile(target, "w") as archive:
        archive.writestr("tree.json", tree)
        archive.writestr(
            "0.npy", b"\x93NUMPY\x01\x00" + len(header).to_bytes(2, "little") + header.encode()
        )
    return target.getvalue()


ONE = '{"tuple": ["a", {"array": [0, 0, [1], "C"]}]}'
HEADER = "{'descr': '%s', 'fortran_order': False, 'shape': (%d,)}\n"


@pytest.mark.parametrize(
    "data",
    [
        _archive("[" * 100_000, HEADER % ("<f8", 0)),
        _archive('{"tuple": ["a", {"Path": {}}]}', HEADER % ("<f8", 0)),
        _archive('{"tuple": ["a", {"Tally": {}}]}', HEADER % ("<f8", 0)),
        _archive(ONE, HEADER % ("<f8", 10**12)),
        _archive(ONE, HEADER % ("<f8", 10**25)),
        _archive(ONE, HEADER % ("|O", 1)),
        _archive(ONE, "{'descr': (((\n"),
        *(
            bytes(
                byte | (place - sign == 8) for place, byte in enumerate(whole)
            )  # "encrypted", by one wrong bit
            for whole in [pack(("a", 1.0))]
            for sign in [whole.index(b"PK\x01\x02")]
        ),
    ],
)
def test_whatever_is_no_chunk_is_damaged(data: bytes) -> None:
    with pytest.raises(Damaged):
        unpack(data)


def test_another_task_of_that_number_is_not_taken_for_it(tmp_path: Path) -> None:
    run(tmp_path)
    workers = Workers(1, finished=Finished(tmp_path))
    others = [Task(number + 100) for number in range(5)]
    assert same(workers.mapped(solved, others), others)


def test_halves_of_a_killed_run_are_removed(tmp_path: Path) -> None:
    (tmp_path / "abc.part").write_bytes(b"half")
    assert len(Finished(tmp_path)) == 0
    assert not list(tmp_path.iterdir())


def test_a_full_disk_keeps_what_was_done(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    finished = Finished(tmp_path)
    finished.put(1, 0, b"whole")

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.replace", full)
    with pytest.raises(
        RunStopped, match="cannot be written \\(No space left on device\\); free some space"
    ):
        finished.put(1, 1, b"more")
    assert [path.name for path in tmp_path.iterdir()] == ["0001-000000.npz"]


def test_a_stopped_run_is_a_fault_of_no_study() -> None:
    assert issubclass(RunStopped, StudyError)


def test_a_pipe_in_place_of_a_chunk_is_solved_again(tmp_path: Path) -> None:
    (finished := Finished(tmp_path)).put(1, 0, pack(("task 0", 1.0)))
    os.mkfifo(tmp_path / "0001-000001.npz")
    assert finished.among(1, ["task 0", "task 1"]) == {0}
    finished.put(1, 1, pack(("task 1", 2.0)))
    assert finished.take(1, 1) == 2.0
