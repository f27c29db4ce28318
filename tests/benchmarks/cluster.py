"""What a chunk costs beside its work, on processes of this machine and on a Dask cluster of two
workers here, and what a study of 10^9 samples costs to hand out to many workers:
`python -m tests.benchmarks.cluster`. About ten minutes; `--whole` hands out all of its tasks, some
ten minutes more; `--quick` shows in seconds that every part works."""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

from montecarlo.engine.count import run_chunk
from montecarlo.engine.counted import Counted, compile_solvers, counted_chunks
from montecarlo.engine.job import Job
from montecarlo.engine.sizes import designs
from montecarlo.engine.workers import Workers
from montecarlo.engine.workers.cluster import Cluster
from montecarlo.engine.workers.finished import Finished
from montecarlo.engine.workers.packing import pack, unpack
from montecarlo.sampling.stratum import Side, Stratum
from montecarlo.study.candidates import candidate_lattices
from montecarlo.study.read import read_study
from montecarlo.study.strata import strata
from tests.benchmarks.handover import Nothing, handed_out, job_of, keep_answers, nothing
from tests.benchmarks.many_workers import many_workers
from tests.benchmarks.timing import header, row
from tests.trouble.cluster import cluster

CONFIGS = Path(__file__).parents[2] / "configs"


@dataclass(frozen=True)
class Sizes:
    samples: int = 8192  # of each type of the study
    empty: int = 400  # chunks without work
    repeats: int = 2  # the best time counts
    large: int = 10**9  # samples of the study that is handed out without its work
    workers: tuple[int, ...] = (10, 100, 300, 1000)
    handed: int | None = 2000  # tasks of it
    rest_s: float = 8.0


FULL = Sizes()
WHOLE = Sizes(workers=(10,), handed=None)  # for many workers it would be the same
# One event per installation
QUICK = Sizes(256, empty=4, repeats=1, workers=(2,), handed=30, rest_s=0.5)


def best(act: Callable[[], object], sizes: Sizes) -> float:
    taken = []
    for _ in range(sizes.repeats):
        begin = time.perf_counter()
        act()
        taken.append(time.perf_counter() - begin)
    return min(taken)


def per_chunk(workers: Callable[[Finished | None], Workers], sizes: Sizes) -> tuple[float, float]:
    """Seconds a chunk without work, without and with keeping it."""

    def run(finished: Finished | None) -> None:
        list(workers(finished).mapped(nothing, [Nothing(number) for number in range(sizes.empty)]))

    run(None)  # starts the processes
    plain = best(lambda: run(None), sizes)

    def keep() -> None:
        with TemporaryDirectory() as folder:
            run(Finished(Path(folder)))

    return plain / sizes.empty, best(keep, sizes) / sizes.empty


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.cluster", description=__doc__)
    parser.add_argument("--quick", dest="sizes", action="store_const", const=QUICK, default=FULL)
    parser.add_argument("--whole", dest="sizes", action="store_const", const=WHOLE)
    sizes = parser.parse_args().sizes
    if sizes is not WHOLE:
        print_chunks(sizes)
    print_hand_over(sizes)


def print_chunks(sizes: Sizes) -> None:
    study = read_study(CONFIGS / "hydro_11kv.toml", samples=sizes.samples)
    lattices = candidate_lattices(study)
    compile_solvers(study, lattices)
    job = Job(study.alone, lattices, *designs(study))
    header(
        "a chunk of hydro_11kv, 210 and more candidates",
        "seconds of work",
        "packed kB, ms to pack, ms to unpack",
    )
    for name in strata(study):
        chunk = job.design_of(name).chunks(name)[0]
        solve = best(lambda chunk=chunk: run_chunk(job, chunk), sizes)
        tally = run_chunk(job, chunk)
        data = pack(("", tally))
        packing = best(lambda tally=tally: pack(("", tally)), sizes)
        unpacking = best(lambda data=data: unpack(data), sizes)
        row(
            name,
            f"{solve:.3f}",
            f"{len(data) / 1e3:.1f}, {1e3 * packing:.2f}, {1e3 * unpacking:.2f}",
        )
    header("an empty chunk", "ms each", "ms each, kept on the disk")
    for name, plain, kept in places(sizes):
        row(name, f"{1e3 * plain:.2f}", f"{1e3 * kept:.2f}")
    name = Stratum.of(Side.EXTERNAL, study.external_events[0].name)
    tasks = [Counted(job, chunks, False) for chunks in job.design_of(name).tasks(name)]
    header(
        f"{name}, {len(tasks)} chunks",
        "seconds, two workers",
        "times the processes of this machine",
    )
    with (
        TemporaryDirectory() as folder,
        cluster(Path(folder)) as made,
        Cluster(made.address) as place,
    ):
        everywhere = {"processes": Workers(2), "Dask": Workers(site=place)}
        for crew in everywhere.values():
            list(crew.mapped(counted_chunks, tasks))  # compiles there
        taken = {
            name: best(lambda crew=crew: list(crew.mapped(counted_chunks, tasks)), sizes)
            for name, crew in everywhere.items()
        }
    for name, seconds in taken.items():
        row(name, f"{seconds:.2f}", f"{seconds / taken['processes']:.2f}")


def print_hand_over(sizes: Sizes) -> None:
    small, large = (
        job_of(read_study(CONFIGS / "hydro_11kv.toml", samples=samples))
        for samples in (sizes.samples, sizes.large)
    )
    found = []
    with TemporaryDirectory() as folder:
        answers = Path(folder, "answers")
        answers.mkdir()
        keep_answers(small, answers)
        header(
            f"{sizes.large:.0e} samples, tasks without work, on so many workers",
            "ms a task: scheduler, run's process",
            "kB a task over the network",
            "at rest, ms a second: scheduler, all workers",
        )
        for count in sizes.workers:
            own, kept = Path(folder, str(count)), Path(folder, f"{count}-kept")
            own.mkdir()
            kept.mkdir()
            with many_workers(own, count) as many:
                rest = many.at_rest(sizes.rest_s)
                handed = handed_out(many, large, answers, kept, sizes.handed)
            found.append((count, handed))
            beats_s = rest.scheduler_s / rest.wall_s * handed.spent.wall_s
            each = 1 / handed.tasks
            row(
                str(count),
                f"{1e3 * each * (handed.spent.scheduler_s - beats_s):.1f},"
                f" {1e3 * each * handed.spent.own_s:.1f}",
                f"{each * handed.spent.sent_bytes / 1e3:.0f}",
                f"{1e3 * rest.scheduler_s / rest.wall_s:.0f},"
                f" {1e3 * rest.workers_s / rest.wall_s:.0f}",
            )
    header(
        "the same, of the run's process", "tasks, s in all", "s: listed, added", "MB: grown, kept"
    )
    for count, handed in found:
        row(
            f"{count} workers",
            f"{handed.tasks:,}, {handed.spent.wall_s:.0f}",
            f"{handed.listing_s:.2f}, {handed.adding_s:.2f}",
            f"{handed.grown_bytes / 1e6:.0f}, {handed.kept_bytes / 1e6:.0f}",
        )


def places(sizes: Sizes) -> list[tuple[str, float, float]]:
    found = [
        ("this process", *per_chunk(lambda finished: Workers(1, finished=finished), sizes)),
        (
            "two processes of this machine",
            *per_chunk(lambda finished: Workers(2, finished=finished), sizes),
        ),
    ]
    with (
        TemporaryDirectory() as folder,
        cluster(Path(folder)) as made,
        Cluster(made.address) as place,
    ):
        found.append(
            (
                "Dask, two workers here",
                *per_chunk(lambda finished: Workers(site=place, finished=finished), sizes),
            )
        )
    return found


if __name__ == "__main__":
    main()
