"""Through faults of the hydro example on one circuit: what the benchmarks solve."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from montecarlo.engine.block import Block
from montecarlo.engine.job import Job
from montecarlo.engine.sizes import designs
from montecarlo.engine.waves import scene_of, waves_of
from montecarlo.quantities import Array
from montecarlo.sampling.stratum import Stratum
from montecarlo.secondary import transient
from montecarlo.secondary.circuit import CtBank, take
from montecarlo.secondary.measurement import Measurement
from montecarlo.secondary.transient import STEPS_PER_CYCLE, Source, Window
from montecarlo.study.candidates import Lattice
from montecarlo.study.circuits import Circuit, measurement
from montecarlo.study.description import Study
from montecarlo.study.read import read_study

HYDRO = Path(__file__).parents[2] / "configs" / "hydro_11kv.toml"
EARTH_LEGS_OHM = (1.0, 300.0, 3000.0)
AFTER_S = 0.16  # eight cycles
EARTH = 2  # the earth element of two_phase_one_earth


@dataclass(frozen=True, eq=False)
class Faults:
    """n through faults on one circuit, ready for `transient.solve`."""

    table: Array
    leg_ohm: Array  # (n, legs)
    bank: CtBank
    source: Source
    window: Window
    flux: Array  # (n, ct) complex, of the load before
    measurement: Measurement

    def __len__(self) -> int:
        return len(self.bank)

    def solve(self) -> Array:
        """(n, elements) [A]: the largest one-cycle RMS."""
        return transient.solve(
            self.table,
            self.leg_ohm,
            self.bank,
            self.source,
            self.window,
            self.flux,
            self.measurement,
        ).pickup[:, :, 0, 0]


def hydro() -> Study:
    return read_study(HYDRO)


def block(study: Study, samples: int, chunk: int = 0) -> Block:
    """Samples of the example's close-in three-phase fault, with circuits of the three earth legs.
    `stabilising` stands for all of the earth leg but a burden of 1 ohm."""
    general = study.study.model_copy(update={"samples": samples})
    small = study.model_copy(update={"study": general})
    lattices = tuple(
        Lattice(Circuit("two_phase_one_earth", ohm - 1.0), None, (0.05,), (0.02,), (0.0,))
        for ohm in EARTH_LEGS_OHM
    )
    job = Job(small, lattices, *designs(small))
    return Block(job, job.design.chunks(Stratum("external.close_in_three_phase"))[chunk])


def through_faults(
    samples: Block,
    earth_ohm: float,
    per_cycle: int = STEPS_PER_CYCLE,
    first: int = 0,
    last: int | None = None,
) -> Faults:
    """Samples first to last of a block, eight cycles from the fault on."""
    study, event = samples.study, samples.study.external_events[0]
    circuit = next(c for c in samples.circuits if c.stabilising_resistance_ohm == earth_ohm - 1.0)
    scheme, chosen = samples.scheme(circuit), slice(first, last)
    window = Window(study.machine.frequency_hz, AFTER_S, per_cycle)
    scene, _ = scene_of(samples, event)
    waves = waves_of(samples, event.currents(scene, window.times()))
    source = waves.at(scheme.places)
    flux = samples.solved(circuit, event.before(scene)).flux
    return Faults(
        scheme.table,
        samples.leg_ohm(circuit)[chosen],
        take(samples.bank(circuit), chosen),
        Source(np.ascontiguousarray(source.wave[chosen]), source.channel, source.loop_from),
        window,
        flux[chosen],
        measurement(study, scheme, samples.forms(circuit), (0.0,)),
    )
