"""Folders of finished runs with invented tables: what a command reads of them, no engine behind."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from montecarlo.frames.provenance import inputs
from montecarlo.study.read import digest, study_of
from studies.cli.folder import prepare
from studies.cli.output import StudyFile, write_findings
from studies.protocol import Drawn, Findings
from tests.made import results
from tests.made.studies import minimal_study_text

if TYPE_CHECKING:
    import pandas as pd

INTERNAL_PER_YEAR, EXTERNAL_PER_YEAR = 0.01, 1.2


def judged(frame: pd.DataFrame, chosen: int | None = None) -> pd.DataFrame:
    """Invented candidates with all that a comparison reads."""
    return results.chosen_and_existing(frame, chosen or 0).assign(
        missed_per_year=INTERNAL_PER_YEAR * frame["p_missed"],
        false_per_year=EXTERNAL_PER_YEAR * frame["p_false"],
    )


def finished_run(
    folder: Path,
    frames: Mapping[str, pd.DataFrame],
    changes: Mapping[str, str] | None = None,
    **record: Any,
) -> Path:
    """A folder with these tables, the minimal study (texts in it changed) and a sealed record."""
    text = minimal_study_text()
    for old, new in (changes or {}).items():
        assert old in text
        text = text.replace(old, new)
    study = study_of(text.encode(), Path("s.toml"), samples=None, seed=None)
    provenance = {
        "version": "1.2",
        "study_title": study.study.title,
        "study_kind": study.study.kind,
        "study_digest": digest(study),
        "seed": study.study.seed,
        "samples_asked": study.study.samples,
    }
    found = Findings({"inputs": inputs(study), **frames}, Drawn({}), provenance=provenance | record)
    destination = prepare(folder, replace=False)
    folder.mkdir()
    write_findings(found, destination, folder, StudyFile("s.toml", text.encode(), {}, "run"))
    return folder


def curves(frame: pd.DataFrame) -> pd.DataFrame:
    """P(detected at x) of all candidates, rising around what each leaves unprotected."""
    return results.protected_winding(
        tuple(frame["candidate"]), tuple(1 - np.asarray(frame["protected_median"]))
    )
