"""Several schemes on the same plants and events, each at its own best setting: what each misses
that another catches, at how many false trips."""

from __future__ import annotations

from typing import TYPE_CHECKING

from montecarlo.frames.result import Result, run_study
from montecarlo.study.description import Study
from studies.protocol import Drawn, Findings, Progress
from studies.report.look import blank, look, side_by_side
from studies.report.money import with_unit
from studies.report.words import scheme_name, setting_text
from studies.schemes.figures import caught_matrix, missed_and_false
from studies.schemes.frames import ALL_TYPES, caught_rows, difference_rows, scheme_rows
from studies.schemes.text import scheme_text
from studies.sweep import figures
from studies.sweep import run as setting_sweep
from studies.sweep.text import limit_of

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


def _figures(
    result: Result, schemes: pd.DataFrame, caught: pd.DataFrame
) -> dict[str, tuple[Figure, str]]:
    drawn: dict[str, tuple[Figure, str]] = {}
    standing = schemes[schemes["has_best"]]
    if not len(standing):
        return drawn
    limit, words = limit_of(result.study)
    with look():
        figure, axes = side_by_side(2, 35 + 17 * len(schemes))
        missed_and_false(
            schemes,
            axes,
            limit=limit if limit < 1 else None,
            limit_text=f"policy's limit, {words.removesuffix(' of the external events')}",
        )
        drawn["schemes"] = (
            figure,
            "Missed faults and false trips of each scheme at its best setting",
        )
        if len(caught):
            figure, ax = blank(30 + 15 * len(standing))
            caught_matrix(caught[caught["type"] == ALL_TYPES], ax)
            drawn["caught_by_other"] = (
                figure,
                "Share of the internal faults that one scheme misses and another catches",
            )
        if len(result.coverage):
            figure, ax = blank(110)
            names = {
                scheme_name(row["scheme"]): (row["candidate"], setting_text(row))
                for row in standing.to_dict("records")
            }
            figures.detection(
                result.coverage,
                names,
                ax,
                styles=figures.scheme_styles([scheme_name(kind) for kind in schemes["scheme"]]),
            )
            drawn["schemes_coverage"] = (
                figure,
                "Earth faults detected along the winding, each scheme",
            )
    return drawn
