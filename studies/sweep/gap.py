"""How much better the best setting may be than the chosen one: a sentence."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from montecarlo.sampling.design import BLOCKS
from studies.report.numbers import amount, digits_of
from studies.report.words import counted

if TYPE_CHECKING:
    from montecarlo import Result

LEAST = 0.01  # percentage points that are worth a word
MANY = 20  # listed settings from which on the best of them is worth a word


def gap_sentences(result: Result) -> Iterator[str]:
    """After a search, and where the policy allows many listed settings."""
    gap = result.gap
    if gap is None or gap.candidates < 2:
        return
    if not result.study.candidates.found and gap.candidates < MANY:
        return
    settings = counted(gap.candidates - 1, "other judged setting")
    if gap.high <= 0:
        yield (
            f"None of {settings} that the policy allows leaves fewer faults uncleared, in any of"
            f" {BLOCKS} independent parts of the samples."
        )
        return
    points = amount(max(100 * gap.high, LEAST), digits=digits_of("p_false"))
    yield (
        f"With 95 % confidence none of {settings} that the policy allows leaves more than"
        f" {points} percentage points fewer faults uncleared."
    )
