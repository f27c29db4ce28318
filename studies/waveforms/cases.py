"""Sampled cases nearest the boundary of one setting, and the secondary currents of each, for
injection into a relay.

The cases are samples of the study's own batch: the first of every type, the same whatever else is
run. All are solved in time, internal faults at their sampled place too. What an element measures is
compared with its setting itself, no pick-up error taken: the relay that is injected has its own."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from montecarlo.engine import primary
from montecarlo.engine.block import Block
from montecarlo.engine.job import Job
from montecarlo.engine.sizes import designs
from montecarlo.engine.waves import Waves, external_event, step_currents
from montecarlo.engine.winding import SETTLED_SHARE
from montecarlo.quantities import Array
from montecarlo.sampling.design import Chunk
from montecarlo.sampling.stratum import Side, Stratum
from montecarlo.secondary import transient
from montecarlo.study.axes import Setting
from montecarlo.study.candidates import Lattice, lattices_of
from montecarlo.study.circuits import measurement
from montecarlo.study.description import Study
from montecarlo.study.strata import strata
from studies.waveforms.resampling import band_limited

SEARCHED = 2048  # samples of each type, at most
EACH = 3  # cases of each kind
SPARE = 3  # times as many are looked at with fine steps
FINER = 2  # steps of the solution a sample of the record, at least
PER_CYCLE = 96  # steps of the solution a cycle, at least

# Kind of case: whether the fault is internal, whether the setting operates on it. The order of
# a kind is that of its nearness to the boundary, but for false trips, of which the worst come
# first.
KINDS = {
    "false_trip": (False, True),
    "near_false_trip": (False, False),
    "weakest_detected": (True, True),
    "strongest_missed": (True, False),
}


@dataclass(frozen=True, eq=False)
class Case:
    """One sampled case. times_s (samples,), the event begins at 0; cts_a (ct, samples) what each
    CT delivers into its lead, legs_a (legs, samples) [A secondary], without what the sampling rate
    cannot show; quantity_a (elements,) the largest
    that each sustains for its delay, above its bias where it has one; setting_a (elements,)."""

    kind: str
    stratum: Stratum
    installation: int  # counted from 0, as the rows of installations.npz
    event: int  # of that installation, from 0
    rate_hz: float
    times_s: Array
    cts_a: Array
    legs_a: Array
    quantity_a: Array
    setting_a: Array

    @property
    def ratio(self) -> float:
        """The largest of the elements' quantities over their settings: above 1 the setting
        operates."""
        return float(np.max(self.quantity_a / self.setting_a))


@dataclass(frozen=True, eq=False)
class Search:
    """Cases by kind, nearest first, and how many samples of each type were looked at."""

    cases: tuple[Case, ...]
    searched: dict[str, int]


@dataclass(frozen=True)
class _Found:
    """A sample with the ratio of the search."""

    chunk: Chunk
    row: int
    ratio: float


def nearest_cases(study: Study, setting: Setting) -> Search:
    """Look through the first samples of every type; a deterministic function of the study and the
    setting."""
    (lattice,) = lattices_of(study, setting)
    counted, earth = designs(study)
    job = Job(
        study.alone,
        (lattice,),
        replace(counted, samples=min(counted.samples, SEARCHED)),
        replace(earth, samples=min(earth.samples, SEARCHED)),
    )
    found: list[_Found] = []
    searched: dict[str, int] = {}
    for stratum in strata(study):
        if stratum.side is not Side.STATE:
            for chunk in job.design_of(stratum).chunks(stratum):
                ratios = _ratios(Block(job, chunk), lattice)
                found += [_Found(chunk, row, ratio) for row, ratio in enumerate(ratios.tolist())]
            searched[stratum] = job.design_of(stratum).samples_drawn
    return Search(
        tuple(case for kind in KINDS for case in _cases(job, lattice, kind, found)), searched
    )


def _cases(job: Job, lattice: Lattice, kind: str, found: list[_Found]) -> Iterator[Case]:
    """The nearest of a kind, by the fine solution where it agrees with the search on what
    operates."""
    internal, operates = KINDS[kind]
    sign = -1.0 if kind == "false_trip" or not operates else 1.0

    def ours(stratum: Stratum, ratio: float) -> bool:
        return (stratum.side is Side.INTERNAL) == internal and (ratio > 1) == operates

    few = [one for one in found if np.isfinite(one.ratio) and ours(one.chunk.stratum, one.ratio)]
    few.sort(key=lambda one: sign * one.ratio)
    again = [_Solved(job, lattice, one) for one in few[: EACH * SPARE]]
    again = [one for one in again if np.isfinite(one.ratio) and ours(one.chunk.stratum, one.ratio)]
    for one in sorted(again, key=lambda one: sign * one.ratio)[:EACH]:
        yield one.case(kind)


class _Solved:
    """A sample solved again with fine steps, from as long before the event as its record begins."""

    def __init__(self, job: Job, lattice: Lattice, found: _Found) -> None:
        self.chunk, self.row = found.chunk, found.row
        self.block = Block(job, found.chunk).only(np.array([found.row]))
        self.recording = job.study.waveforms
        frequency_hz = job.study.machine.frequency_hz
        self.window, response = _solve(
            self.block,
            lattice,
            max(math.ceil(FINER * self.recording.sampling_rate_hz / frequency_hz), PER_CYCLE),
            # one more cycle: a sample is made of currents to both sides of its time
            cycles_before=math.ceil(self.recording.before_s * frequency_hz) + 1,
            trace=True,
        )
        # copies, as the solver's arrays hold a whole block of lanes
        self.cts_a, self.legs_a = response.cts[0].copy(), response.trace[0].copy()
        self.quantity_a = response.pickup[0, :, 0, 0]
        self.setting_a = _settings_a(self.block, lattice)
        self.ratio = float(np.max(self.quantity_a / self.setting_a))

    def case(self, kind: str) -> Case:
        """With the currents at the record's rate."""
        rate_hz, design = self.recording.sampling_rate_hz, self.block.design
        installation, event = divmod(self.row, design.events_in(self.chunk))
        solved, ends = np.concatenate([self.cts_a, self.legs_a]), self.window
        # the last cycle goes on, so that the record can end with it
        solved = np.concatenate([solved, solved[:, -ends.per_cycle :]], axis=1)
        times_s = sample_times(self.recording.before_s, rate_hz, ends.times()[-1])
        sampled = band_limited(solved, ends.times()[2], ends.step_s, times_s)
        cts = len(self.cts_a)
        return Case(
            kind,
            self.chunk.stratum,
            design.installations_in(self.chunk).start + installation,
            self.chunk.event_block * design.events_per_chunk + event,
            rate_hz,
            times_s,
            sampled[:cts],
            sampled[cts:],
            self.quantity_a,
            self.setting_a,
        )


def sample_times(before_s: float, rate_hz: float, last_s: float) -> Array:
    """Times of a record's samples; the event begins at 0, which is one of them. [s]"""
    first = -round(before_s * rate_hz)
    return np.arange(first, math.floor(last_s * rate_hz + 1e-6) + 1) / rate_hz


def _ratios(block: Block, lattice: Lattice) -> Array:
    """The largest of the elements' quantities over their settings, (n,); NaN where unresolved."""
    _, response = _solve(block, lattice, transient.STEPS_PER_CYCLE)
    return np.asarray((response.pickup[:, :, 0, 0] / _settings_a(block, lattice)).max(axis=1))


def _settings_a(block: Block, lattice: Lattice) -> Array:
    """Pick-up setting of every element, (elements,)."""
    of = {"phase": lattice.phase_thresholds[0], "earth": lattice.earth_thresholds[0]}
    return np.array([of[element.axis] for element in block.scheme(lattice.circuit).elements])


def _solve(
    block: Block, lattice: Lattice, per_cycle: int, *, cycles_before: int = 1, trace: bool = False
) -> tuple[transient.Window, transient.Response]:
    """A block's samples in time on the setting's circuit, `per_cycle` steps a cycle."""
    circuit = lattice.circuit
    window, waves, before = _driven(block, per_cycle, cycles_before)
    external = block.stratum.side is Side.EXTERNAL
    return window, block.in_time(
        circuit,
        window,
        waves,
        block.solved(circuit, before).flux,
        measurement(block.study, block.scheme(circuit), (block.form(lattice),), lattice.delay_s),
        settle=0.0 if external or trace else SETTLED_SHARE,
        keep_trace=trace,
    )


def _driven(
    block: Block, per_cycle: int, cycles_before: int
) -> tuple[transient.Window, Waves, primary.Complex]:
    """Window, primary currents and the phasors before t = 0 of an external event or an internal
    fault."""
    if block.stratum.side is Side.EXTERNAL:
        return external_event(block, per_cycle, cycles_before)
    allowed_s = block.study.internal_faults.allowed_time_s
    frequency_hz = block.study.machine.frequency_hz
    window = transient.Window(frequency_hz, allowed_s, per_cycle, cycles_before)
    turn = np.exp(2j * np.pi * block.uniform("point_on_wave"))[:, None]
    before, during = block.load_primary * turn, primary.lasting(block) * turn
    return window, step_currents(block, window, before, during), before
