"""Earth faults along the whole winding: where each setting would only just operate, by phasors or
in time."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from montecarlo.engine import primary
from montecarlo.engine.block import Block
from montecarlo.engine.job import Job
from montecarlo.engine.primary import Complex
from montecarlo.engine.waves import Waves, step_currents
from montecarlo.estimates.conditional import at_place, critical_position, winding_nodes
from montecarlo.quantities import Array, Index
from montecarlo.relays.gates import OF_EARTH
from montecarlo.relays.places import carried
from montecarlo.relays.schemes import STAGES, Axis
from montecarlo.secondary import steady, transient
from montecarlo.secondary.circuit import take
from montecarlo.secondary.restraint import GREATER_OF, NO_BIAS, SUM, Form
from montecarlo.study.candidates import Lattice
from montecarlo.study.circuits import Circuit, gates_of, one_side, scheme_of
from montecarlo.study.description import Study
from montecarlo.study.nominal import Nominal

STEADY_INTERVALS = 15  # of the winding, phasor solution
TRANSIENT_INTERVALS = 15  # of the winding, transient solution
PER_CYCLE = 36  # its steps: p_missed within 0.2 % (tests/MEASUREMENTS)
POSITION = "internal_faults.position"
DECIDES_MOST = "internal_faults.earth_fault_resistance_ohm"
ROWS = 1024  # samples x places in one pass: few rows cost more each, many need memory
GATE_MARGIN = 0.8  # of its start, up to which an earth fault starts no gate
SETTLED_SHARE = 1e-3  # a cycle's change of the RMS that ends a transient pass

Beyond = dict[Axis, NDArray[np.bool_]]  # by pick-up of some elements
ByCircuit = dict[Circuit, Array]  # (n, nodes, elements, forms, delays) by circuit
Released = dict[tuple[Circuit, float], Array]


@dataclass(frozen=True, eq=False)
class Along:
    """A chunk's earth faults along the winding: by phasors on every circuit, in time where a
    pick-up wants it."""

    beyond: dict[Lattice, Beyond]
    by_phasors: ByCircuit
    in_time: ByCircuit
    # by circuit and number of a gate: the neutral CT's current less its start, (n, nodes)
    released: Released = field(default_factory=dict)


def solved(block: Block) -> Along:
    """Each sample along the winding, on every circuit.

    Parameters
    ----------
    block : Block

    Returns
    -------
    Along
    """
    by_phasors: ByCircuit = {}
    released: Released = {}
    for circuit in block.circuits:
        by_phasors[circuit], by_gate = _by_phasors(block, circuit, winding_nodes(STEADY_INTERVALS))
        released |= {(circuit, gate): margin for gate, margin in by_gate.items()}
    beyond = _beyond_phasors(block.job)
    late = dict.fromkeys(
        lattice.circuit
        for lattice, parts in beyond.items()
        if any(part.any() for part in parts.values())
    )
    coarse = winding_nodes(TRANSIENT_INTERVALS)
    return Along(beyond, by_phasors, _in_time(block, late, coarse), released)


def critical_places(
    block: Block, found: Along, counts: dict[str, float]
) -> Iterator[tuple[Lattice, Array, Array]]:
    """x* of every phase and earth setting of each of the job's lattices.

    Parameters
    ----------
    block : Block
    found : Along
    counts : dict of float
        Takes sums over the places between the solved ones.

    Yields
    ------
    Lattice, (n, P, D) array, (n, E, D) array
        As of `critical_positions`.
    """
    counts |= {"re_entries": 0.0, "interpolation": 0.0, "interpolated": 0.0}
    for lattice in block.job.lattices:
        yield lattice, *critical_positions(block, lattice, found, counts)


@lru_cache(maxsize=8)
def _beyond_phasors(job: Job) -> dict[Lattice, Beyond]:
    """Of all lattices; kept, since every chunk asks."""
    return {lattice: beyond_phasors(job.study, lattice) for lattice in job.lattices}


def beyond_phasors(study: Study, lattice: Lattice) -> Beyond:
    """Pick-ups at which remanence decides, so that phasors will not do: the voltage
    through an earth fault's path is too near the knee, or the CTs in parallel take more exciting
    current than the element gets.

    The current of an earth fault passes every leg of the faulted phase's CT, whichever element
    watches.

    Parameters
    ----------
    study : Study
    lattice : Lattice

    Returns
    -------
    dict of array of bool
        By "phase", "earth" and "high_set", of the elements that there are.
    """
    scheme = scheme_of(study, lattice.scheme)
    core = study.ct.weakest(scheme.groups)
    knee = core.knee_voltage_v.centre()
    nominal = Nominal(study)
    ohm, shares = nominal.ohms(lattice.circuit), nominal.shares(lattice.circuit)
    curve = core.curve(core.ankle_ratio.centre())

    def late(axis: Axis, pickup_a: tuple[float, ...]) -> NDArray[np.bool_]:
        if _gate_may_start(study, lattice.own.gate_of(axis)):
            return np.ones(len(pickup_a), bool)
        leg_a = np.array(pickup_a) / shares[list(scheme.of(axis))].min()
        flux = leg_a * scheme.path_ohm(axis, ohm) / knee
        each = np.repeat(curve[:, None], flux.size, axis=1)
        loop = steady.describing_function(np.clip(flux, 1e-9, 1.0), each, core.saturation_exponent)
        exciting = core.knee_current_a.centre() * np.abs(loop) * flux / np.sqrt(2)
        beyond = (flux > steady.VALID_KNEE_SHARE) | (scheme.parallel * exciting > leg_a)
        return np.asarray(beyond)

    return {stage: late(stage, own) for stage in STAGES if (own := lattice.pickups_of(stage))}


def _gate_may_start(study: Study, name: str | None) -> bool:
    """Whether an earth fault may start a gate. Its current is too small for one that wants more of
    it, the neutral's impedance at its centre, with a fifth to spare."""
    if name is None:
        return False
    (gate,) = (one for one in study.scheme.gates if one.name == name)
    if gate.start == OF_EARTH:  # where it ends is sought by itself
        return False
    if gate.start_pu is None:
        return True
    nominal, machine = Nominal(study), study.machine
    most_v = machine.phase_voltage_v * machine.voltage_factor.support()[1]
    least_a = gate.start_pu.support()[0] * machine.rated_current_a
    return bool(most_v / nominal.neutral_ohm >= GATE_MARGIN * least_a)


# --- from quantities along the winding to critical positions ------------------


@dataclass(frozen=True, eq=False)
class Sweep:
    """One solution along the winding, and the pick-ups of a lattice that it judges."""

    axis: Axis
    delay_s: float | None  # None: by phasors, where the delay does not matter
    judges: NDArray[np.bool_]  # (P,) or (E,): which of them,
    pickups_a: Array  # and what they are
    currents: Array  # (n, nodes, elements, forms)


def _sweeps(block: Block, lattice: Lattice, along: Along) -> Iterator[Sweep]:
    """Of all elements, by phasors and, for each delay, in time."""
    circuit = lattice.circuit
    delays = block.delays(circuit)
    for axis, late in along.beyond[lattice].items():
        level = np.array(lattice.pickups_of(axis))
        if not late.all():
            yield Sweep(axis, None, ~late, level[~late], along.by_phasors[circuit][..., 0])
        for delay in lattice.delays_of(axis) if late.any() else ():
            currents = along.in_time[circuit][..., delays.index(delay)]
            yield Sweep(axis, delay, late, level[late], currents)


def critical_positions(
    block: Block, lattice: Lattice, along: Along, counts: dict[str, float]
) -> tuple[Array, Array]:
    """x* of every phase and earth setting: by phasors, by the transient pass beyond them; 1 without
    such an element. Of the phase elements no farther than that of the high-set elements.

    Parameters
    ----------
    block : Block
    lattice : Lattice
    along : Along
    counts : dict of float
        As of `critical_places`.

    Returns
    -------
    (n, P, D) array, (n, E, D) array
    """
    phases, earths, delays = lattice.shape
    out = {
        "phase": np.ones((len(block), phases, delays)),
        "earth": np.ones((len(block), earths, delays)),
        "high_set": np.ones((len(block), 1, delays)),
    }
    for sweep in _sweeps(block, lattice, along):
        x = _positions(block, lattice, sweep, counts)
        if (margin := _release(block, lattice, sweep.axis, along)) is not None:
            nodes = winding_nodes(margin.shape[1] - 1)
            x = np.maximum(x, critical_position(nodes, margin, np.zeros(1), signed=True)[0])
        own = lattice.delays_of(sweep.axis)
        for d in range(delays):
            if sweep.delay_s in (None, own[min(d, len(own) - 1)]):
                out[sweep.axis][:, sweep.judges, d] = x
    phase, earth, high_set = out.values()
    return np.minimum(phase, high_set), earth


def _positions(block: Block, lattice: Lattice, sweep: Sweep, counts: dict[str, float]) -> Array:
    """x* (n, settings) from what the elements compare at the nodes.

    The quantity of the greater-of form jumps where the differential passes the bias; its two
    conditions do not, and an element operates from the later of their places on. (Each is held for
    the delay by itself.)"""
    nodes = winding_nodes(sweep.currents.shape[1] - 1)
    half = [*range(0, nodes.size - 1, 2), nodes.size - 1]

    def place(currents: Array, at: Array, signed: bool) -> Array:
        x, re_entries = critical_position(nodes, currents, at, signed=signed)
        rough, _ = critical_position(nodes[half], currents[:, half], at, signed=signed)
        counts["re_entries"] += float(re_entries.sum())
        counts["interpolation"] += float(np.nansum(np.abs(x - rough)))
        counts["interpolated"] += float(x.size)
        return x

    whole, elements = _conditions(block, lattice, sweep)
    if whole is not None:
        return place(whole, sweep.pickups_a, block.form(lattice, sweep.axis)[0] == SUM)
    each = [
        np.maximum(place(amount, sweep.pickups_a, False), place(margin, np.zeros(1), True))
        for amount, margin in elements
    ]
    return np.asarray(np.min(each, axis=0))


def pickups_at_place(block: Block, lattice: Lattice, along: Along) -> Iterator[tuple[Sweep, Array]]:
    """Critical pick-ups of a lattice at the samples' own places, interpolated between the solved
    ones as the critical positions are: by phasors and, for each delay, in time. [A]

    Parameters
    ----------
    block : Block
    lattice : Lattice
    along : Along

    Yields
    ------
    Sweep, (n,) array
    """
    x = block.samples[POSITION]
    for sweep in _sweeps(block, lattice, along):
        found = _at_place(block, lattice, sweep)
        if (margin := _release(block, lattice, sweep.axis, along)) is not None:
            nodes = winding_nodes(margin.shape[1] - 1)
            released = at_place(nodes, margin, x, signed=True) > 0
            found = np.where(released, found, np.minimum(found, 0.0))
        yield sweep, found


def _release(block: Block, lattice: Lattice, axis: Axis, along: Along) -> Array | None:
    """What the neutral CT carries at the nodes less what releases the elements, (n, nodes); None
    where nothing has to."""
    return along.released.get((lattice.circuit, block.form(lattice, axis)[4]))


def _at_place(block: Block, lattice: Lattice, sweep: Sweep) -> Array:
    nodes, x = winding_nodes(sweep.currents.shape[1] - 1), block.samples[POSITION]
    whole, elements = _conditions(block, lattice, sweep)
    if whole is not None:
        return at_place(nodes, whole, x, signed=block.form(lattice, sweep.axis)[0] == SUM)
    each = [
        np.where(at_place(nodes, margin, x, signed=True) <= 0, 0.0, at_place(nodes, amount, x))
        for amount, margin in elements
    ]
    return np.asarray(np.max(each, axis=0))


def _conditions(
    block: Block, lattice: Lattice, sweep: Sweep
) -> tuple[Array | None, list[tuple[Array, Array]]]:
    """What the elements compare with a pick-up, the largest of them, (n, nodes); of the greater-of
    form none, but the differential and its margin over the bias of each element."""
    forms = _winding_forms(block, lattice.circuit)
    elements = list(block.scheme(lattice.circuit).of(sweep.axis))
    form = _unreleased(block, block.form(lattice, sweep.axis))
    if form[0] != GREATER_OF:
        return sweep.currents[..., elements, forms.index(form)].max(axis=-1), []
    amount = sweep.currents[..., forms.index(_difference(form))]
    margin = sweep.currents[..., forms.index((SUM, *form[1:]))]
    return None, [(amount[..., k], margin[..., k]) for k in elements]


def _unreleased(block: Block, form: Form) -> Form:
    """The same without a gate that the neutral CT's current ends: where that is, no quantity
    jumps, and an element operates from the later of two places on."""
    gates = block.study.scheme.gates
    number = int(form[4])
    return (*form[:4], 0) if number and gates[number - 1].start == OF_EARTH else form


def _difference(form: Form) -> Form:
    """What is left of a form without its bias."""
    return (*NO_BIAS[:4], form[4])


def _winding_forms(block: Block, circuit: Circuit) -> tuple[Form, ...]:
    """The forms of bias that are solved for: the greater-of form by its two conditions."""
    found: list[Form] = []
    for form in (_unreleased(block, one) for one in block.forms(circuit)):
        found += [_difference(form), (SUM, *form[1:])] if form[0] == GREATER_OF else [form]
    return tuple(dict.fromkeys(found))


# --- solutions along the winding ----------------------------------------------


def _by_phasors(block: Block, circuit: Circuit, nodes: Array) -> tuple[Array, dict[float, Array]]:
    """What each element compares with its setting at every node, (n, nodes, elements, forms, 1);
    and the neutral CT's current less the start of each gate that it ends, (n, nodes)."""
    scheme, n = block.scheme(circuit), len(block)
    each = np.repeat(np.arange(n), nodes.size)
    faults = primary.earth_faults(block, nodes)
    currents = carried(faults.reshape(n * nodes.size, -1), scheme.places)
    solved = steady.solve(
        scheme.table,
        block.leg_ohm(circuit)[each],
        take(block.bank(circuit), each),
        currents,
        block.omega,
    )
    wanted = block.lasting(circuit, _winding_forms(block, circuit)).take(each)
    quantity = solved.quantities(wanted)
    return _by_node(block, circuit, quantity)[..., None], _margins(block, circuit, solved)


def _margins(block: Block, circuit: Circuit, solved: steady.Steady) -> dict[float, Array]:
    """By number of a gate that the neutral CT's current ends."""
    numbers = [form[4] for form in block.forms(circuit) if form != _unreleased(block, form)]
    if not numbers:
        return {}
    scheme = block.scheme(circuit)
    (side,) = (one_side(scheme, k) for k in scheme.of("earth"))
    current = np.abs(solved.cts @ np.array(side)).reshape(len(block), -1)
    gates = gates_of(block.study, block.samples, 1.0)
    starts = {one: gates[int(one) - 1].levels.start_a / np.sqrt(2) for one in numbers}
    return {one: current - start[:, None] for one, start in starts.items()}


def _in_time(block: Block, circuits: Iterable[Circuit], nodes: Array) -> ByCircuit:
    """The same by the transient pass, for each delay on a circuit, (n, nodes, elements, forms, D).
    Load and remanence before the fault; at a random point on wave the current jumps to the fault's
    sinusoid. What it would take to rise is far below a step (METHOD, section 3)."""
    angle = 2 * np.pi * block.uniform("point_on_wave")
    turn = np.exp(1j * angle)[:, None]
    allowed_s = block.study.internal_faults.allowed_time_s
    window = transient.Window(block.study.machine.frequency_hz, allowed_s, PER_CYCLE)
    flux = {circuit: block.solved(circuit, block.load_primary).flux * turn for circuit in circuits}
    found: dict[Circuit, list[Array]] = {circuit: [] for circuit in flux}
    some = max(1, ROWS // len(block))
    for first in range(0, nodes.size, some):
        few = nodes[first : first + some]
        each = np.repeat(np.arange(len(block)), few.size)
        during = primary.earth_faults(block, few).reshape(each.size, -1)
        before = (block.load_primary * turn)[each]
        waves = step_currents(block, window, before, during * turn[each], turn)
        for circuit, parts in found.items():
            parts.append(_at_nodes(block, circuit, window, waves, flux[circuit][each], each))
    return {circuit: np.concatenate(parts, axis=1) for circuit, parts in found.items()}


def _at_nodes(
    block: Block,
    circuit: Circuit,
    window: transient.Window,
    waves: Waves,
    flux: Complex,
    each: Index,
) -> Array:
    """Of some nodes, sample by sample in the waves; each: the sample of every row."""
    scheme = block.scheme(circuit)
    response = transient.solve(
        scheme.table,
        block.leg_ohm(circuit)[each],
        take(block.bank(circuit), each),
        waves.at(scheme.places),
        window,
        flux,
        block.wanted(circuit, window, _winding_forms(block, circuit), block.delays(circuit)).take(
            each
        ),
        settle=SETTLED_SHARE,
    )
    return _by_node(block, circuit, response.pickup)


def _by_node(block: Block, circuit: Circuit, quantity: Array) -> Array:
    """(n nodes, elements, ...) as (n, nodes, elements, ...), pick-up errors taken out."""
    n = len(block)
    by_node = np.moveaxis(quantity.reshape(n, len(quantity) // n, *quantity.shape[1:]), 1, -1)
    return np.moveaxis(block.per_setting(circuit, by_node), -1, 1)
