"""Earth faults with one setting in service: how long each lasts, what it heats, how far it
displaces the neutral. The same faults as those of a batch of the same round, each at several places
along the winding."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from montecarlo.engine import primary
from montecarlo.engine.backup import operating_currents
from montecarlo.engine.block import Block, thresholds
from montecarlo.engine.course import Course
from montecarlo.engine.guard import ENERGY, Unresolved, looked_at
from montecarlo.engine.job import Job
from montecarlo.engine.progress import Progress
from montecarlo.engine.sizes import designs
from montecarlo.engine.stages import Stage
from montecarlo.engine.winding import critical_places, solved
from montecarlo.engine.workers import Workers
from montecarlo.estimates.caught import missed_stretches
from montecarlo.plant.internal import EarthFault
from montecarlo.quantities import Array
from montecarlo.quantities.keepable import keepable
from montecarlo.sampling.design import BLOCKS, Chunk
from montecarlo.sampling.stratum import EARTH
from montecarlo.study.axes import Setting
from montecarlo.study.candidates import lattices_of
from montecarlo.study.description import Study

ENERGY_STAGE = "energy of earth faults"
PLACES = 8  # along the winding, of each sampled fault


@keepable
@dataclass(frozen=True, eq=False)
class EarthFaults:
    """Sampled earth faults of a study with one setting in service, a row a block of installations:
    those at the terminals (blocks, n), the others (blocks, n x places), as likely as one another.

    Without a setting, and for a fault that gave no result, all that hangs on the time is NaN."""

    solid_fault_a: Array  # of a fault at the terminals without resistance
    solid_neutral_a: Array  # of the branch with the resistor then
    solid_neutral_v: Array
    neutral_v: Array  # of the sampled fault
    seen: Array  # 1 where the differential operates, 0 where not
    lasts_s: Array  # from inception to the trip
    fault_a2s: Array  # heat for each ohm in the fault, and in that branch
    neutral_a2s: Array
    fault_j: Array
    resistor_j: Array

    def unresolved(self, study: Study, setting: Setting | None) -> tuple[Unresolved, ...]:
        """The faults without a result, if they keep to the study's limit; without a setting nothing
        has to operate. Raises StudyError."""
        wanted = [
            self.neutral_v,
            *([] if setting is None else [self.lasts_s, self.fault_j, self.resistor_j]),
        ]
        known = np.all([np.isfinite(values) for values in wanted], axis=0)
        return looked_at(study, EARTH, ENERGY, int((~known).sum()), known.size, round_=1)


def earth_faults_stage(study: Study) -> Stage:
    """What `sample_earth_faults` is for progress."""
    return Stage(ENERGY_STAGE, designs(study)[1].samples_drawn)


def sample_earth_faults(
    study: Study, setting: Setting | None, round_: int, workers: Workers, progress: Progress
) -> EarthFaults:
    """Every earth fault of the study's design on the random numbers of a round. The study has
    [fault_energy]."""
    job = Job(study.alone, () if setting is None else lattices_of(study, setting), *designs(study))
    tasks = [Lasting(job, chunk) for chunk in job.earth_design.chunks(EARTH, round_)]
    done, total = 0, job.earth_design.samples_drawn
    progress(0, total, ENERGY_STAGE)
    parts: list[list[EarthFaults]] = [[] for _ in range(BLOCKS)]
    for task, part in zip(tasks, workers.mapped(_run_task, tasks), strict=True):
        parts[task.chunk.installation_block].append(part)
        done += job.earth_design.samples_in(task.chunk)
        progress(done, total, ENERGY_STAGE)
    found = EarthFaults(
        *(
            np.stack(
                [np.concatenate([getattr(part, field.name) for part in block]) for block in parts]
            )
            for field in fields(EarthFaults)
        )
    )
    found.unresolved(study, setting)  # ends the run where there are too many
    return found


@dataclass(frozen=True, eq=False)
class Lasting:
    """One chunk of earth faults whose time and heat are asked for."""

    job: Job
    chunk: Chunk

    @property
    def label(self) -> str:
        return f"{self.chunk.label} of energies"


def _run_task(task: Lasting) -> EarthFaults:
    return earth_faults(Block(task.job, task.chunk))


def earth_faults(block: Block) -> EarthFaults:
    """Of one block of samples: (n,) at the terminals, else (n x places,)."""
    s, place = block.samples, primary.stretched_places(block, PLACES)
    neutral, resistor = primary.neutral(block)[:, None], primary.resistor(block)[:, None]
    branch = primary.branch(block)[:, None]
    solid = primary.earth_fault(block, np.ones(1), solid=True)
    course = Course.of(block, place)
    seen = _seen(block, place)
    lasts = _lasts_s(block, seen, np.abs(course.closed.neutral_voltage_v / neutral))

    def in_branch(fault: EarthFault) -> Array:
        """Nothing once it is open."""
        on = fault is course.closed or fault is course.opened
        return np.asarray(np.abs(fault.neutral_voltage_v / branch) * on)

    fault_a2s, branch_a2s = (
        course.integral(of, lasts[..., None], 2.0)[0][..., 0] for of in (_whole, in_branch)
    )
    return EarthFaults(
        *(
            np.ravel(values)
            for values in (
                np.abs(solid.fault_current_a),
                np.abs(solid.neutral_voltage_v / branch),
                np.abs(solid.neutral_voltage_v),
                np.abs(course.closed.neutral_voltage_v),
                seen,
                lasts,
                fault_a2s,
                branch_a2s,
                fault_a2s * s["internal_faults.earth_fault_resistance_ohm"][:, None],
                branch_a2s * resistor,
            )
        )
    )


def _whole(fault: EarthFault) -> Array:
    return np.abs(fault.fault_current_a)


def _seen(block: Block, place: Array) -> Array:
    """1 where the job's one setting sees a fault at each place, 0 where not or where it had
    operated on the load; NaN unresolved, or without a setting. (n, places)"""
    for lattice, phase_x, earth_x in critical_places(block, solved(block), {}):
        load = block.load_pickups(lattice)
        x = missed_stretches(phase_x, earth_x, load, *thresholds(lattice))[:, :1]
        return np.where(np.isnan(x), np.nan, place > x)
    return np.full(place.shape, np.nan)


def _lasts_s(block: Block, seen: Array, neutral_a: Array) -> Array:
    """From inception to the trip: by the first element that operates, each after its delay and a
    cycle in which it measures; by hand where none does. (n, places)"""
    cycle, backup = 1 / block.study.machine.frequency_hz, block.study.backup
    first = np.full(seen.shape, np.inf)
    for lattice in block.job.lattices:
        first = np.where(seen == 1, lattice.delay_s[0] + cycle, first)
    if backup is not None:
        for name, needed_a in operating_currents(block, backup).items():
            in_time = np.minimum(first, backup.elements[name].delay_s + cycle)
            first = np.where(neutral_a > needed_a[:, None], in_time, first)
    lasts = np.where(
        np.isfinite(first), first, block.samples["fault_energy.undetected_time_s"][:, None]
    )
    return np.asarray(np.where(np.isnan(seen), np.nan, lasts))
