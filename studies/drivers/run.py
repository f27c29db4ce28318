"""Which uncertain input decides how the chosen setting performs, and what to specify or to measure
first."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

from montecarlo.engine.progress import Progress, silent
from montecarlo.frames.result import Result
from montecarlo.frames.unresolved import unresolved_frame
from montecarlo.study.description import Study
from studies.drivers.answers import Drivers, find_drivers
from studies.drivers.figures import figures
from studies.drivers.frames import driver_rows, elasticity_rows, what_if_rows, worth_rows
from studies.drivers.text import drivers_text
from studies.nominal.peak import peak_frame, peak_of_chosen, peak_voltages
from studies.protocol import Drawn, Findings
from studies.report.catalogue import with_unit
from studies.report.notes import with_sentences

if TYPE_CHECKING:
    from montecarlo.engine.keep import KeepRows
    from montecarlo.engine.workers import Workers


class UncertaintyDrivers:
    """study.kind = "uncertainty_drivers"."""

    def run(
        self,
        study: Study,
        *,
        workers: Workers | int | None,
        progress: Progress = silent,
        keep_samples: KeepRows | None = None,
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
    progress(0, 1, "peak voltages of the relay circuit")
    peaks = peak_frame(peak_voltages(result.study))
    frames = {
        "drivers": driver_rows(found),
        "elasticities": elasticity_rows(found),
        "what_if": what_if_rows(found),
        "worth_of_measuring": worth_rows(found),
    }
    text = drivers_text(result, found, frames, peak_of_chosen(peaks, result))
    if len(result.closest):
        frames["closest"] = result.closest
    frames |= {
        "candidates": result.candidates,
        "inputs": result.inputs,
        "peak_voltage": peaks,
        "unresolved": unresolved_frame((*result.unresolved_rows, *found.unresolved)),
    }
    frames = with_unit(frames, result.study)
    return Findings(
        frames,
        Drawn(partial(figures, result, frames)),
        arrays={"installations": result.installations},
        provenance=with_sentences(result),
        text=tuple(text),
        begin=("what_if.csv", "drivers.svg"),
        result=result,
    )
