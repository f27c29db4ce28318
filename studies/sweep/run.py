"""Every candidate setting on one machine: the trade-off, the winding that is covered, and the
setting to choose."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import nullcontext
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from montecarlo.frames.choosing import nearest
from montecarlo.frames.result import Result, run_study
from montecarlo.study.description import Study
from studies.commissioning.run import commissioning
from studies.nominal.excitation import fits
from studies.nominal.excitation_figure import excitation_fit
from studies.nominal.peak import caution, peak_frame, peak_of_chosen, peak_voltages
from studies.protocol import Drawn, Findings, Progress
from studies.report.blocks import Block, items
from studies.report.catalogue import EXCITATION, with_unit
from studies.report.look import blank, look, stacked
from studies.report.notes import with_sentences
from studies.report.sample_files import SampleFiles
from studies.report.words import scheme_name, setting_text
from studies.sweep import figures
from studies.sweep.convergence import convergence, convergence_frame, worth_drawing
from studies.sweep.detection_map import detection_map, detection_map_frame, has_contours
from studies.sweep.exceedance import exceedance
from studies.sweep.policy import limit_line
from studies.sweep.text import result_text
from studies.waveforms.run import waveforms

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from montecarlo.engine.workers import Workers

__all__ = ["SettingSweep", "findings"]


class SettingSweep:
    """study.kind = "setting_sweep"."""

    def run(
        self,
        study: Study,
        *,
        workers: Workers | int | None,
        progress: Progress | None,
        keep_samples: Path | None = None,
    ) -> Findings:
        with nullcontext() if keep_samples is None else SampleFiles(keep_samples) as keep:
            result = run_study(study, workers=workers, progress=progress, keep_samples=keep)
        return findings(result)


def findings(result: Result, text: Sequence[Block] | None = None) -> Findings:
    """Tables, figures and text of a finished run; `text` if it is to say something else."""
    frames = {
        name: getattr(result, name)
        for name in ("candidates", "by_type", "coverage", "inputs", "unresolved")
    }
    if result.study.backup is not None:
        frames["backup"] = result.backup
    if len(result.rare):
        frames |= {"rare": result.rare, "exceedance": result.exceedance}
    for name in ("closest", "comparison", "neighbours", "scenarios", "scenario_choices"):
        if len(frame := getattr(result, name)):
            frames[name] = frame
    if (number := _of_interest(result)) is not None and len(result.coverage):
        mapped = detection_map_frame(result.candidates, result.coverage, number)
        frames |= {"detection_map": mapped} if len(mapped) else {}
    if len(settling := convergence_frame(result.outcome)):
        frames["convergence"] = settling
    if result.remanence_models is not None:
        frames["remanence_models"] = result.remanence_models
    blind = figures.blind_zone_frame(result.candidates)
    if blind["scheme"].nunique() > 1:
        frames["blind_zone"] = blind
    peaks = peak_voltages(result.study)
    frames["peak_voltage"] = peak_frame(peaks)
    told = result_text(result) if text is None else text
    peak = peak_of_chosen(frames["peak_voltage"], result)
    cases, files, more = waveforms(result)
    if len(cases):
        frames["waveforms"] = cases
    tests, page, sheet = commissioning(result, peak)
    if tests is not None:
        frames["commissioning"] = tests
    frames = with_unit(frames, result.study)
    return Findings(
        frames,
        Drawn(lambda: _figures(result, frames)),
        {"plants": result.plants},
        with_sentences(result),
        (*told, *items((peak, *caution(peaks))), *more, *sheet),
        result=result,
        files=files | page,
    )


def _figures(result: Result, frames: dict[str, pd.DataFrame]) -> dict[str, Figure]:
    limit, words = limit_line(result.study)
    drawn: dict[str, Figure] = {}
    with look():
        drawn["tradeoff"], ax = blank()
        figures.tradeoff(result.candidates, ax, limit=limit, limit_text=words)
        labels = _labels(result)
        if labels and len(result.coverage):
            drawn["coverage"], ax = blank(90)
            figures.detection(result.coverage, labels, ax)
        if "detection_map" in frames and has_contours(frames["detection_map"]):
            drawn["detection_map"], ax = blank(90)
            _map(result, frames["detection_map"], ax)
        if "blind_zone" in frames:
            drawn["blind_zone"], ax = blank(85)
            figures.blind_zone(frames["blind_zone"], ax, limit=limit, limit_text=words)
        if "exceedance" in frames:
            drawn["exceedance"], ax = blank()
            exceedance(frames["exceedance"], _worst_event(frames["exceedance"]), ax)
        if "convergence" in frames and worth_drawing(settling := frames["convergence"]):
            drawn["convergence"], axes = stacked(2, 110)
            heading = _whose(result, settling)
            convergence(settling, axes, heading=heading, limit=limit, limit_text=words)
        for place, (end, ct) in enumerate(fits(result.study).items()):
            name = EXCITATION + (f"_{end.replace(' ', '_')}" if place else "")
            drawn[name], ax = blank(90)
            excitation_fit(ct, ax)
            ax.set_title(end)
    return drawn


def _of_interest(result: Result) -> int | None:
    """The chosen candidate, or the one nearest to the limit."""
    return nearest(result.candidates) if result.chosen is None else result.chosen


def _map(result: Result, frame: pd.DataFrame, ax: Axes) -> None:
    number = _of_interest(result)
    assert number is not None
    row, axis = (
        result.candidates.set_index("candidate").loc[number].to_dict(),
        str(frame["axis"].iloc[0]),
    )
    detection_map(
        frame,
        number,
        ax,
        role="chosen" if result.chosen else "nearest to the limit",
        heading=f"{scheme_name(row['scheme'])}: {setting_text(row, axis)}",
    )


def _worst_event(frame: pd.DataFrame) -> str:
    """The external event that exceeds the pick-ups most, on the average of ln p where it was
    seen."""
    seen = frame[frame["p"] > 0]
    return str(np.log(seen["p"]).groupby(seen["event"], sort=False).mean().idxmax())


def _whose(result: Result, settling: pd.DataFrame) -> str:
    """Of which candidate the convergence is shown."""
    number = int(settling["candidate"].iloc[0])
    row = result.candidates.set_index("candidate").loc[number].to_dict()
    return (
        f"{'chosen' if number == result.chosen else 'tried last, not chosen'}, no. {number}:"
        f" {setting_text(row)}"
    )


def _labels(result: Result) -> dict[str, tuple[int, str]]:
    """The candidates whose curves are drawn: chosen (or nearest to the limit), runner-up,
    present."""
    frame = result.candidates
    shown: dict[str, int | None] = {"chosen": result.chosen, "runner-up": result.runner_up}
    if result.chosen is None:
        shown = {"nearest to the limit": nearest(frame)}
    present = frame.loc[frame["present"], "candidate"]
    if len(present) and int(present.iloc[0]) not in shown.values():
        shown["present"] = int(present.iloc[0])
    rows = frame.set_index("candidate")
    return {
        role: (number, setting_text(rows.loc[number].to_dict()))
        for role, number in shown.items()
        if number is not None
    }
