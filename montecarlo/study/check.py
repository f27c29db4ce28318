"""What a consistency check and a caution are."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from montecarlo.study.description import Study


@dataclass(frozen=True)
class Check:
    """What makes a study meaningless, and the tables that must have been read to see it."""

    faults: Callable[[Study], Iterator[str]]
    needs: tuple[str, ...]


@dataclass(frozen=True)
class Caution:
    """What the reader of a study should know of one of its keys."""

    key: str
    text: str  # one plain sentence
    standing: bool = False  # it belongs to every study

    def __str__(self) -> str:
        return f"{self.key}: {self.text}"
