"""Which resistor belongs in the neutral: each option at its own best setting, what it covers and
what a fault burns."""

from __future__ import annotations

from typing import TYPE_CHECKING

from montecarlo.study.description import Study
from studies.earthing.figures import coverage_against_energy, options_side_by_side
from studies.earthing.frames import Options, run_options
from studies.earthing.text import earthing_text
from studies.protocol import Drawn, Findings, Progress
from studies.report.look import blank, look, side_by_side
from studies.report.notes import sentences_of_all
from studies.sweep.policy import limit_line

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from montecarlo.engine.workers import Workers

__all__ = ["EarthingOptions", "findings"]

TRADE = "coverage_against_energy"


class EarthingOptions:
    """study.kind = "earthing_options"."""

    def run(
        self, study: Study, *, workers: Workers | int | None, progress: Progress | None
    ) -> Findings:
        return findings(run_options(study, workers=workers, progress=progress))


def findings(options: Options) -> Findings:
    """Tables, figures and text of a finished comparison."""
    frames = {
        "earthing_options": options.table,
        "earthing_differences": options.differences,
        "candidates": options.candidates,
        "inputs": options.inputs,
        "unresolved": options.unresolved,
    }
    if len(options.closest):
        frames["closest"] = options.closest
    if len(options.rare):
        frames["rare"] = options.rare
    drawable = options.table["covered_median"].notna().any()
    drawn = Drawn(lambda: _figures(options)) if drawable else {}
    return Findings(
        frames,
        drawn,
        provenance={**options.provenance, "told": sentences_of_all(options.results)},
        text=tuple(earthing_text(options)),
        begin=("earthing_options.csv", f"{TRADE}.svg" if drawable else "candidates.csv"),
    )


def _figures(options: Options) -> dict[str, Figure]:
    drawn: dict[str, Figure] = {}
    with look():
        drawn[TRADE], ax = blank()
        coverage_against_energy(options.table, ax)
        drawn["earthing_options"], axes = side_by_side(3, 32 + 8 * len(options.table))
        options_side_by_side(options.table, axes, limit=limit_line(options.study)[0])
    return drawn
