"""Sampled cases nearest the boundary of one setting: what passes in each, and the secondary
currents for injection into a relay.

The cases are samples of the study's own batch: the first of every type, the same whatever else is
run. Where none of them is a false trip, the first weighted samples of the same batch are searched
for some. All are solved in time, internal faults at their sampled place too. What an element
measures is compared with its setting itself, no pick-up error taken: the relay that is injected has
its own."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np

from montecarlo.engine import primary
from montecarlo.engine.block import Block
from montecarlo.engine.draws import Draw
from montecarlo.engine.inception import in_parts, internal_fault
from montecarlo.engine.job import Job
from montecarlo.engine.rare import Densities, first_draw
from montecarlo.engine.sizes import designs
from montecarlo.engine.waves import Waves, external_event
from montecarlo.engine.winding import SETTLED_SHARE
from montecarlo.estimates.choose import weights_of
from montecarlo.quantities import Array, Flags
from montecarlo.sampling.design import Chunk
from montecarlo.sampling.stratum import Side, Stratum
from montecarlo.secondary import transient
from montecarlo.secondary.measurement import holds_from
from montecarlo.secondary.restraint import operating_quantity, threshold
from montecarlo.study.axes import Setting
from montecarlo.study.candidates import Lattice, lattices_of
from montecarlo.study.circuits import Circuit
from montecarlo.study.description import Study
from montecarlo.study.strata import in_time, strata
from studies.waveforms.judging import Judging, cleared_s

SEARCHED = 2048  # samples of each type, at most
EACH = 3  # cases of each kind
SPARE = 3  # times as many are looked at with fine steps
FINER = 2  # steps of the solution a sample of the record, at least
PER_CYCLE = 96  # steps of the solution a cycle, at least
NONE: Densities = MappingProxyType({})

# Kind of case: whether the fault is internal, whether the setting operates on it. The order of
# a kind is that of its nearness to the boundary, but for false trips, of which the worst come
# first, or the most frequent where they are weighted samples.
KINDS = {
    "false_trip": (False, True),
    "near_false_trip": (False, False),
    "weakest_detected": (True, True),
    "strongest_missed": (True, False),
}


@dataclass(frozen=True, eq=False)
class Case:
    """One sampled case. At the ends of steps, times_s (steps,), the event begins at 0; of each CT
    (ct, steps): cts_a what it delivers into its lead, ideal_a that without exciting current [A
    secondary], primary_a, flux of its core [knee flux]; legs_a (legs, steps) [A secondary]; of each
    element (elements, steps): what it measures, difference_a, and what that must exceed,
    threshold_a, at its bias current bias_a, 0 where it has none. quantity_a (elements,) the largest
    that each sustains for its delay, above its bias where it has one; setting_a (elements,);
    starts_s (elements,): when what operates each begins, NaN where nothing does; cleared_s: when
    the contacts open, NaN where none do; gate_on (elements, steps): whether a gate holds each back;
    gated: the elements that have one."""

    kind: str
    stratum: Stratum
    installation: int  # from 0, as the rows of installations.npz; of a weighted sample its own
    event: int  # of that installation, from 0
    weight: float | None  # of a weighted sample: how often it occurs over how often it is drawn
    rate_hz: float
    times_s: Array
    cts_a: Array
    legs_a: Array
    quantity_a: Array
    setting_a: Array
    primary_a: Array
    ideal_a: Array
    flux: Array
    difference_a: Array
    threshold_a: Array
    starts_s: Array
    bias_a: Array
    cleared_s: float
    gate_on: Flags
    gated: tuple[int, ...]

    @property
    def ratio(self) -> float:
        """The largest of the elements' quantities over their settings: above 1 the setting
        operates."""
        return float(np.max(self.quantity_a / self.setting_a))

    @property
    def element(self) -> int:
        """The one that has this ratio."""
        return int(np.argmax(self.quantity_a / self.setting_a))


@dataclass(frozen=True, eq=False)
class Search:
    """Cases by kind, nearest first, and how many samples of each type were looked at."""

    cases: tuple[Case, ...]
    searched: dict[str, int]


@dataclass(frozen=True, eq=False)
class _Found:
    """A sample with the ratio of the search; draw: of a weighted one."""

    chunk: Chunk
    row: int
    ratio: float
    draw: Draw | None = None
    weight: float | None = None

    def alone(self, job: Job) -> Block:
        """The sample as a block."""
        block = Block(job, self.chunk) if self.draw is None else self.draw.block(self.draw.u())
        return block.only(np.array([self.row]))


def nearest_cases(study: Study, setting: Setting, densities: Densities = NONE) -> Search:
    """Look through the first samples of every type; a deterministic function of its arguments.

    Parameters
    ----------
    study : Study
    setting : Setting
    densities : mapping of Symmetric
        Of weighted samples, by external event.

    Returns
    -------
    Search
    """
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
                ratios = ratios_of(Block(job, chunk), lattice)
                found += [_Found(chunk, row, ratio) for row, ratio in enumerate(ratios.tolist())]
            searched[stratum] = job.design_of(stratum).samples_drawn
    cases = {kind: [*_cases(job, lattice, kind, found)] for kind in KINDS}
    if not cases["false_trip"]:
        cases["false_trip"] = [*_frequent(job, lattice, densities)]
    return Search(tuple(case for kind in KINDS for case in cases[kind]), searched)


def _cases(job: Job, lattice: Lattice, kind: str, found: list[_Found]) -> Iterator[Case]:
    """The nearest of a kind, by the fine solution where it agrees with the search on what
    operates."""
    internal, operates = KINDS[kind]
    sign = -1.0 if kind == "false_trip" or not operates else 1.0

    def ours(stratum: Stratum, ratio: float) -> bool:
        return (stratum.side is Side.INTERNAL) == internal and (ratio > 1) == operates

    few = [one for one in found if np.isfinite(one.ratio) and ours(one.chunk.stratum, one.ratio)]
    few.sort(key=lambda one: sign * one.ratio)
    cases = [_case(job, lattice, kind, one) for one in few[: EACH * SPARE]]
    cases = [case for case in cases if np.isfinite(case.ratio) and ours(case.stratum, case.ratio)]
    yield from sorted(cases, key=lambda case: sign * case.ratio)[:EACH]


def _frequent(job: Job, lattice: Lattice, densities: Densities) -> Iterator[Case]:
    """Of the weighted samples that are false trips those that stand for most of them."""
    rates = _rates(job.study)
    few: list[tuple[float, _Found]] = []
    for stratum, density in densities.items():
        draw = first_draw(job, stratum, density)
        u = draw.u()
        weights = np.exp(density.log_weight(u)).tolist()
        ratios = ratios_of(draw.block(u), lattice).tolist()
        for row, (ratio, weight) in enumerate(zip(ratios, weights, strict=True)):
            if ratio > 1:
                found = _Found(draw.chunk, row, ratio, draw, weight)
                few.append((rates[stratum] * weight / draw.count, found))
    few.sort(key=lambda one: -one[0])
    cases = (_case(job, lattice, "false_trip", one) for _, one in few[: EACH * SPARE])
    yield from [case for case in cases if case.ratio > 1][:EACH]


def _rates(study: Study) -> Mapping[Stratum, float]:
    """Events a year."""
    weights = weights_of(study)
    return dict(zip(weights.external, weights.rates, strict=True))


def _case(job: Job, lattice: Lattice, kind: str, found: _Found) -> Case:
    block, recording = found.alone(job), job.study.waveforms
    frequency_hz = job.study.machine.frequency_hz
    window, response, judged = _solve(
        block,
        lattice,
        max(math.ceil(FINER * recording.sampling_rate_hz / frequency_hz), PER_CYCLE),
        # one more cycle: a sample of the record is made of currents to both sides of its time
        cycles_before=math.ceil(recording.before_s * frequency_hz) + 1,
        trace=True,
    )
    design, chunk = block.design, found.chunk
    installation, event = found.row, 0
    if found.draw is None:
        installation, event = divmod(found.row, design.events_in(chunk))
        installation += design.installations_in(chunk).start
        event += design.first_event(chunk)
    pickups = judged.settings_a
    difference, bias = response.difference[0].copy(), response.bias[0].copy()
    least, latest = judged.least(response)[0], judged.latest(window)
    return Case(
        kind,
        chunk.stratum,
        installation,
        event,
        found.weight,
        1 / window.step_s,
        window.times()[2::2],
        response.cts[0].copy(),  # the solver's arrays hold a whole block of lanes
        response.trace[0].copy(),
        judged.own(response.pickup)[0],
        pickups,
        response.ideal[0] * block.bank(lattice.circuit).turns[0][:, None],
        response.ideal[0].copy(),
        response.flux[0].copy(),
        difference[:, latest],
        np.stack(
            [threshold(*one) for one in zip(pickups, bias[:, latest], judged.forms, strict=True)]
        ),
        _starts(
            [
                operating_quantity(*one)
                for one in zip(difference, bias, judged.forms, least, strict=True)
            ],
            pickups,
            window,
            judged,
        ),
        bias[:, latest],
        float(cleared_s(block)[0]),
        judged.gate_on(response)[0][:, latest],
        judged.gated,
    )


def _starts(
    quantities: Sequence[Array], pickups: Array, window: transient.Window, judged: Judging
) -> Array:
    """When what operates each element begins, (elements,) [s]."""
    grid, phase = judged.grid(window), float(judged.phase[0])
    each = zip(quantities, pickups, judged.holds(window), strict=True)
    steps = [
        holds_from(values[grid.lead :], pickup, hold, judged.wanted.drop_off)
        for values, pickup, hold in each
    ]
    return np.array(
        [np.nan if step is None else (step + 1 - phase) * grid.step_s for step in steps]
    )


def ratios_of(block: Block, lattice: Lattice) -> Array:
    """The largest of the elements' quantities over their settings, (n,); NaN where unresolved, and
    where one had operated before an internal fault."""
    internal = block.stratum.side is Side.INTERNAL
    ratios = []
    for part in in_parts(block) if internal else [block]:
        _, response, judged = _solve(part, lattice, transient.STEPS_PER_CYCLE)
        ratio = (judged.own(response.pickup) / judged.settings_a).max(axis=1)
        if len(response.earlier):
            before = judged.own(response.earlier) > judged.settings_a
            ratio[before.any(axis=1)] = np.nan
        ratios.append(ratio)
    return np.concatenate(ratios)


def _solve(
    block: Block, lattice: Lattice, per_cycle: int, *, cycles_before: int = 1, trace: bool = False
) -> tuple[transient.Window, transient.Response, Judging]:
    """A block's samples in time on the setting's circuit, `per_cycle` steps a cycle; and how the
    setting judges them."""
    circuit = lattice.circuit
    window, waves, before = _driven(block, per_cycle, cycles_before)
    judged = Judging.of(block, lattice, window)
    response = block.in_time(
        circuit,
        window,
        waves,
        block.solved(circuit, before).flux,
        judged.wanted,
        settle=0.0 if trace or in_time(block.study, block.stratum) else SETTLED_SHARE,
        keep_trace=trace,
    )
    return window, _of_elements(block, circuit, response), judged


def _of_elements(
    block: Block, circuit: Circuit, response: transient.Response
) -> transient.Response:
    """The same with what elements get of their legs' currents, beside a non-linear resistor."""
    if block.study.scheme.nonlinear_resistor is None:
        return response
    legs = block.share(circuit)[..., None]
    own = legs[:, list(block.scheme(circuit).watch)]

    def part(values: Array, share: Array) -> Array:
        return values * share if values.size else values

    return replace(
        response,
        pickup=part(response.pickup, own[..., None]),
        earlier=part(response.earlier, own[..., None]),
        trace=part(response.trace, legs),
        difference=part(response.difference, own),
    )


def _driven(
    block: Block, per_cycle: int, cycles_before: int
) -> tuple[transient.Window, Waves, primary.Complex]:
    """Window, primary currents and the phasors before t = 0 of an external event or an internal
    fault."""
    if block.stratum.side is Side.EXTERNAL:
        return external_event(block, per_cycle, cycles_before)
    return internal_fault(block, per_cycle, cycles_before)
