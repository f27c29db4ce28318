"""The path of one chunk, from a number to a tally:

    samples -> primary currents -> secondary circuit -> critical pick-ups -> tally

A chunk is a pure function of the study and of the chunk's key. Strata are named "internal.<type>",
"external.<event>" and "state.load".
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from montecarlo.engine import primary
from montecarlo.estimates.choose import OPEN_PILOTS
from montecarlo.estimates.conditional import critical_position, winding_nodes
from montecarlo.estimates.tally import LatticeTally, Pickups, Tally, count_missed, count_operated, sum_conditional
from montecarlo.quantities import Array
from montecarlo.relays.schemes import Scheme, SchemeKind, leg_resistances
from montecarlo.sampling.design import Chunk, Design
from montecarlo.sampling.inputs import list_inputs
from montecarlo.sampling.streams import stream
from montecarlo.sampling.transform import event_samples
from montecarlo.secondary import steady, transient
from montecarlo.secondary.circuit import build_bank, take
from montecarlo.secondary.excitation import excitation_table
from montecarlo.study.candidates import Lattice, scheme_of
from montecarlo.study.description import Study

Circuit = tuple[SchemeKind, float]
Complex = NDArray[np.complex128]
Sweeps = dict[Circuit, tuple[Array, Array]]                # phase and earth pick-ups along the winding, by circuit

EARTH = "internal.earth"
LOAD, OVERLOAD = "state.load", "state.overload"
STEADY_INTERVALS = 32                                      # of the winding, phasor solution
TRANSIENT_INTERVALS = 16                                   # of the winding, transient solution
SETTLED_SHARE = 1e-3                                       # a cycle's change of the RMS that ends a transient pass


@dataclass(frozen=True)
class Job:
    """What every chunk of a run shares; small, since it travels with each of them."""

    study: Study
    lattices: tuple[Lattice, ...]
    design: Design                                         # of the counted strata
    earth_design: Design                                   # of earth faults, solved along the whole winding

    def design_of(self, stratum: str) -> Design:
        return self.earth_design if stratum == EARTH or stratum in OPEN_PILOTS else self.design


def strata(study: Study) -> tuple[str, ...]:
    """Everything that is sampled: internal fault types with a share, external events, states."""
    internal = [f"internal.{kind}" for kind, share in study.internal_faults.shares.model_dump().items()
                if share > 0 and kind != "inter_turn"]
    external = [f"external.{event.name}" for event in study.external_events]
    heavy = [OVERLOAD] if study.states.overload_current_pu is not None else []
    cores = OPEN_PILOTS if study.states.open_pilot_per_year is not None else ()
    return (*internal, *external, LOAD, *heavy, *cores)


def run_chunk(job: Job, chunk: Chunk) -> Tally:
    """Sample, solve and count one chunk."""
    block = Block(job, chunk)
    kind, _, name = chunk.stratum.partition(".")
    if chunk.stratum == EARTH:
        return _earth_faults(block)
    if kind == "external":
        responses = _external(block, name)
    else:
        lasting = primary.phase_faults(block, name) if kind == "internal" else block.load_primary
        if chunk.stratum == OVERLOAD:
            lasting = primary.overload(block)
        idle = OPEN_PILOTS.index(chunk.stratum) if chunk.stratum in OPEN_PILOTS else None
        responses = {circuit: block.steady_pickups(circuit, lasting, idle) for circuit in block.circuits}
    return Tally(tuple(_count(block, lattice, responses[lattice.circuit]) for lattice in job.lattices))


class Block:
    """One chunk's samples and CTs, and the solutions that several strata ask for."""

    def __init__(self, job: Job, chunk: Chunk) -> None:
        self.job, self.chunk, self.study = job, chunk, job.study
        self.design = job.design_of(chunk.stratum)
        self.samples: Mapping[str, Array] = event_samples(
            list_inputs(self.study), self.study.ties, seed=self.study.study.seed, design=self.design, chunk=chunk)
        if chunk.stratum.startswith("internal.") and self.study.states.breaker_open_share > 0:
            self.samples = self._with_breaker_open()
        self.omega = self.study.machine.omega
        self.bank = build_bank(self.study.ct, self.samples, self.omega)
        self.circuits: tuple[Circuit, ...] = tuple(dict.fromkeys(lattice.circuit for lattice in job.lattices))

    def _with_breaker_open(self) -> Mapping[str, Array]:
        """The samples with a share of them off the network: no load, no infeed, nothing outside the zone."""
        alone = {"load.current_pu": 0.0, "network.reactance_pu": np.inf, "network.external_capacitance_f": 0.0,
                 "earthing.other_neutrals_ohm": np.inf}
        off = self.uniform("operating_state") < self.study.states.breaker_open_share
        return {key: np.where(off, alone[key], value) if key in alone else value for key, value in self.samples.items()}

    def __len__(self) -> int:
        return len(self.samples["load.current_pu"])

    @property
    def plants(self) -> int:
        return self.design.plants_per_block

    def uniform(self, key: str) -> Array:
        """A draw that no input states (faulted phase, point on wave): (n,), its own stream, events appended last."""
        rng = stream(self.study.study.seed, self.chunk.stratum, self.chunk.round_, self.chunk.index, f"drawn.{key}")
        return np.ascontiguousarray(rng.random((len(self) // self.plants, self.plants)).T).ravel()

    def phase_number(self) -> NDArray[np.int64]:
        """The faulted phase, or the one that a fault between two leaves out: 0, 1, 2 alike."""
        return np.minimum((3 * self.uniform("phase")).astype(np.int64), 2)

    def scheme(self, circuit: Circuit) -> Scheme:
        return scheme_of(self.study, circuit[0])

    def leg_ohm(self, circuit: Circuit) -> Array:
        phase = self.samples["relay.phase_burden_ohm"] + self.samples["scheme.phase_stabilising_ohm"]
        balancing = self.samples.get("scheme.balancing_resistance_ohm", phase)
        return leg_resistances(self.scheme(circuit), phase, balancing, self.samples["relay.earth_burden_ohm"],
                               circuit[1])

    def delays(self, circuit: Circuit) -> tuple[float, ...]:
        mine = (lattice for lattice in self.job.lattices if lattice.circuit == circuit)
        return tuple(sorted({delay for lattice in mine for delay in lattice.delay_s}))

    def pickups(self, scheme: Scheme, measured: Array, repeat: int = 1) -> Pickups:
        """From what each watched leg measured, (n, watched, ...): pick-up error out, largest phase element."""
        error = 1 + self.samples["relay.pickup_error_percent"][:, scheme.element_columns] / 100
        error = np.repeat(error, repeat, axis=0).reshape(-1, error.shape[1], *(1,) * (measured.ndim - 2))
        settings = measured / error
        phases = len(scheme.phase_legs)
        return Pickups(settings[:, :phases].max(axis=1), None if scheme.earth_leg is None else settings[:, phases])

    @cached_property
    def load_primary(self) -> Complex:
        return primary.load(self)

    def load_solution(self, circuit: Circuit) -> tuple[Complex, Complex]:
        """Leg currents and core fluxes under the load before the event."""
        return steady.solve(self.scheme(circuit).table, self.leg_ohm(circuit), self.bank, self.load_primary, self.omega)

    def load_pickups(self, circuit: Circuit) -> Pickups:
        return self.steady_pickups(circuit, self.load_primary)

    def steady_pickups(self, circuit: Circuit, primary_a: Complex, idle: int | None = None) -> Pickups:
        """Critical pick-ups (n, 1) under lasting sinusoidal currents (n, 6). `idle`: a CT whose pilot core is open,
        so that it drives no leg; the leg sees the other CT alone."""
        scheme = self.scheme(circuit)
        table = scheme.table.copy()
        if idle is not None:
            table[:, idle] = 0.0
        legs, _ = steady.solve(table, self.leg_ohm(circuit), self.bank, primary_a, self.omega)
        return self.pickups(scheme, np.abs(legs[:, scheme.watch])[..., None])


def _count(block: Block, lattice: Lattice, event: Pickups) -> LatticeTally:
    phase_a, earth_a = np.array(lattice.phase_pickup_a), np.array(lattice.earth_thresholds)
    wanted = len(lattice.delay_s)
    if event.phase.shape[1] > 1:                           # this lattice's delays among the circuit's
        columns = np.searchsorted(block.delays(lattice.circuit), lattice.delay_s)
        event = Pickups(event.phase[:, columns], None if event.earth is None else event.earth[:, columns])
    if not block.chunk.stratum.startswith("internal."):
        return count_operated(event, phase_a, earth_a, wanted, block.plants)
    position = block.study.internal_faults.position
    weight = 2 * block.samples["internal_faults.position"] if is_even(position) else None
    return count_missed(event, block.load_pickups(lattice.circuit), phase_a, earth_a, wanted, block.plants, weight)


def is_even(position: object) -> bool:
    """Whether positions are uniform along the whole winding, so that the line-end law is a weight 2x."""
    return getattr(position, "family", "") == "uniform" and position.support() == (0.0, 1.0)  # type: ignore[attr-defined]


# --- external events --------------------------------------------------------------------------------------


def _external(block: Block, name: str) -> dict[Circuit, Pickups]:
    """The same sampled waveforms through every circuit."""
    event = next(item for item in block.study.external_events if item.name == name)
    window, source, before = primary.external_event(block, event)
    responses = {}
    for circuit in block.circuits:
        scheme = block.scheme(circuit)
        leg_ohm = block.leg_ohm(circuit)
        _, flux = steady.solve(scheme.table, leg_ohm, block.bank, before, block.omega)
        response = transient.solve(
            scheme.table, leg_ohm, block.bank, source, window, flux, watch=scheme.watch,
            fundamental=block.study.relay.measure == "fundamental", delays_s=block.delays(circuit))
        responses[circuit] = block.pickups(scheme, response.pickup)
    return responses


# --- earth faults -----------------------------------------------------------------------------------------


def _earth_faults(block: Block) -> Tally:
    position = block.study.internal_faults.position
    notes = {"re_entries": 0.0, "interpolation": 0.0, "interpolated": 0.0, "transient_samples": 0.0}
    fine = winding_nodes(STEADY_INTERVALS)
    by_phasors = {circuit: _along_winding(block, circuit, fine) for circuit in block.circuits}
    late = dict.fromkeys(lattice.circuit for lattice in block.job.lattices
                         if any(part.any() for part in beyond_phasors(block.study, lattice)))
    coarse = winding_nodes(TRANSIENT_INTERVALS)
    in_time = {circuit: _along_winding_in_time(block, circuit, coarse) for circuit in late}
    notes["transient_samples"] += len(block) * coarse.size * len(late)
    tallies = []
    for lattice in block.job.lattices:
        phase_x, earth_x = _critical_positions(block, lattice, by_phasors, in_time, notes)
        tallies.append(sum_conditional(
            phase_x, earth_x, block.load_pickups(lattice.circuit), np.array(lattice.phase_pickup_a),
            np.array(lattice.earth_thresholds), block.plants, position.cdf, is_even(position)))
    return Tally(tuple(tallies), notes)


def beyond_phasors(study: Study, lattice: Lattice) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Phase and earth pick-ups at which remanence decides, so that phasors will not do: the voltage through an earth
    fault's path is too near the knee, or the CTs in parallel take more exciting current than the element gets.

    The current of an earth fault passes the faulted phase's leg and the earth leg, whichever element watches."""
    core = study.ct.weaker_end()
    knee, parallel = core.knee_voltage_v.centre(), 6 if lattice.earth_pickup_a else 2
    path = (study.relay.phase_burden_ohm.centre() + study.scheme.phase_stabilising_ohm.centre()
            + lattice.stabilising_resistance_ohm
            + (study.relay.earth_burden_ohm.centre() if lattice.earth_pickup_a else 0.0))
    curve = excitation_table(core.remanence_bound_percent, core.saturation_exponent).at(core.ankle_ratio.centre())

    def late(pickup_a: tuple[float, ...]) -> NDArray[np.bool_]:
        flux = np.array(pickup_a) * path / knee
        each = np.repeat(curve[:, None], flux.size, axis=1)
        loop = steady.describing_function(np.clip(flux, 1e-9, 1.0), each, core.saturation_exponent)
        exciting = core.knee_current_a.centre() * np.abs(loop) * flux / np.sqrt(2)
        beyond = (flux > steady.VALID_KNEE_SHARE) | (parallel * exciting > np.array(pickup_a))
        return np.asarray(beyond)

    return late(lattice.phase_pickup_a), late(lattice.earth_pickup_a)


def _critical_positions(block: Block, lattice: Lattice, by_phasors: Sweeps, in_time: Sweeps,
                        notes: dict[str, float]) -> tuple[Array, Array | None]:
    """x* of every phase and earth setting, (n, P, D) and (n, E, D): by phasors, by the transient pass beyond them."""
    levels = (np.array(lattice.phase_pickup_a), np.array(lattice.earth_pickup_a))
    beyond = beyond_phasors(block.study, lattice)
    nodes, coarse = winding_nodes(STEADY_INTERVALS), winding_nodes(TRANSIENT_INTERVALS)
    columns = np.searchsorted(block.delays(lattice.circuit), lattice.delay_s)
    out: list[Array | None] = []
    for element, (level, late) in enumerate(zip(levels, beyond, strict=True)):
        if not level.size:
            out.append(None)
            continue
        x = np.empty((len(block), level.size, columns.size))
        x[:, ~late] = _positions(nodes, by_phasors[lattice.circuit][element], level[~late], notes)[..., None]
        if late.any():
            for d, column in enumerate(columns):
                x[:, late, d] = _positions(coarse, in_time[lattice.circuit][element][..., column], level[late], notes)
        out.append(x)
    phase_x, earth_x = out
    assert phase_x is not None
    return phase_x, earth_x


def _positions(nodes: Array, currents: Array, level: Array, notes: dict[str, float]) -> Array:
    """x* (n, settings); notes what halving the nodes would change, and where the missed part is not one stretch."""
    if not level.size:
        return np.empty((len(currents), 0))
    x, re_entries = critical_position(nodes, currents, level)
    rough, _ = critical_position(nodes[::2], currents[:, ::2], level)
    notes["re_entries"] += float(re_entries.sum())
    notes["interpolation"] += float(np.nansum(np.abs(x - rough)))
    notes["interpolated"] += float(x.size)
    return x


def _along_winding(block: Block, circuit: Circuit, nodes: Array) -> tuple[Array, Array]:
    """Critical pick-ups of the phase elements and of the earth element at every node, (n, nodes), by phasors."""
    scheme, n = block.scheme(circuit), len(block)
    each = np.repeat(np.arange(n), nodes.size)
    currents = primary.earth_faults(block, nodes).reshape(n * nodes.size, 6)
    legs, _ = steady.solve(scheme.table, block.leg_ohm(circuit)[each], take(block.bank, each), currents, block.omega)
    pickups = block.pickups(scheme, np.abs(legs[:, scheme.watch]), repeat=nodes.size)
    earth = pickups.phase if pickups.earth is None else pickups.earth
    return pickups.phase.reshape(n, -1), earth.reshape(n, -1)


def _along_winding_in_time(block: Block, circuit: Circuit, nodes: Array) -> tuple[Array, Array]:
    """The same by the transient pass, for each delay on the circuit: (n, nodes, D). Sinusoidal fault current from a
    random point on wave (its DC time constant X/(ωR_N) is under a millisecond), remanence and load before it."""
    scheme, leg_ohm = block.scheme(circuit), block.leg_ohm(circuit)
    angle = 2 * np.pi * block.uniform("point_on_wave")
    turn = np.exp(1j * angle)[:, None]
    window = transient.Window(block.study.machine.frequency_hz, block.study.internal_faults.allowed_time_s)
    _, flux = block.load_solution(circuit)
    phase, earth = [], []
    for k in range(nodes.size):
        during = primary.earth_faults(block, nodes[k:k + 1])[:, 0]
        source = primary.step_source(window, block.load_primary * turn, during * turn, block.omega)
        response = transient.solve(
            scheme.table, leg_ohm, block.bank, source, window, flux * turn, watch=scheme.watch,
            fundamental=block.study.relay.measure == "fundamental", delays_s=block.delays(circuit),
            settle=SETTLED_SHARE)
        pickups = block.pickups(scheme, response.pickup)
        phase.append(pickups.phase)
        earth.append(pickups.phase if pickups.earth is None else pickups.earth)
    return np.stack(phase, axis=1), np.stack(earth, axis=1)
