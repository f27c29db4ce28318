"""python -m tests.fuzz [--cases N] [--seed N] [--every N] [--keep DIR] [--quick]: mutated study
files through `check`, one in `--every` of those accepted through `run`; prints the table of
tests/MEASUREMENTS.md and ends with 1 if anything was wrong."""

from __future__ import annotations

import argparse
import faulthandler
import gc
import os
import resource
import shutil
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from hypothesis import HealthCheck, Phase, given, seed, settings

from tests.benchmarks.timing import header, row
from tests.fuzz.judge import Verdict, check, furnish, say
from tests.fuzz.mutations import BASES, Case, cases
from tests.fuzz.runs import run

BATCH = 500  # cases of one seed of Hypothesis
MEMORY = 8 << 30  # bytes of address space: beyond it Python says MemoryError


@dataclass
class Score:
    """What came of the cases, by kind of mutation."""

    outcomes: Counter[tuple[str, str]] = field(default_factory=Counter)
    slowest: tuple[float, str] = (0.0, "")
    runs: Counter[str] = field(default_factory=Counter)
    slowest_run: float = 0.0
    wrong: list[str] = field(default_factory=list)


def draw(wanted: int, root: int, judge: Callable[[Case], None]) -> None:
    """`wanted` cases, each handed to `judge`; the same root gives the same cases."""
    for batch in range(-(-wanted // BATCH)):

        @seed(root + batch)
        @settings(
            max_examples=min(BATCH, wanted - batch * BATCH),
            database=None,
            deadline=None,
            phases=[Phase.generate],
            suppress_health_check=list(HealthCheck),
        )
        @given(cases)
        def one(case: Case) -> None:
            judge(case)

        one()
        say(
            f"  ... {min((batch + 1) * BATCH, wanted)} cases, seed {root + batch}, peak "
            f"{resource.getrusage(resource.RUSAGE_SELF).ru_maxrss >> 10} MiB"
        )


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.fuzz")
    parser.add_argument("--cases", type=int, default=20_000)
    parser.add_argument("--seed", type=int, default=20261127)
    parser.add_argument("--every", type=int, default=50, help="accepted files for one that is run")
    parser.add_argument("--keep", type=Path, help="folder for the files with a wrong answer")
    parser.add_argument("--quick", action="store_true", help="forty cases, none of them run")
    options = parser.parse_args()
    if options.quick:
        options.cases, options.every = 40, 1000
    os.environ["MPLBACKEND"] = "agg"
    faulthandler.enable()
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
    with tempfile.TemporaryDirectory() as home:
        score = fuzz(Path(home), options.cases, options.seed, options.every, options.keep)
    tell(score, options.cases, options.seed)
    return 1 if score.wrong else 0


def fuzz(home: Path, wanted: int, root: int, every: int, keep: Path | None = None) -> Score:
    folder, score, start = home / "study", Score(), time.perf_counter()
    folder.mkdir()
    furnish(folder)
    file = folder / "study.toml"
    for text in BASES.values():  # compiles what the first of all would wait for
        file.write_text(text, encoding="utf-8")
        verdict = check(file, 3600.0)
        assert verdict.code == 0, verdict
    accepted = 0

    def wrong(case: Case, found: Verdict, what: str) -> None:
        name = f"{len(score.wrong):04d}-{case.base}.toml"
        score.wrong.append(f"{what} of {name} ({case.kind}): {found.wrong}")
        say(f"  WRONG {score.wrong[-1]}")
        if keep is not None:
            keep.mkdir(exist_ok=True)
            (keep / name).write_bytes(case.content)

    def judge(case: Case) -> None:
        nonlocal accepted
        file.write_bytes(case.content)
        found = check(file)
        score.outcomes[
            case.kind, "wrong" if found.wrong else "accepted" if found.code == 0 else "refused"
        ] += 1
        score.slowest = max(score.slowest, (found.seconds, f"{case.base}, {case.kind}"))
        if found.wrong:
            wrong(case, found, "check")
        elif found.code == 0:
            accepted += 1
            if accepted % every == 0:
                ran = run(file, home / "results")
                shutil.rmtree(home / "results", ignore_errors=True)
                score.runs[
                    (
                        "left out: long"
                        if ran is None
                        else "wrong"
                        if ran.wrong
                        else "ran"
                        if ran.code == 0
                        else "refused"
                    )
                ] += 1
                if ran is not None:
                    score.slowest_run = max(score.slowest_run, ran.seconds)
                    if ran.wrong:
                        wrong(case, ran, "run")
                gc.collect()

    draw(wanted, root, judge)
    say(f"  {time.perf_counter() - start:.0f} s")
    return score


def tell(score: Score, wanted: int, root: int) -> None:
    last = root + -(-wanted // BATCH) - 1
    say(f"\n{wanted} cases, seeds {root} to {last}, {BATCH} a seed")
    header("mutation", "refused", "accepted", "wrong")
    outcomes = ("refused", "accepted", "wrong")
    for kind in sorted({kind for kind, _ in score.outcomes}):
        row(kind, *(f"{score.outcomes[kind, outcome]:,}" for outcome in outcomes))
    row(
        "all",
        *(
            f"{sum(n for (_, given), n in score.outcomes.items() if given == outcome):,}"
            for outcome in outcomes
        ),
    )
    say(
        f"\nslowest check {score.slowest[0]:.1f} s ({score.slowest[1]}); runs: "
        + (", ".join(f"{what} {n}" for what, n in sorted(score.runs.items())) or "none")
        + f"; slowest run {score.slowest_run:.0f} s; peak memory "
        f"{resource.getrusage(resource.RUSAGE_SELF).ru_maxrss >> 10} MiB"
    )
    for line in score.wrong:
        say(line)


if __name__ == "__main__":
    sys.exit(main())
