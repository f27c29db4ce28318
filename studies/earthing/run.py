"""Which resistor belongs in the neutral: each option at its own best setting, what it covers and
what a fault burns."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from montecarlo.engine.clearing import clearing_stages
from montecarlo.engine.clearing_radius import BestOption
from montecarlo.engine.progress import Progress, silent
from montecarlo.engine.stages import Stage, named, stages_of
from montecarlo.engine.workers import workers_of
from montecarlo.frames.best_option import best_option_frame
from montecarlo.study.description import Study
from studies.clearing.several import tables
from studies.earthing.figures import DECISION, TRADE, figures
from studies.earthing.frames import Options, run_options
from studies.earthing.lasting import earth_faults_stage
from studies.earthing.radius import option_radius, radius_stages
from studies.earthing.text import computed, earthing_text
from studies.protocol import Drawn, Findings, Part
from studies.report.blocks import items
from studies.report.notes import sentences_of_all
from studies.sweep.sources import of_best_choice

if TYPE_CHECKING:
    from montecarlo.engine.keep import KeepRows
    from montecarlo.engine.workers import Workers


class EarthingOptions:
    """study.kind = "earthing_options"."""

    def stages(self, study: Study) -> Iterator[Stage]:
        """Both samples of every option, then its earth faults, then who clears its faults."""
        for name, option in study.options:
            yield from named(stages_of(option), name)
        for name, option in study.options:
            yield from named(iter([earth_faults_stage(option)]), name)
        for name, option in study.options:
            yield from named(clearing_stages(option), name)
        yield from radius_stages(study)

    def run(
        self,
        study: Study,
        *,
        workers: Workers | int | None,
        progress: Progress = silent,
        keep_samples: KeepRows | None = None,
        rough: bool = False,
    ) -> Findings:
        """Sample every option, choose its best setting, then follow its earth faults to the
        trip."""
        crew = workers_of(workers)
        options = run_options(study, workers=crew, progress=progress, keep_samples=keep_samples)
        radius = None if rough else option_radius(options, crew, progress)
        return findings(options, radius, rough=rough)


def findings(
    options: Options, radius: BestOption | None = None, *, rough: bool = False
) -> Findings:
    """Tables, text and figures of a finished comparison.

    Parameters
    ----------
    options : Options
    radius : BestOption, optional
        What would make another option the best.
    rough : bool
        Without sources and cases in time.

    Returns
    -------
    Findings
    """
    frames = {
        "earthing_options": options.table,
        "earthing_differences": options.differences,
        "candidates": options.candidates,
        "inputs": options.inputs,
        "unresolved": options.unresolved,
    }
    frames |= tables(options.clearing, "option")
    if radius is not None:
        frames["options_radius"] = best_option_frame(radius)
    extra = {"closest": options.closest, "rare": options.joined("rare")}
    frames |= {name: frame for name, frame in extra.items() if len(frame)}
    drawable = options.table["protected_median"].notna().any()
    drawn = figures(options) if drawable else {}
    first = DECISION if DECISION in drawn else TRADE
    more = Part() if rough else of_best_choice(options.results)
    return Findings(
        {**frames, **more.frames},
        Drawn({**drawn, **more.figures} if drawable else {}),
        provenance={**options.provenance, "sentences": sentences_of_all(options.results)},
        text=tuple(earthing_text(options, radius)),
        appendix=tuple(items(computed(options))),
        begin=("earthing_options.csv", f"{first}.svg" if drawable else "candidates.csv"),
        files=more.files,
    )
