"""The options of scripts that repeat a small study with many seeds."""

from __future__ import annotations

import argparse

QUICK = 2  # seeds


def asked(
    name: str, words: str | None, seeds: int, samples: int, fewest: int
) -> tuple[int, int, bool]:
    """Seeds and samples as the command line has them, and whether it shows only that all works."""
    parser = argparse.ArgumentParser(prog=f"python -m tests.coverage.{name}", description=words)
    parser.add_argument("--seeds", type=int, default=seeds)
    parser.add_argument("--samples", type=int, default=samples)
    parser.add_argument("--quick", action="store_true")
    given = parser.parse_args()
    if given.quick:
        return QUICK, fewest, True
    return given.seeds, given.samples, False
