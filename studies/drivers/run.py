"""Which uncertain input decides how the chosen setting performs, and what to specify or to measure
first."""

from __future__ import annotations

from typing import TYPE_CHECKING

from montecarlo.frames.result import Result
from montecarlo.frames.unresolved import unresolved_frame
from montecarlo.study.description import Study
from studies.drivers.answers import Drivers, find_drivers
from studies.drivers.figures import effect_bars, elasticity_marks, what_if_marks
from studies.drivers.frames import driver_rows, elasticity_rows, what_if_rows, worth_rows
from studies.drivers.text import conclusion, notes
from studies.nominal.peak import peak_frame, peak_of_chosen, peak_voltages
from studies.protocol import Drawn, Findings, Progress
from studies.report.look import blank, look
from studies.report.money import with_unit
from studies.report.notes import sentences, with_sentences
from studies.report.text import paragraph
from studies.sweep import figures
from studies.sweep.closest import closest_text
from studies.sweep.doubts import doubts_text
from studies.sweep.text import limit_of

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.figure import Figure

    from montecarlo.engine.workers import Workers

__all__ = ["UncertaintyDrivers", "findings"]


class UncertaintyDrivers:
    """study.kind = "uncertainty_drivers"."""

    def run(
        self, study: Study, *, workers: Workers | int | None, progress: Progress | None
    ) -> Findings:
        return findings(find_drivers(study, workers=workers, progress=progress))


def findings(found: Drivers) -> Findings:
    """Tables, figures and text."""
    result = Result(found.outcome)
    frames = {
        "drivers": driver_rows(found),
        "elasticities": elasticity_rows(found),
        "what_if": what_if_rows(found),
        "worth_of_measuring": worth_rows(found),
    }
    said = [
        *conclusion(result, found, frames),
        *closest_text(result.study, result.closest),
        *doubts_text(result.doubts, result.chosen or 0),
    ]
    peaks = peak_frame(peak_voltages(result.study))
    text = [line for sentence in said for line in paragraph(sentence)]
    text += [
        "",
        *(
            line
            for sentence in (*notes(found), *sentences(result))
            for line in paragraph(sentence, "- ", "  ")
        ),
    ]
    text += paragraph(peak_of_chosen(peaks, result), "- ", "  ")
    frames |= {"closest": result.closest} if len(result.closest) else {}
    frames |= {
        "candidates": result.candidates,
        "inputs": result.inputs,
        "peak_voltage": peaks,
        "unresolved": unresolved_frame((*result.unresolved_rows, *found.unresolved)),
    }
    frames = with_unit(frames, result.study)
    return Findings(
        frames,
        Drawn(lambda: _figures(result, frames)),
        {"plants": result.plants},
        with_sentences(result),
        tuple(text),
        begin=("what_if.csv", "drivers.svg"),
        result=result,
    )


def _figures(result: Result, frames: dict[str, pd.DataFrame]) -> dict[str, tuple[Figure, str]]:
    drawn: dict[str, tuple[Figure, str]] = {}
    with look():
        drawn["drivers"] = (
            effect_bars(frames["drivers"]),
            "First and total effects of each input on what elements get",
        )
        drawn["elasticities"] = (
            elasticity_marks(frames["elasticities"]),
            "How missed faults and false trips answer to the centre and the spread of each input",
        )
        if len(frames["what_if"]):
            drawn["what_if"] = (
                what_if_marks(frames["what_if"]),
                "Missed faults and false trips with one input at its centre, or half as uncertain",
            )
        limit, words = limit_of(result.study)
        figure, ax = blank()
        figures.tradeoff(
            result.candidates,
            ax,
            limit=limit if limit < 1 else None,
            limit_text=f"policy's limit, {words.removesuffix(' of the external events')}",
        )
        drawn["tradeoff"] = (
            figure,
            "Missed internal faults against false trips, every candidate setting",
        )
    return drawn
