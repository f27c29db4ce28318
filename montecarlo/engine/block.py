"""One chunk's samples, CTs and circuits, and the solutions that several strata ask for."""

from __future__ import annotations

from collections.abc import Mapping
from copy import copy
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from montecarlo.engine import primary
from montecarlo.estimates.tally import Pickups
from montecarlo.quantities import Array
from montecarlo.relays.places import carried
from montecarlo.relays.schemes import Axis, Scheme
from montecarlo.sampling.design import Chunk, Design
from montecarlo.sampling.inputs import list_inputs
from montecarlo.sampling.points import Points
from montecarlo.sampling.stratum import EARTH, Side, Stratum
from montecarlo.sampling.transform import draw, event_points, event_samples, plant_major
from montecarlo.secondary import steady
from montecarlo.secondary.circuit import CtBank, at_places, take
from montecarlo.secondary.restraint import Form
from montecarlo.study.candidates import Lattice
from montecarlo.study.circuits import Circuit, bank_of, bias_form, leg_ohm, measurement, scheme_of
from montecarlo.study.description import Study
from montecarlo.study.strata import OPEN_PILOTS

Complex = NDArray[np.complex128]
Rows = NDArray[np.int64]


@dataclass(frozen=True)
class Job:
    """What every chunk of a run shares; small, since it travels with each of them."""

    study: Study
    lattices: tuple[Lattice, ...]
    design: Design  # of the counted strata
    earth_design: Design  # of earth faults, solved along the whole winding, on nets
    shares: tuple[float, ...] = ()  # of the batch, below 1, that are tallied by themselves too
    paired: tuple[int, ...] = ()  # candidates of which is told what one misses and another not
    # weighted samples of a stratum, where not the study's own
    weighted: tuple[tuple[Stratum, int], ...] = ()

    def design_of(self, stratum: Stratum) -> Design:
        if stratum == EARTH:
            return self.earth_design
        if stratum in OPEN_PILOTS:  # counted, and as few as earth faults
            return replace(self.earth_design, net=False)
        return self.design


@dataclass(frozen=True, eq=False)
class Judged:
    """What the elements of a circuit compare with their pick-ups: quantity (n, elements, forms,
    delays) [A]."""

    forms: tuple[Form, ...]
    delays_s: tuple[float, ...] | None  # None: the delay does not matter, one column
    quantity: Array


def thresholds(lattice: Lattice) -> tuple[Array, Array]:
    """A lattice's phase pick-ups (P,) and earth pick-ups (E,), infinite without such an element.
    [A]"""
    return np.array(lattice.phase_thresholds), np.array(lattice.earth_thresholds)


class Block:
    """One chunk's samples and CTs, and the solutions that several strata ask for.

    points: where the samples' uniforms come from instead of the chunk's streams; each is then a
    plant of its own."""

    def __init__(self, job: Job, chunk: Chunk, points: Points | None = None) -> None:
        self.job, self.chunk, self.study = job, chunk, job.study
        self._rows: Rows | slice = slice(None)
        self.design, self._own = job.design_of(chunk.stratum), points
        inputs, ties, seed = list_inputs(self.study), self.study.ties, self.study.study.seed
        self._points = (
            event_points(inputs, seed=seed, design=self.design, chunk=chunk)
            if points is None
            else points
        )
        self.samples: Mapping[str, Array] = (
            draw(inputs, ties, points)
            if points is not None
            else event_samples(
                inputs, ties, seed=seed, design=self.design, chunk=chunk, points=self._points
            )
        )
        if chunk.stratum.side is Side.INTERNAL and self.study.states.breaker_open_share > 0:
            self.samples = self._with_breaker_open()
        self.omega = self.study.machine.omega
        self.circuits: tuple[Circuit, ...] = tuple(
            dict.fromkeys(lattice.circuit for lattice in job.lattices)
        )
        self._schemes = {
            circuit.scheme: scheme_of(self.study, circuit.scheme) for circuit in self.circuits
        }
        every = bank_of(self.study, self.samples)
        self._banks = {
            kind: at_places(every, scheme.places) for kind, scheme in self._schemes.items()
        }

    def _with_breaker_open(self) -> Mapping[str, Array]:
        """The samples with a share of them off the network: no load, no infeed, nothing outside the
        zone."""
        alone = {
            "load.current_pu": 0.0,
            "network.reactance_pu": np.inf,
            "network.external_capacitance_f": 0.0,
            "earthing.other_neutrals_ohm": np.inf,
        }
        off = self.breaker_open
        return {
            key: np.where(off, alone[key], value) if key in alone else value
            for key, value in self.samples.items()
        }

    @property
    def breaker_open(self) -> NDArray[np.bool_]:
        """Whether each internal fault happens off the network, (n,)."""
        return self.uniform("operating_state") < self.study.states.breaker_open_share

    def only(self, rows: Rows) -> Block:
        """Some of the samples, in this order, for further solutions; they are no batch of plants
        and events."""
        few = copy(self)
        for solved in ("load_primary", "_load_judged"):
            few.__dict__.pop(solved, None)
        few.samples = {key: value[rows] for key, value in self.samples.items()}
        few._banks = {kind: take(bank, rows) for kind, bank in self._banks.items()}
        few._rows = rows if isinstance(self._rows, slice) else self._rows[rows]
        return few

    def __len__(self) -> int:
        return len(self.samples["load.current_pu"])

    @property
    def plants(self) -> int:
        return self.design.plants_per_block if self._own is None else self._own.count

    @property
    def early_rows(self) -> dict[float, Rows]:
        """The samples that belong to each of the job's shares of the batch: the first events of
        every plant."""
        events = np.arange(len(self)).reshape(self.plants, -1)
        firsts = {share: self.design.first_events(self.chunk, share) for share in self.job.shares}
        return {share: events[:, :first].ravel() for share, first in firsts.items() if first}

    @property
    def even_positions(self) -> bool:
        """Whether positions are uniform along the whole winding, so that the line-end law is a
        weight 2x."""
        position = self.study.internal_faults.position
        return position.family == "uniform" and position.support() == (0.0, 1.0)

    def uniform(self, key: str) -> Array:
        """A draw that no input states (`sampling.transform.DRAWN`): (n,)."""
        values = self._points.of(f"drawn.{key}", 1)[:, 0]
        return (values if self._own is not None else plant_major(values, self.plants))[self._rows]

    def phase_number(self) -> NDArray[np.int64]:
        """The faulted phase, or the one that a fault between two leaves out: 0, 1, 2 alike."""
        return np.minimum((3 * self.uniform("phase")).astype(np.int64), 2)

    # --- circuits -------------------------------------------------------------

    def scheme(self, circuit: Circuit) -> Scheme:
        return self._schemes[circuit.scheme]

    def bank(self, circuit: Circuit) -> CtBank:
        return self._banks[circuit.scheme]

    def leg_ohm(self, circuit: Circuit) -> Array:
        return leg_ohm(self.study, circuit, self.samples)

    def _on(self, circuit: Circuit) -> list[Lattice]:
        return [lattice for lattice in self.job.lattices if lattice.circuit == circuit]

    def delays(self, circuit: Circuit) -> tuple[float, ...]:
        return tuple(sorted({delay for lattice in self._on(circuit) for delay in lattice.delay_s}))

    def form(self, lattice: Lattice) -> Form:
        return bias_form(self.study, lattice.bias)

    def forms(self, circuit: Circuit) -> tuple[Form, ...]:
        """The different forms of bias among a circuit's candidates."""
        return tuple(dict.fromkeys(self.form(lattice) for lattice in self._on(circuit)))

    # --- solutions ------------------------------------------------------------

    @cached_property
    def load_primary(self) -> Complex:
        return primary.load(self)

    def solved(
        self, circuit: Circuit, primary_a: Complex, idle: int | None = None
    ) -> steady.Steady:
        """A circuit under lasting sinusoidal currents at the two ends (n, 6). `idle`: a CT place
        whose pilot core is open, so that it drives no leg; the leg sees the other CTs alone."""
        scheme = self.scheme(circuit)
        live = np.array(scheme.places) != (-1 if idle is None else idle)
        solved = steady.solve(
            scheme.table * live,
            self.leg_ohm(circuit),
            self.bank(circuit),
            carried(primary_a, scheme.places),
            self.omega,
        )
        return solved._replace(cts=solved.cts * live)  # nor does it restrain a biased element

    def steady(self, circuit: Circuit, primary_a: Complex, idle: int | None = None) -> Judged:
        forms = self.forms(circuit)
        quantity = self.solved(circuit, primary_a, idle).quantities(
            measurement(self.study, self.scheme(circuit), forms)
        )
        return Judged(forms, None, quantity[..., None])

    def per_setting(self, circuit: Circuit, quantity: Array) -> Array:
        """(n, elements, ...) with the elements' pick-up errors taken out."""
        error = (
            1
            + self.samples["relay.pickup_error_percent"][:, self.scheme(circuit).element_columns]
            / 100
        )
        return np.asarray(quantity / error.reshape(*error.shape, *(1,) * (quantity.ndim - 2)))

    def pickups(self, lattice: Lattice, judged: Judged) -> Pickups:
        """Critical pick-ups of a lattice's settings."""
        scheme, form = self.scheme(lattice.circuit), judged.forms.index(self.form(lattice))
        columns = (
            [0]
            if judged.delays_s is None
            else [judged.delays_s.index(delay) for delay in lattice.delay_s]
        )
        held = self.per_setting(lattice.circuit, judged.quantity[:, :, form][..., columns])

        def largest(axis: Axis) -> Array | None:
            return held[:, list(numbers)].max(axis=1) if (numbers := scheme.of(axis)) else None

        return Pickups(largest("phase"), largest("earth"))

    @cached_property
    def _load_judged(self) -> dict[Circuit, Judged]:
        return {circuit: self.steady(circuit, self.load_primary) for circuit in self.circuits}

    def load_pickups(self, lattice: Lattice) -> Pickups:
        """Critical pick-ups under the load before an internal fault."""
        return self.pickups(lattice, self._load_judged[lattice.circuit])
