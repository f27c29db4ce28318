"""How long a solution of a relay circuit takes on this machine, by a part of every stratum."""

from __future__ import annotations

import time
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import NoReturn

from montecarlo.engine.count import run_chunk
from montecarlo.engine.counted import Counted, compile_solvers
from montecarlo.engine.job import Job
from montecarlo.engine.progress import RARE
from montecarlo.engine.sizes import designs
from montecarlo.engine.stages import Stage
from montecarlo.errors import StudyError
from montecarlo.quantities.compiled import when_compiling
from montecarlo.sampling.stratum import Side, Stratum
from montecarlo.study.candidates import candidate_lattices
from montecarlo.study.description import Study
from montecarlo.study.strata import strata

CIRCUITS_MAX = 12  # that are timed


class _NotKept(Exception):
    """The solvers are not compiled yet."""


@dataclass(frozen=True)
class Pace:
    """Time of one solution in one process, on average over counted strata and of external events
    alone, which are solved in time. [s]"""

    counted: float
    events: float

    def seconds(self, stages: Iterable[Stage]) -> float:
        """All stages in one process. [s]

        Parameters
        ----------
        stages : iterable of Stage

        Returns
        -------
        float
        """
        return sum(
            stage.work * (self.events if RARE in stage.what else self.counted) for stage in stages
        )


def pace_of(study: Study) -> Pace | None:
    """The time of one solution, in one process.

    Parameters
    ----------
    study : Study
        The first chunks of each stratum are solved; small, best as a rough run draws it.

    Returns
    -------
    Pace or None
        In the unit of work of `stages.Stage`; None before the first run, when the solvers are not
        compiled yet, and where a chunk cannot be solved.
    """
    job = Job(study.alone, tuple(candidate_lattices(study)[:CIRCUITS_MAX]), *designs(study))
    spent, solved = dict[Stratum, float](), dict[Stratum, float]()
    try:
        with when_compiling(_stop):
            compile_solvers(job.study, job.lattices)
            for name in strata(job.study):
                design = job.design_of(name)
                first = Counted(job, design.tasks(name)[0], keep=False)
                chunks = next(first.side_by_side())
                began = time.perf_counter()
                run_chunk(job, chunks)
                share = design.samples_drawn / sum(map(design.samples_in, chunks))
                spent[name] = share * (time.perf_counter() - began)
                solved[name] = share * replace(first, chunks=chunks).solutions * len(job.lattices)
    except (_NotKept, StudyError):
        return None
    external = [name for name in spent if name.side == Side.EXTERNAL]
    in_time = sum(spent[name] for name in external)
    return Pace(
        sum(spent.values()) / sum(solved.values()),
        in_time / max(sum(solved[name] for name in external), 1.0),
    )


def _stop() -> NoReturn:
    raise _NotKept
