"""Every candidate setting on one machine: the trade-off, the winding that is protected, and the
setting to choose."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING

from montecarlo.engine.progress import Progress, silent
from montecarlo.engine.radius import radius_of
from montecarlo.engine.stages import Stage, radius_stages, stages_of
from montecarlo.engine.workers import workers_of
from montecarlo.frames.result import Result, run_study
from montecarlo.study.description import Study
from studies.commissioning.run import commissioning
from studies.nominal.peak import (
    PEAKS,
    caution,
    other_circuits,
    peak_frame,
    peak_of_chosen,
    peak_voltages,
)
from studies.protocol import Drawn, Findings, drawn
from studies.report.blocks import Block, items
from studies.report.catalogue import with_unit
from studies.report.notes import computed, with_sentences
from studies.sweep.figures import figures, tradeoff_figure
from studies.sweep.frames import tables
from studies.sweep.sources import sources
from studies.sweep.text import result_text
from studies.waveforms.run import waveforms

if TYPE_CHECKING:
    from montecarlo.engine.keep import KeepRows
    from montecarlo.engine.workers import Workers

Said = Callable[..., list[Block]]  # of a result, and of notes that follow it


# What follows sampling, in solutions of a circuit that would take as long
WAVES, SHEET = (
    Stage("waveforms of the cases nearest to the setting", 1e5),
    Stage("commissioning sheet", 5e4),
)


class SettingSweep:
    """study.kind = "setting_sweep"."""

    def stages(self, study: Study) -> Iterator[Stage]:
        """Both samples, and what follows them."""
        yield from (*stages_of(study), *radius_stages(study), PEAKS, WAVES, SHEET)

    def run(
        self,
        study: Study,
        *,
        workers: Workers | int | None,
        progress: Progress = silent,
        keep_samples: KeepRows | None = None,
        rough: bool = False,
    ) -> Findings:
        """Sample every candidate, choose one, and ask how far inputs may be off."""
        crew = workers_of(workers)
        result = run_study(study, workers=crew, progress=progress, keep_samples=keep_samples)
        if rough:
            return rough_findings(result)
        margins = radius_of(result.outcome, crew, progress)
        return findings(Result(result.outcome, margins), progress)


def rough_findings(result: Result, said: Said = result_text) -> Findings:
    """What a recommendation needs and no more.

    Parameters
    ----------
    result : Result
    said : callable
        As for `findings`.
    """
    tables = {name: getattr(result, name) for name in ("candidates", "by_type", "unresolved")}
    more = {name: getattr(result, name) for name in ("search", "closest")}
    tables |= {name: table for name, table in more.items() if len(table)}
    return Findings(
        with_unit(tables, result.study),
        Drawn(lambda: tradeoff_figure(result)),
        provenance=with_sentences(result),
        text=tuple(said(result)),
        appendix=tuple(items(computed(result))),
        result=result,
    )


def findings(result: Result, progress: Progress = silent, said: Said = result_text) -> Findings:
    """What follows sampling.

    Parameters
    ----------
    result : Result
    progress : callable
    said : callable
        What is said of the choice, of the result and of notes that follow it.
    """
    progress(0, 1, PEAKS.what)
    peaks = peak_voltages(result.study)
    peak_table = peak_frame(peaks)
    peak = peak_of_chosen(peak_table, result)
    progress(0, 1, WAVES.what)
    waves = waveforms(result)
    progress(0, 1, SHEET.what)
    sheet = commissioning(result, peak)
    parts = (sources(result), waves, sheet)
    frames = {**tables(result), "peak_voltage": peak_table}
    frames |= {name: frame for part in parts for name, frame in part.frames.items()}
    frames = with_unit(frames, result.study)
    above = [other_circuits(peaks)] if peak else caution(peaks)
    more = (*items((peak, *above)), *waves.text, *sheet.text)
    return Findings(
        frames,
        Drawn(lambda: drawn(figures(result, frames), *parts)),
        arrays={"installations": result.installations},
        provenance=with_sentences(result),
        text=tuple(said(result, *more)),
        appendix=tuple(items(computed(result))),
        result=result,
        files={**waves.files, **sheet.files},
    )
