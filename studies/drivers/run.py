"""Which uncertain input decides how the chosen setting performs, and what to specify or to measure
first."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from montecarlo.engine.progress import Progress, silent
from montecarlo.engine.stages import Stage, stages_of
from montecarlo.frames.result import Result
from montecarlo.frames.unresolved import unresolved_frame
from montecarlo.study.candidates import candidate_lattices
from montecarlo.study.description import Study
from studies.drivers.answers import Drivers, find_drivers
from studies.drivers.effects import EFFECTS_STAGE, rows_for
from studies.drivers.figures import figures
from studies.drivers.frames import driver_rows, elasticity_rows, what_if_rows, worth_rows
from studies.drivers.samples import CHANGES_STAGE, ROWS_STAGE
from studies.drivers.text import drivers_text
from studies.nominal.ct_dimensioning import dimensioning_frames
from studies.nominal.desk import Desk
from studies.nominal.peak import PEAKS, peak_frame, peak_of_chosen, peak_voltages
from studies.protocol import Drawn, Findings
from studies.report.blocks import items
from studies.report.catalogue import with_unit
from studies.report.notes import computed, with_sentences
from studies.sweep.sources import with_cases

if TYPE_CHECKING:
    from montecarlo.engine.keep import KeepRows
    from montecarlo.engine.workers import Workers

CHANGED, MIXED = 8, 30  # inputs, roughly
CASES = Stage("worst cases in time", 1e5)  # in solutions of a circuit that take as long


class UncertaintyDrivers:
    """study.kind = "uncertainty_drivers"."""

    def stages(self, study: Study) -> Iterator[Stage]:
        """Both samples, then three of its own; which inputs are changed is not known before."""
        types = study.study.samples * (len(study.external_events) + 1)
        yield from stages_of(study)
        yield Stage(ROWS_STAGE, types * len(candidate_lattices(study)))
        yield Stage(CHANGES_STAGE, types * CHANGED)
        yield Stage(EFFECTS_STAGE, rows_for(study) * (len(study.external_events) + 1) * MIXED)
        yield from (PEAKS, CASES)

    def run(
        self,
        study: Study,
        *,
        workers: Workers | int | None,
        progress: Progress = silent,
        keep_samples: KeepRows | None = None,
        rough: bool = False,
    ) -> Findings:
        """Choose a setting, then sample what its probabilities answer to."""
        found = find_drivers(study, workers=workers, progress=progress, keep_samples=keep_samples)
        return findings(found, progress)


def findings(found: Drivers, progress: Progress = silent) -> Findings:
    """What follows sampling.

    Parameters
    ----------
    found : Drivers
    progress : callable

    Returns
    -------
    Findings
    """
    result = Result(found.outcome)
    progress(0, 1, PEAKS.what)
    peaks = peak_frame(peak_voltages(result.study))
    frames = {
        "drivers": driver_rows(found),
        "elasticities": elasticity_rows(found),
        "what_if": what_if_rows(found),
        "worth_of_measuring": worth_rows(found),
    }
    chosen = None if result.chosen is None else result.row(result.chosen)
    text = drivers_text(result, found, frames, peak_of_chosen(peaks, chosen))
    if len(result.closest):
        frames["closest"] = result.closest
    frames |= {
        "candidates": result.candidates,
        "inputs": result.inputs,
        "peak_voltage": peaks,
        **dimensioning_frames(Desk(result.study)),
        "unresolved": unresolved_frame((*result.unresolved_rows, *found.unresolved)),
    }
    progress(0, 1, CASES.what)
    more = with_cases(result)
    frames = with_unit({**frames, **more.frames}, result.study)
    return Findings(
        frames,
        Drawn({**figures(result, frames), **more.figures}),
        arrays={"installations": result.installations},
        provenance=with_sentences(result),
        text=tuple(text),
        appendix=tuple(items(computed(result))),
        begin=("what_if.csv", "drivers.svg"),
        result=result,
        files=more.files,
    )
