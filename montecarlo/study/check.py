"""What a consistency check is."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from montecarlo.study.description import Study


@dataclass(frozen=True)
class Check:
    """A check and the tables that it reads."""

    faults: Callable[[Study], Iterator[str]]
    needs: tuple[str, ...]
