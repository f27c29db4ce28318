"""What a kind of study is: something that runs a study and hands back what to write and what to
say."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
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
    from studies.report.look import Printed

Recipe = Callable[[], "Figure"]  # draws one within the look of all; a worker can be sent it


@dataclass(frozen=True, eq=False)
class Part:
    """What one step after sampling adds to the findings."""

    frames: Mapping[str, pd.DataFrame] = field(default_factory=dict)
    files: Mapping[str, bytes] = field(default_factory=dict)
    text: tuple[Block, ...] = ()
    figures: Mapping[str, Recipe] = field(default_factory=dict)


class Drawn(Mapping[str, "Figure"]):
    """Figures, each drawn when it is asked for: by then the tables are written.

    Parameters
    ----------
    recipes : mapping of Recipe
        By name.
    early : mapping of Printed
        Those of them that are printed already.
    """

    def __init__(
        self, recipes: Mapping[str, Recipe], early: Mapping[str, Printed] | None = None
    ) -> None:
        self.recipes = recipes
        self._printed = {**early} if early else {}

    def __getitem__(self, name: str) -> Figure:
        from studies.report.look import look

        with look():
            return self.recipes[name]()

    def __iter__(self) -> Iterator[str]:
        return iter(self.recipes)

    def __len__(self) -> int:
        return len(self.recipes)

    def printed(self, name: str, *, png: bool = True) -> Printed:
        """What the files of one hold; without a PNG where that is not wanted."""
        from studies.report.catalogue import figure_text
        from studies.report.look import printed, said

        if name not in self._printed:
            figure = self[name]
            spoken = figure_text(name).spoken(said(figure))
            self._printed[name] = printed(figure, spoken, png=png)
        return self._printed[name]

    def words(self, name: str) -> str:
        """What the caption says of this figure alone."""
        from studies.report.look import said

        early = self._printed.get(name)
        return said(self[name]) if early is None else early.words

    def after(self, others: Mapping[str, Recipe]) -> Drawn:
        """These after others."""
        return Drawn({**others, **self.recipes}, self._printed)

    def only(self, names: Iterable[str]) -> Drawn:
        """Those of them that are there."""
        here = [name for name in names if name in self.recipes]
        return Drawn({name: self.recipes[name] for name in here})


def printed_early(recipes: Mapping[str, Recipe]) -> dict[str, Printed]:
    """Figures in a worker, while others sample. Where memory is too little for them there is none:
    they are drawn when they are written, and that tells of it."""
    drawn = Drawn(recipes)
    try:
        return {name: drawn.printed(name) for name in drawn}
    except MemoryError:
        return {}


@dataclass(frozen=True, eq=False)
class Findings:
    """Files without their ending, and what is to be said of them."""

    frames: Mapping[str, pd.DataFrame]
    figures: Drawn
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
