"""What a kind of study is: something that runs a study and hands back what to write and what to
say."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Any, Protocol

from montecarlo.engine.progress import Progress, silent
from montecarlo.frames.cells import no_minus_zero

if TYPE_CHECKING:
    import numpy as np
    import pandas as pd
    from matplotlib.figure import Figure

    from montecarlo.engine.keep import KeepRows
    from montecarlo.engine.stages import Stage
    from montecarlo.engine.workers import Workers
    from montecarlo.frames.result import Result
    from montecarlo.study.description import Study
    from studies.report.blocks import Block


@dataclass(frozen=True, eq=False)
class Part:
    """What one step after sampling adds to the findings."""

    frames: Mapping[str, pd.DataFrame] = field(default_factory=dict)
    files: Mapping[str, bytes] = field(default_factory=dict)
    text: tuple[Block, ...] = ()
    draw: Callable[[], Mapping[str, Figure]] = dict  # within the look of all


@dataclass(frozen=True, eq=False)
class Findings:
    """Files without their ending, and what is to be said of them."""

    frames: Mapping[str, pd.DataFrame]
    figures: Mapping[str, Figure]
    arrays: Mapping[str, Mapping[str, np.ndarray[Any, Any]]] = field(default_factory=dict)
    provenance: Mapping[str, Any] = field(default_factory=dict)
    text: tuple[Block, ...] = ()  # for terminal and report; begins with a Lead
    appendix: tuple[Block, ...] = ()  # for the report alone: how it was computed
    begin: tuple[str, ...] = ("candidates.csv", "tradeoff.svg")  # files to look at first
    result: Result | None = None  # of the choice among settings, if the kind makes one
    # whatever else, by its whole name: name or folder/name
    files: Mapping[str, bytes] = field(default_factory=dict)
    rough: bool = False  # a first answer: few files, a short report

    def __post_init__(self) -> None:
        """No table says -0 or lacks its words: CSV, workbook and report take theirs from here."""
        from studies.report.refusals import in_words

        frames = {name: no_minus_zero(in_words(frame)) for name, frame in self.frames.items()}
        object.__setattr__(self, "frames", frames)


class Drawn(Mapping[str, "Figure"]):
    """Figures that are drawn in the look of all when the first is asked for: by then the tables
    are written."""

    def __init__(self, draw: Callable[[], Mapping[str, Figure]]) -> None:
        self._draw = draw

    @cached_property
    def _figures(self) -> Mapping[str, Figure]:
        from studies.report.look import look

        with look():
            return self._draw()

    def __getitem__(self, name: str) -> Figure:
        return self._figures[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self._figures)

    def __len__(self) -> int:
        return len(self._figures)


def drawn(own: Mapping[str, Figure], *parts: Part) -> dict[str, Figure]:
    """Figures of a room and of the steps after sampling."""
    return {**own, **{name: figure for part in parts for name, figure in part.draw().items()}}


class Kind(Protocol):
    """One kind of study; `study.kind` in the file names it.

    Its room's `run.py` reads as its question: `run` samples and hands what it found to `findings`;
    `findings` names the other steps in order: what takes time (each told to `progress`), tables,
    text, and figures, which are drawn last."""

    def stages(self, study: Study) -> Iterator[Stage]:
        """What `run` begins, in this order, as far as is known before it."""
        ...

    def run(
        self,
        study: Study,
        *,
        workers: Workers | int | None,
        progress: Progress = silent,
        keep_samples: KeepRows | None = None,
        rough: bool = False,
    ) -> Findings:
        """Sample, estimate, tabulate, word; `keep_samples` takes the samples of every own batch;
        `rough`: without what a recommendation does not need."""
        ...
