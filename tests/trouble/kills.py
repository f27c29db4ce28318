"""Kills a run at random moments, again and again, and looks whether anything was lost:
`python -m tests.trouble.kills`.

Each life of the run is the same command on the same folder; SIGKILL reaches it, and by lot its
worker processes too, at a moment drawn between its start and somewhat more than a whole run takes.
Now and then a second run on the same folder must be refused while the first is alive."""

from __future__ import annotations

import argparse
import os
import random
import signal
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

from tests.made.studies import minimal_study_text

ROOT = Path(__file__).parents[2]


@dataclass
class Toll:
    """What became of the runs."""

    kills: int = 0  # that reached a living run
    early: int = 0  # of these, before a chunk was finished
    late: int = 0  # of these, while results were drawn, written or put in place
    runs: int = 0  # that came to their end
    resumed: int = 0  # chunks taken over from an earlier life
    solved_again: int = 0  # chunks that were finished and were not found again
    refused: int = 0  # second runs on a folder in use


def start(folder: Path, workers: int) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [
            sys.executable,
            "-m",
            "studies",
            "run",
            "s.toml",
            "--out",
            "out",
            "--workers",
            str(workers),
        ],
        cwd=folder,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )


def tables(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.glob("*.csv")}


def chunks(folder: Path) -> set[str]:
    return {path.name for path in (folder / "out" / "unfinished" / "chunks").glob("*.npz")}


def kill(run: subprocess.Popen[str], with_workers: bool) -> None:
    if with_workers:
        os.killpg(run.pid, signal.SIGKILL)
    else:
        run.kill()
    run.communicate()


def lives(folder: Path, whole_s: float, most: int, rng: random.Random, toll: Toll) -> float:
    """One run through all its lives, at most so many kills; how long its last life took at most."""
    before: set[str] = set()
    while True:
        begin = time.perf_counter()
        run = start(folder, workers := rng.choice((1, 1, 2)))
        time.sleep(rng.uniform(0.05, 1.15) * whole_s)
        if run.poll() is None and toll.kills < most:
            if rng.random() < 0.15 and (folder / "out" / "unfinished" / "run.json").exists():
                second = start(folder, 1)
                said = second.communicate()[1]
                if run.poll() is None:
                    assert second.returncode == 2, said
                    assert (
                        "another run is at work here" in said or "exists and is not empty" in said
                    ), said
                    toll.refused += 1
            alive = run.poll() is None
            kill(run, with_workers=workers == 2 and rng.random() < 0.5)
            toll.kills += alive
            now = chunks(folder)
            toll.early += alive and not now
            toll.late += alive and any((folder / "out" / "unfinished" / "results").glob("*"))
            if (folder / "out" / "unfinished").exists():
                toll.solved_again += len(before - now)
                before = now
        _, err = run.communicate()
        if run.returncode == 0:
            toll.runs += 1
            toll.resumed += len(before) if f"({len(before)} finished chunks)" in err else 0
            return time.perf_counter() - begin
        if run.returncode > 0:  # killed when everything stood there, and begun once more
            assert "exists and is not empty; add --replace" in err, err
            assert (folder / "out" / "provenance.json").exists()
            toll.runs += 1
            return whole_s


def campaign(kills: int, seed: int, folder: Path) -> Toll:
    """So many kills, over as many runs as it takes. Raises AssertionError where a table differs or
    a run fails."""
    rng, toll = random.Random(seed), Toll()
    (folder / "s.toml").write_text(minimal_study_text())
    begin = time.perf_counter()
    _, err = start(folder, 1).communicate()
    whole_s, wanted = time.perf_counter() - begin, tables(folder / "out")
    assert wanted, err
    while toll.kills < kills:
        (place := folder / f"run-{toll.runs}").mkdir()
        (place / "s.toml").write_text(minimal_study_text())
        whole_s = min(
            whole_s, lives(place, whole_s, kills, rng, toll)
        )  # the machine may have less to do by now
        assert tables(place / "out") == wanted, f"{place}: other tables"
        assert not list((place / "out").glob(".statorodds-*"))
    return toll


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kills", type=int, default=60)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--quick", action="store_true", help="one kill")
    chosen = parser.parse_args()
    if chosen.quick:
        chosen.kills = 1
    with TemporaryDirectory() as folder:
        toll = campaign(chosen.kills, chosen.seed, Path(folder))
    print(
        f"{toll.kills} kills in {toll.runs} runs: {toll.early} before a chunk was finished,"
        f" {toll.late} while results were written; {toll.resumed} chunks taken over,"
        f" {toll.solved_again} finished chunks lost; {toll.refused} second runs refused; all tables"
        " equal to those of a run in peace"
    )


if __name__ == "__main__":
    main()
