"""Several schemes on the same plants and events, each at its own best setting: what each misses
that another catches, at how many false trips."""

from __future__ import annotations

from typing import TYPE_CHECKING

from montecarlo.frames.result import Result, run_study
from montecarlo.study.description import Study
from studies.protocol import Drawn, Findings, Progress
from studies.report.catalogue import with_unit
from studies.report.look import blank, look, side_by_side
from studies.report.words import scheme_name, setting_text
from studies.schemes.figures import caught_matrix, missed_and_false
from studies.schemes.frames import ALL_TYPES, caught_rows, difference_rows, scheme_rows
from studies.schemes.text import scheme_text
from studies.sweep import figures
from studies.sweep import run as setting_sweep
from studies.sweep.policy import limit_line

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.figure import Figure

    from montecarlo.engine.workers import Workers

__all__ = ["SchemeComparison", "findings"]


class SchemeComparison:
    """study.kind = "scheme_comparison"."""

    def run(
        self, study: Study, *, workers: Workers | int | None, progress: Progress | None
    ) -> Findings:
        return findings(run_study(study, workers=workers, progress=progress, by_scheme=True))


def findings(result: Result) -> Findings:
    """What a setting sweep writes, and the schemes side by side."""
    schemes, caught = scheme_rows(result), caught_rows(result.outcome)
    differences = difference_rows(result.outcome)
    frames = {"schemes": schemes, "scheme_differences": differences, "caught_by_other": caught}
    swept = setting_sweep.findings(result, scheme_text(result, schemes, differences, caught))
    drawn = Drawn(lambda: {**_figures(result, schemes, caught), **swept.figures})
    first = "schemes.svg" if schemes["has_best"].any() else swept.begin[1]
    every = with_unit({**frames, **swept.frames}, result.study)
    return Findings(
        every,
        drawn,
        swept.arrays,
        swept.provenance,
        swept.text,
        ("schemes.csv", first),
        result,
        swept.files,
    )


def _figures(result: Result, schemes: pd.DataFrame, caught: pd.DataFrame) -> dict[str, Figure]:
    drawn: dict[str, Figure] = {}
    standing = schemes[schemes["has_best"]]
    if not len(standing):
        return drawn
    limit, words = limit_line(result.study)
    with look():
        drawn["schemes"], axes = side_by_side(2, 35 + 17 * len(schemes))
        missed_and_false(schemes, axes, limit=limit, limit_text=words)
        if len(caught):
            drawn["caught_by_other"], ax = blank(30 + 15 * len(standing))
            caught_matrix(caught[caught["type"] == ALL_TYPES], ax)
        if len(result.coverage):
            drawn["schemes_coverage"], ax = blank(110)
            names = {
                scheme_name(row["scheme"]): (row["candidate"], setting_text(row))
                for row in standing.to_dict("records")
            }
            styles = figures.scheme_styles([scheme_name(kind) for kind in schemes["scheme"]])
            figures.detection(result.coverage, names, ax, styles=styles)
    return drawn
