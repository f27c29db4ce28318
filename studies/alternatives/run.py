"""One study and several changes of it, each at its own best setting, compared on common random
numbers."""

from __future__ import annotations

from typing import TYPE_CHECKING

from montecarlo.study.description import Study
from montecarlo.study.scenarios import AS_STATED
from studies.alternatives.figures import height_mm, side_by_side_figure
from studies.alternatives.frames import SideBySide, run_side_by_side
from studies.alternatives.text import variants_text
from studies.protocol import Drawn, Findings, Progress
from studies.report.catalogue import with_unit
from studies.report.look import look, side_by_side
from studies.report.notes import sentences_of_all
from studies.sweep.policy import limit_line

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from montecarlo.engine.workers import Workers

__all__ = ["StudyVariants", "findings"]


class StudyVariants:
    """study.kind = "variants"."""

    def run(
        self, study: Study, *, workers: Workers | int | None, progress: Progress | None
    ) -> Findings:
        return findings(run_side_by_side(study, workers=workers, progress=progress))


def findings(compared: SideBySide) -> Findings:
    """Tables, figure and text of a finished comparison."""
    frames = {
        "variants": compared.table,
        "variant_differences": compared.differences,
        "candidates": compared.candidates,
        "inputs": compared.results[AS_STATED].inputs,
        "unresolved": compared.unresolved,
    }
    frames |= {"closest": compared.closest} if len(compared.closest) else {}
    frames = with_unit(frames, compared.study)
    return Findings(
        frames,
        Drawn(lambda: _figures(compared)),
        provenance={**compared.provenance, "told": sentences_of_all(compared.results)},
        text=tuple(variants_text(compared)),
        begin=("variants.csv", "variants.svg"),
    )


def _figures(compared: SideBySide) -> dict[str, Figure]:
    limits = {limit_line(result.study)[0] for result in compared.results.values()}
    limit = limits.pop() if len(limits) == 1 else None
    with look():
        figure, axes = side_by_side(2, height_mm(len(compared.table)))
        side_by_side_figure(compared.table, compared.differences, axes, limit)
    return {"variants": figure}
