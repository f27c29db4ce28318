"""What a kind of study is: something that runs a study and hands back what to write and what to say."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

if TYPE_CHECKING:
    import numpy as np
    import pandas as pd
    from matplotlib.figure import Figure

    from montecarlo.study.description import Study

__all__ = ["Findings", "Keeping", "Kind", "Progress"]

Progress = Callable[[int, int, str], None]                 # samples done, of how many, doing what


@dataclass(frozen=True, eq=False)
class Findings:
    """Files without their ending, and the text for the terminal."""

    frames: Mapping[str, pd.DataFrame]
    figures: Mapping[str, tuple[Figure, str]]              # with what a screen reader says
    arrays: Mapping[str, Mapping[str, np.ndarray[Any, Any]]] = field(default_factory=dict)
    provenance: Mapping[str, Any] = field(default_factory=dict)
    text: tuple[str, ...] = ()                             # lines for the terminal
    begin: tuple[str, ...] = ("candidates.csv", "tradeoff.svg")   # files to look at first

    @property
    def names(self) -> set[str]:
        """The files that these findings make."""
        return {*(f"{name}.csv" for name in self.frames), *(f"{name}.npz" for name in self.arrays),
                *(f"{name}.{ending}" for name in self.figures for ending in ("svg", "png"))}


class Kind(Protocol):
    """One kind of study; `study.kind` in the file names it."""

    def run(self, study: Study, *, workers: int | None, progress: Progress | None) -> Findings:
        """Sample, estimate, draw."""
        ...


class Keeping(Kind, Protocol):
    """A kind of study that can keep the samples of its own batch."""

    def run(self, study: Study, *, workers: int | None, progress: Progress | None,
            keep_samples: Path | None = None) -> Findings:
        """keep_samples: the folder to write them to."""
        ...
