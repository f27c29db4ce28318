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
from studies.report.blocks import items, paragraphs
from studies.report.catalogue import with_unit
from studies.report.look import blank, look
from studies.report.notes import sentences, with_sentences
from studies.sweep.closest import closest_text
from studies.sweep.doubts import doubts_text
from studies.sweep.policy import limit_line
from studies.sweep.tradeoff import tradeoff

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
    peaks = peak_frame(peak_voltages(result.study))
    to_know = (*notes(found), *sentences(result), peak_of_chosen(peaks, result))
    text = (
        *paragraphs(*conclusion(result, found, frames)),
        *paragraphs(*closest_text(result.study, result.closest)),
        *doubts_text(result.doubts, result.chosen or 0),
        *items(to_know),
    )
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
        text,
        begin=("what_if.csv", "drivers.svg"),
        result=result,
    )


def _figures(result: Result, frames: dict[str, pd.DataFrame]) -> dict[str, Figure]:
    drawn: dict[str, Figure] = {}
    with look():
        drawn["drivers"] = effect_bars(frames["drivers"])
        drawn["elasticities"] = elasticity_marks(frames["elasticities"])
        if len(frames["what_if"]):
            drawn["what_if"] = what_if_marks(frames["what_if"])
        limit, words = limit_line(result.study)
        drawn["tradeoff"], ax = blank()
        tradeoff(result.candidates, ax, limit=limit, limit_text=words)
    return drawn
