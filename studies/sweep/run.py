"""Every candidate setting on one machine: the trade-off, the winding that is protected, and the
setting to choose."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from functools import partial
from typing import TYPE_CHECKING

from montecarlo.engine.clearing import clearing_stages
from montecarlo.engine.clearing_inputs import inputs_stages
from montecarlo.engine.progress import Progress, silent
from montecarlo.engine.radius import radius_of
from montecarlo.engine.stages import Stage, radius_stages, stages_of
from montecarlo.engine.workers import workers_of
from montecarlo.frames.result import Result, run_study
from montecarlo.study.description import Study
from studies.clearing.run import clearing, followed
from studies.commissioning.run import commissioning
from studies.nominal.ct_dimensioning import dimensioning_frames
from studies.nominal.desk import Desk
from studies.nominal.peak import (
    PeakVoltage,
    caution,
    other_circuits,
    peak_frame,
    peak_of_chosen,
    peak_voltages,
)
from studies.protocol import Drawn, Findings, Part, printed_early
from studies.report.blocks import Block, items
from studies.report.catalogue import with_unit
from studies.report.notes import computed, with_sentences
from studies.report.setting_words import setting_row
from studies.sweep.figures import figures, tradeoff_figure
from studies.sweep.frames import tables
from studies.sweep.gates import gates_part, without_gate
from studies.sweep.sources import sources
from studies.sweep.text import result_text
from studies.turns.run import turns
from studies.waveforms.gate_effects import gate_effects
from studies.waveforms.run import densities_of, waveforms

if TYPE_CHECKING:
    import pandas as pd

    from montecarlo.engine.keep import KeepRows
    from montecarlo.engine.margins import Radius
    from montecarlo.engine.rare import Densities
    from montecarlo.engine.workers import Workers
    from montecarlo.study.axes import Setting
    from studies.report.look import Printed

Said = Callable[..., list[Block]]  # of a result, and of notes that follow it


# In solutions of a circuit that would take as long
AFTER = Stage("waveforms of the cases nearest to the setting, figures", 1.5e5)


class SettingSweep:
    """study.kind = "setting_sweep"."""

    def stages(self, study: Study) -> Iterator[Stage]:
        """Both samples, and what follows them."""
        yield from (
            *stages_of(study),
            AFTER,
            *radius_stages(study),
            *clearing_stages(study),
            *inputs_stages(study),
        )

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
        margins = partial(radius_of, result.outcome, crew, progress)
        return findings(result, crew, progress, margins=margins)


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
        Drawn(tradeoff_figure(result)),
        provenance=with_sentences(result),
        text=tuple(said(result)),
        appendix=tuple(items(computed(result))),
        result=result,
    )


def findings(
    result: Result,
    crew: Workers,
    progress: Progress = silent,
    said: Said = result_text,
    margins: Callable[[], Radius | None] = lambda: None,
) -> Findings:
    """What follows the choice. What is settled by then is solved and drawn beside the search for
    the radius.

    Parameters
    ----------
    result : Result
    crew : Workers
    progress : callable
    said : callable
        What is said of the choice, of the result and of notes that follow it.
    margins : callable
        Seeks how far inputs may be off.
    """
    progress(0, 1, AFTER.what)
    setting, study = result.outcome.chosen, result.study
    gated = without_gate(result)
    early = not crew.here  # in this process nothing is won
    with crew.beside(_solved, study, setting, gated, densities_of(result), early) as solved:
        settled = figures(result, with_unit(tables(result), study))
        settled |= {**sources(result).figures}
        with crew.beside(printed_early, settled if early else {}) as printed:
            result = result.with_margins(margins())
    peaks, waves, sheet, effects, pictures = solved.value
    peak_table = peak_frame(peaks)
    chosen = None if setting is None else setting_row(study, setting)
    peak = peak_of_chosen(peak_table, chosen)
    gates = gates_part(result, gated, effects)
    wound = turns(study, result.candidates, result.turn_faults_missed, result.chosen)
    result = followed(result, crew, progress)
    cleared = clearing(result, crew, progress)
    parts = (sources(result), gates, waves, sheet, wound, cleared)
    frames = {**tables(result), "peak_voltage": peak_table}
    frames |= dimensioning_frames(Desk(study))
    frames |= {name: frame for part in parts for name, frame in part.frames.items()}
    frames = with_unit(frames, study)
    recipes = figures(result, frames)
    recipes |= {name: recipe for part in parts for name, recipe in part.figures.items()}
    above = [other_circuits(peaks)] if peak else caution(peaks)
    more = (
        *items((peak, *above)),
        *gates.text,
        *wound.text,
        *cleared.text,
        *waves.text,
        *sheet.text,
    )
    return Findings(
        frames,
        Drawn(recipes, {**printed.value, **pictures}),
        arrays={"installations": result.installations},
        provenance=with_sentences(result),
        text=tuple(said(result, *more)),
        appendix=tuple(items(computed(result))),
        result=result,
        files={**waves.files, **sheet.files},
    )


def _solved(
    study: Study,
    setting: Setting | None,
    gated: Setting | None,
    densities: Densities,
    early: bool,
) -> tuple[list[PeakVoltage], Part, Part, pd.DataFrame | None, Mapping[str, Printed]]:
    """What is solved for the choice: peak voltages, the nearest cases, the commissioning sheet,
    what gates do at the setting `gated`; if `early`, with figures of these."""
    peaks = peak_voltages(study)
    effects = None if gated is None else gate_effects(study, gated)
    if setting is None:
        return peaks, Part(), Part(), effects, {}
    waves = waveforms(study, setting, densities)
    peak = peak_of_chosen(peak_frame(peaks), setting_row(study, setting))
    sheet = commissioning(study, setting, peak)
    return peaks, waves, sheet, effects, printed_early(waves.figures) if early else {}
