"""Several schemes on the same installations and events, each at its own best setting: what each
misses that another catches, at how many false trips."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from montecarlo.engine.progress import Progress, silent
from montecarlo.engine.workers import workers_of
from montecarlo.frames.result import Result, run_study
from montecarlo.study.description import Study
from studies.protocol import Findings
from studies.report.blocks import Block
from studies.report.catalogue import with_unit
from studies.schemes.figures import figures
from studies.schemes.frames import caught_rows, difference_rows, scheme_rows
from studies.schemes.text import scheme_text
from studies.sweep import run as setting_sweep

if TYPE_CHECKING:
    from montecarlo.engine.keep import KeepRows
    from montecarlo.engine.workers import Workers


class SchemeComparison:
    """study.kind = "scheme_comparison"."""

    stages = setting_sweep.SettingSweep.stages

    def run(
        self,
        study: Study,
        *,
        workers: Workers | int | None,
        progress: Progress = silent,
        keep_samples: KeepRows | None = None,
        rough: bool = False,
    ) -> Findings:
        """Sample all schemes together and choose the best setting of each."""
        crew = workers_of(workers)
        result = run_study(
            study, workers=crew, progress=progress, by_scheme=True, keep_samples=keep_samples
        )
        return findings(result, crew, progress, rough=rough)


def findings(
    result: Result, crew: Workers, progress: Progress = silent, *, rough: bool = False
) -> Findings:
    """The schemes side by side, and what a setting sweep finds of the same run."""
    schemes, caught = scheme_rows(result), caught_rows(result.outcome)
    differences = difference_rows(result.outcome)

    def said(result: Result, *more: Block) -> list[Block]:
        return scheme_text(result, schemes, differences, caught, *more)

    swept = (
        setting_sweep.rough_findings(result, said)
        if rough
        else setting_sweep.findings(result, crew, progress, said)
    )
    frames = {"schemes": schemes, "scheme_differences": differences, "caught_by_other": caught}
    first = "schemes.svg" if schemes["has_best"].any() else swept.begin[1]
    return replace(
        swept,
        frames={**with_unit(frames, result.study), **swept.frames},
        figures=swept.figures.after(figures(result, schemes, caught)),
        begin=("schemes.csv", first),
    )
