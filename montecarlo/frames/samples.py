"""Sampled cases as frames: what was drawn of each, and at which setting it would have operated."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

import numpy as np

from montecarlo.engine.job import Job
from montecarlo.engine.keep import run_and_keep
from montecarlo.engine.sizes import designs
from montecarlo.errors import StudyError
from montecarlo.study.candidates import candidate_lattices
from montecarlo.study.description import Study
from montecarlo.study.strata import strata

if TYPE_CHECKING:
    import pandas as pd


def sample_frames(study: Study, only: Iterable[str] | None = None) -> dict[str, pd.DataFrame]:
    """Sample a study and keep every sample, without judging settings.

    The samples are those of the selection sample in `run_study`, solved in this process.

    Parameters
    ----------
    study : Study
        As `read_study` gives it.
    only : iterable of str, optional
        Names of what is to be sampled: internal fault types, external events, states, as
        "internal.earth" or "external.close_in"; all of them unless given.

    Returns
    -------
    dict of DataFrame
        By name, a row a sample: installation and event; every uncertain input;
        `critical_pickup_a[...]`, the setting at which each element would only just have operated [A
        secondary], NaN where the solvers gave no result. `frame.attrs["units"]` has the unit of
        each column.

    Raises
    ------
    StudyError
        For a name that the study does not sample.

    Examples
    --------
    >>> from montecarlo import read_study, sample_frames
    >>> study = read_study("configs/unit_13_8kv.toml", samples=256)
    >>> loads = sample_frames(study, ["state.load"])["state.load"]
    >>> len(loads), bool(loads["resolved"].all())
    (256, True)
    >>> loads.attrs["units"]["load.current_pu"]
    'pu'
    """
    import pandas as pd

    every = strata(study)
    wanted = [*every] if only is None else [*only]
    if unknown := [name for name in wanted if name not in every]:
        raise StudyError(f"only: {unknown[0]} is not sampled; name some of {', '.join(every)}")
    job = Job(study.alone, candidate_lattices(study), *designs(study))
    frames = {}
    for stratum in (one for one in every if one in wanted):
        chunks = job.design_of(stratum).chunks(stratum)
        kept = [run_and_keep(job, chunk)[1] for chunk in chunks]
        frame = pd.DataFrame(
            {column.name: np.concatenate([rows[column] for rows in kept]) for column in kept[0]}
        )
        frame.attrs["units"] = {column.name: column.unit for column in kept[0]}
        frames[str(stratum)] = frame
    return frames
