"""About how long a run takes, and a rough one, before either is started."""

from __future__ import annotations

from collections.abc import Iterator

from montecarlo.engine.quick import rough_run
from montecarlo.engine.timing import pace_of
from montecarlo.engine.workers import workers_of
from montecarlo.study.description import Study
from studies import KINDS
from studies.cli.rough import DRIVERS, sampling_stages
from studies.cli.running import DRAWING
from studies.report.numbers import duration
from studies.report.words import counted
from studies.sweep.run import AFTER

START_S, ROUGH_S = 5.0, 5.0  # to start workers and to write, of a rough run both together
UNKNOWN = "The time of a run is known after the first run, which also compiles the solvers."


def durations(study: Study) -> Iterator[str]:
    """A line each: the run, and the rough one where the kind of study has one."""
    small, _ = rough_run(study)
    if (pace := pace_of(small)) is None:
        yield UNKNOWN
        return
    kind, cores = KINDS[study.study.kind](), workers_of(None).count
    after = [*(stage for stage in kind.stages(study) if stage == AFTER), DRAWING]
    own = pace.seconds(sampling_stages(kind, study)) / cores + pace.seconds(after) + START_S
    yield f"A run takes about {duration(own)} on {counted(cores, 'core')} of this machine."
    if study.study.kind != DRIVERS:
        rough = pace.seconds(sampling_stages(kind, small)) / cores + ROUGH_S
        yield f"A rough answer, run --quick, takes about {duration(rough)}."
