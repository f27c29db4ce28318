"""Every candidate setting on one machine: the trade-off, the winding that is protected, and the
setting to choose."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from typing import TYPE_CHECKING

from montecarlo.engine.progress import Progress, silent
from montecarlo.frames.result import Result, run_study
from montecarlo.study.description import Study
from studies.commissioning.run import commissioning
from studies.nominal.peak import caution, peak_frame, peak_of_chosen, peak_voltages
from studies.protocol import Drawn, Findings
from studies.report.blocks import Block, items
from studies.report.catalogue import with_unit
from studies.report.notes import with_sentences
from studies.sweep.figures import figures
from studies.sweep.frames import tables
from studies.sweep.text import result_text
from studies.waveforms.run import waveforms

if TYPE_CHECKING:
    from montecarlo.engine.keep import KeepRows
    from montecarlo.engine.workers import Workers


class SettingSweep:
    """study.kind = "setting_sweep"."""

    def run(
        self,
        study: Study,
        *,
        workers: Workers | int | None,
        progress: Progress = silent,
        keep_samples: KeepRows | None = None,
    ) -> Findings:
        """Sample every candidate and choose one."""
        result = run_study(study, workers=workers, progress=progress, keep_samples=keep_samples)
        return findings(result, progress)


def findings(
    result: Result, progress: Progress = silent, said: Sequence[Block] | None = None
) -> Findings:
    """What follows sampling.

    Parameters
    ----------
    result : Result
    progress : callable
    said : sequence of Block, optional
        What is said of the choice, if not `result_text`.
    """
    progress(0, 1, "peak voltages of the relay circuit")
    peaks = peak_voltages(result.study)
    peak_table = peak_frame(peaks)
    peak = peak_of_chosen(peak_table, result)
    progress(0, 1, "waveforms of the cases nearest to the setting")
    waves = waveforms(result)
    progress(0, 1, "commissioning sheet")
    sheet = commissioning(result, peak)
    frames = {**tables(result), "peak_voltage": peak_table, **waves.frames, **sheet.frames}
    frames = with_unit(frames, result.study)
    choice = result_text(result) if said is None else said
    return Findings(
        frames,
        Drawn(partial(figures, result, frames)),
        arrays={"installations": result.installations},
        provenance=with_sentences(result),
        text=(*choice, *items((peak, *caution(peaks))), *waves.text, *sheet.text),
        result=result,
        files={**waves.files, **sheet.files},
    )
