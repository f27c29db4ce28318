"""The same study gives the same bytes: whatever the processes, their number and how they start, the
order in which chunks are computed, the threads of the libraries, hash seed, locale, time zone and
working directory."""

from __future__ import annotations

import multiprocessing
import os
import random
import subprocess
import sys
from collections.abc import Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np
import pytest

from montecarlo import run_study
from montecarlo.engine.count import run_chunk
from montecarlo.engine.job import Job
from montecarlo.engine.sizes import designs
from montecarlo.engine.workers import Workers
from montecarlo.engine.workers.ticket import Reply, Ticket, solve
from montecarlo.estimates.tally import Tally
from montecarlo.frames.result import Result
from montecarlo.sampling.design import Chunk
from montecarlo.study.candidates import candidate_lattices
from montecarlo.study.strata import strata
from studies.cli.output import write_table
from tests.made.studies import minimal_study_text, study_with

ROOT = Path(__file__).parents[1]
THREADS = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "NUMBA_NUM_THREADS")
SMALL = {"study.samples": 64, "study.installations": 16, "policy.p_false_max": 0.5}
ENDS = (".csv", ".svg", ".npz", ".cfg", ".dat", ".hdr")


def written(
    folder: Path, out: str, where: str, workers: int, **environment: str
) -> dict[str, bytes]:
    """Tables, figures and records of a run of the small study in a process of its own."""
    (place := folder / where).mkdir(parents=True)
    text = (
        minimal_study_text()
        .replace("samples = 512", "samples = 64")
        .replace("installations = 32", "installations = 16")
    )
    (place / "tiny.toml").write_text(
        text.replace("p_false_max = 0.01", "p_false_max = 0.5"), encoding="utf-8"
    )
    env = {
        key: value
        for key, value in os.environ.items()
        if key not in (*THREADS, "PYTHONHASHSEED", "LC_ALL", "TZ")
    }
    done = subprocess.run(
        [
            sys.executable,
            "-m",
            "studies",
            "run",
            "tiny.toml",
            "--workers",
            str(workers),
            "--out",
            out,
        ],
        cwd=place,
        env={**env, "PYTHONPATH": str(ROOT), **environment},
        capture_output=True,
        text=True,
        check=False,
        timeout=600,
    )
    assert done.returncode == 0, done.stderr
    return {
        path.relative_to(place / out).as_posix(): path.read_bytes()
        for path in sorted((place / out).rglob("*"))
        if path.suffix in ENDS
    }


@pytest.mark.slow
def test_environment_and_number_of_workers_change_no_byte(tmp_path: Path) -> None:
    """Two runs that differ in everything that is no business of a study."""
    one = written(
        tmp_path,
        "here",
        "a",
        1,
        PYTHONHASHSEED="1",
        LC_ALL="C.UTF-8",
        TZ="UTC",
        **dict.fromkeys(THREADS, "1"),
    )
    other = written(
        tmp_path,
        "elsewhere",
        "b/deeper",
        3,
        PYTHONHASHSEED="2026",
        LC_ALL="C",
        TZ="Asia/Tokyo",
        OMP_NUM_THREADS="2",
        OPENBLAS_NUM_THREADS="2",
        MKL_NUM_THREADS="2",
    )
    assert {
        "candidates.csv",
        "by_type.csv",
        "unresolved.csv",
        "installations.npz",
        "tradeoff.svg",
    } <= one.keys()
    assert one.keys() == other.keys()
    assert [name for name in one if one[name] != other[name]] == []


# --- in this process ----------------------------------------------------------


def tables(result: Result, folder: Path) -> dict[str, bytes]:
    folder.mkdir()
    for name in (
        "candidates",
        "by_type",
        "protected_winding",
        "unresolved",
        "comparison",
        "neighbours",
    ):
        write_table(getattr(result, name), folder / f"{name}.csv")
    return {path.name: path.read_bytes() for path in sorted(folder.iterdir())} | {
        name: np.ascontiguousarray(array).tobytes() for name, array in result.installations.items()
    }


class Shuffled:
    """A place whose answers come in an order of their own."""

    software = None

    def __init__(self) -> None:
        self.order = random.Random(20260101)

    def answers(self, tickets: Iterable[Ticket]) -> Iterator[Reply]:
        mixed = list(tickets)
        self.order.shuffle(mixed)
        return map(solve, mixed)

    def mend(self) -> None: ...


def test_chunks_in_any_order_and_two_workers_give_the_tables_of_one(tmp_path: Path) -> None:
    """Weighted samples from two workers: `properties/test_rare_runs.py`."""
    study = study_with(SMALL)
    before = tables(run_study(study, workers=1), tmp_path / "one")
    assert tables(run_study(study, workers=2), tmp_path / "two") == before
    assert (
        tables(run_study(study, workers=Workers(1, site=Shuffled())), tmp_path / "shuffled")
        == before
    )


# --- in processes started otherwise -------------------------------------------


def chunk_of(task: tuple[Job, Chunk]) -> Tally:
    """As `Workers.mapped` runs it: with one thread of linear algebra."""
    from threadpoolctl import threadpool_limits

    with threadpool_limits(1, user_api="blas"):
        return run_chunk(*task)


@pytest.mark.parametrize("method", ["spawn", pytest.param("forkserver", marks=pytest.mark.slow)])
def test_a_chunk_is_the_same_however_its_process_started(method: str) -> None:
    """Not by fork, which would take a process with threads for its model."""
    study = study_with(SMALL)
    job = Job(study, candidate_lattices(study), *designs(study))
    tasks = [(job, job.design_of(name).chunks(name)[0]) for name in strata(study)]
    with ProcessPoolExecutor(1, mp_context=multiprocessing.get_context(method)) as pool:
        theirs = list(pool.map(chunk_of, tasks))
    for (_, chunk), one, other in zip(tasks, map(chunk_of, tasks), theirs, strict=True):
        for part, same in zip(one.lattices, other.lattices, strict=True):
            for name, values in vars(part).items():
                again = getattr(same, name)
                assert (values is None) == (again is None), (chunk.stratum, name)
                assert values is None or values.tobytes() == again.tobytes(), (chunk.stratum, name)
