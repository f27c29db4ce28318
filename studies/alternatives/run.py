"""One study and several changes of it, each at its own best setting, compared on common random
numbers."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from montecarlo.engine.clearing import clearing_stages
from montecarlo.engine.progress import Progress, silent
from montecarlo.engine.stages import Stage, named, stages_of
from montecarlo.study.assumption_sets import AS_STATED
from montecarlo.study.description import Study
from studies.alternatives.figures import figures
from studies.alternatives.frames import SideBySide, run_side_by_side, studies_of
from studies.alternatives.text import alternatives_text
from studies.clearing.several import tables
from studies.protocol import Drawn, Findings, Part
from studies.report.catalogue import with_unit
from studies.report.notes import sentences_of_all
from studies.sweep.sources import of_first_choice

if TYPE_CHECKING:
    from montecarlo.engine.keep import KeepRows
    from montecarlo.engine.workers import Workers


class StudyAlternatives:
    """study.kind = "alternatives"."""

    def stages(self, study: Study) -> Iterator[Stage]:
        """Both samples of the study as stated and of every alternative."""
        for name, other in studies_of(study).items():
            yield from named(stages_of(other), name)
        for name, other in studies_of(study).items():
            yield from named(clearing_stages(other), name)

    def run(
        self,
        study: Study,
        *,
        workers: Workers | int | None,
        progress: Progress = silent,
        keep_samples: KeepRows | None = None,
        rough: bool = False,
    ) -> Findings:
        """Sample the study and each alternative, choose the best setting of each."""
        compared = run_side_by_side(
            study, workers=workers, progress=progress, keep_samples=keep_samples
        )
        return findings(compared, rough=rough)


def findings(compared: SideBySide, *, rough: bool = False) -> Findings:
    """Tables, text and figure of a finished comparison.

    Parameters
    ----------
    compared : SideBySide
    rough : bool
        Without sources and cases in time.

    Returns
    -------
    Findings
    """
    frames = {
        "alternatives": compared.table,
        "alternative_differences": compared.differences,
        "candidates": compared.candidates,
        "inputs": compared.results[AS_STATED].inputs,
        "unresolved": compared.unresolved,
    }
    frames |= tables(compared.clearing, "alternative")
    if len(compared.closest):
        frames["closest"] = compared.closest
    drawable = compared.table["p_missed"].notna().any()
    more = Part() if rough else of_first_choice(compared.results)
    return Findings(
        with_unit({**frames, **more.frames}, compared.study),
        Drawn({**figures(compared), **more.figures}),
        provenance={**compared.provenance, "sentences": sentences_of_all(compared.results)},
        text=tuple(alternatives_text(compared)),
        begin=("alternatives.csv", "alternatives.svg" if drawable else "closest.csv"),
        files=more.files,
    )
