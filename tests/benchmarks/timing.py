"""Times of rivals in turns, so that what else the machine does falls on all of them."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from typing import Any

Clock = Callable[[], float]


def best_of(
    rounds: int, *runs: Callable[[], Any], clock: Clock = time.process_time
) -> Sequence[float]:
    """Least time of each [s]; every run once a round, in turn. Process time for what stays in this
    process."""
    best = [float("inf")] * len(runs)
    for _ in range(rounds):
        for k, run in enumerate(runs):
            start = clock()
            run()
            best[k] = min(best[k], clock() - start)
    return best


def row(text: str, value: object, *remarks: str) -> None:
    print("| " + " | ".join([text, str(value), *(remarks or ("",))]) + " |", flush=True)


def header(*columns: str) -> None:
    print("\n| " + " | ".join(columns) + " |\n" + "|---" * len(columns) + "|", flush=True)
