"""Earth faults at their sampled places with one setting in service: how long each lasts, what it heats, how far it
displaces the neutral. The same faults as those of a batch of the same round."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from montecarlo.engine import primary
from montecarlo.engine.backup import operating_currents
from montecarlo.engine.batch import Progress, designs
from montecarlo.engine.block import EARTH, Block, Job
from montecarlo.engine.parallel import mapped
from montecarlo.engine.winding import critical_places, solved
from montecarlo.plant.fault_energy import joule_integral
from montecarlo.quantities import Array
from montecarlo.sampling.design import BLOCKS, Chunk
from montecarlo.study.candidates import Setting, lattices_of
from montecarlo.study.description import Study

__all__ = ["EarthFaults", "sample_earth_faults"]


@dataclass(frozen=True, eq=False)
class EarthFaults:
    """Sampled earth faults of a study with one setting in service; each (blocks, n), a row a block of plants.

    Without a setting, and for a fault that gave no result, all that hangs on the time is NaN."""

    solid_fault_a: Array                                   # of a fault at the terminals without resistance
    solid_neutral_a: Array                                 # the machine's neutral then
    solid_neutral_v: Array
    neutral_v: Array                                       # of the sampled fault
    seen: Array                                            # 1 where the differential operates, 0 where not
    lasts_s: Array                                         # from inception to the trip
    fault_a2s: Array                                       # heat for each ohm in the fault, and in the neutral
    neutral_a2s: Array
    fault_j: Array
    resistor_j: Array


def sample_earth_faults(study: Study, setting: Setting | None, *, round_: int, workers: int,
                        progress: Progress) -> EarthFaults:
    """Every earth fault of the study's design on the random numbers of a round. The study has [fault_energy]."""
    job = Job(study.alone, () if setting is None else lattices_of(study, setting), *designs(study))
    tasks = [(job, chunk) for chunk in job.earth_design.chunks(EARTH, round_)]
    done, total = 0, job.earth_design.samples_drawn
    parts: list[list[EarthFaults]] = [[] for _ in range(BLOCKS)]
    for (_, chunk), part in zip(tasks, mapped(_run_task, tasks, workers), strict=True):
        parts[chunk.plant_block].append(part)
        done += job.earth_design.samples_in(chunk)
        progress(done, total, "energy of earth faults")
    return EarthFaults(*(np.stack([np.concatenate([getattr(part, field.name) for part in block]) for block in parts])
                         for field in fields(EarthFaults)))


def _run_task(task: tuple[Job, Chunk]) -> EarthFaults:
    return earth_faults(Block(*task))


def earth_faults(block: Block) -> EarthFaults:
    """Of one block of samples, (n,) each."""
    s, place = block.samples, block.samples["internal_faults.position"][:, None]
    neutral, resistor = primary.neutral(block), primary.resistor(block)
    solid = primary.earth_fault(block, np.ones(1), solid=True)
    fault, after = (primary.earth_fault(block, place, alone=alone) for alone in (False, True))
    fault_a, after_a = np.abs(fault.fault_current_a[:, 0]), np.abs(after.fault_current_a[:, 0])
    neutral_a, neutral_after_a = (np.abs(one.neutral_voltage_v[:, 0] / neutral) for one in (fault, after))
    seen = _seen(block)
    lasts = _lasts_s(block, seen, neutral_a)
    closed, decay = lasts + s["fault_energy.breaker_time_s"], s["fault_energy.field_decay_time_constant_s"]
    fault_a2s = joule_integral(fault_a, closed, after_a, decay)
    neutral_a2s = joule_integral(neutral_a, closed, neutral_after_a, decay)
    solid_v = np.abs(solid.neutral_voltage_v[:, 0])
    return EarthFaults(np.abs(solid.fault_current_a[:, 0]), solid_v / np.abs(neutral), solid_v,
                       np.abs(fault.neutral_voltage_v[:, 0]), seen, lasts, fault_a2s, neutral_a2s,
                       fault_a2s * s["internal_faults.earth_fault_resistance_ohm"], neutral_a2s * resistor)


def _seen(block: Block) -> Array:
    """1 where the job's one setting sees the sampled fault, 0 where not or where it had operated on the load; NaN
    unresolved, or without a setting. (n,)"""
    for lattice, phase_x, earth_x in critical_places(block, solved(block), {}):
        x = np.minimum(phase_x[:, 0, 0], earth_x[:, 0, 0])
        load = block.load_pickups(lattice)
        phase, earth = load.silent(np.array(lattice.phase_thresholds), np.array(lattice.earth_thresholds), 1)
        seen = (block.samples["internal_faults.position"] > x) & phase[:, 0, 0] & earth[:, 0, 0]
        return np.where(np.isfinite(x) & load.resolved, seen, np.nan)
    return np.full(len(block), np.nan)


def _lasts_s(block: Block, seen: Array, neutral_a: Array) -> Array:
    """From inception to the trip: by the first element that operates, each after its delay and a cycle in which it
    measures; by hand where none does. (n,)"""
    cycle, backup = 1 / block.study.machine.frequency_hz, block.study.backup
    first = np.full(len(block), np.inf)
    for lattice in block.job.lattices:
        first = np.where(seen == 1, lattice.delay_s[0] + cycle, first)
    if backup is not None:
        for name, needed_a in operating_currents(block, backup).items():
            first = np.where(neutral_a > needed_a, np.minimum(first, backup.elements[name].delay_s + cycle), first)
    lasts = np.where(np.isfinite(first), first, block.samples["fault_energy.undetected_time_s"])
    return np.asarray(np.where(np.isnan(seen), np.nan, lasts))
