"""A block of samples, with CTs and circuits, and the solutions that several strata ask for."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from montecarlo.engine import groups, primary
from montecarlo.engine.job import Job
from montecarlo.engine.primary import Complex
from montecarlo.engine.samples import ChunkSamples, Indices
from montecarlo.engine.waves import Waves
from montecarlo.estimates.tally import Pickups
from montecarlo.quantities import Array, Flags
from montecarlo.relays.places import carried
from montecarlo.relays.schemes import Axis, Scheme
from montecarlo.sampling.design import Chunk
from montecarlo.sampling.points import Points
from montecarlo.secondary import steady, transient
from montecarlo.secondary.circuit import CtBank, at_places, take
from montecarlo.secondary.gates import Gate
from montecarlo.secondary.measurement import Measurement
from montecarlo.secondary.restraint import Form
from montecarlo.study.candidates import Lattice
from montecarlo.study.circuits import (
    Circuit,
    bank_of,
    bias_form,
    chain_of,
    element_share,
    gates_of,
    leg_ohm,
    measurement,
)


@dataclass(frozen=True, eq=False)
class Judged:
    """What the elements of a circuit compare with their pick-ups: quantity (n, elements, forms,
    delays) [A]; earlier: the same of an external fault before an internal one, None without it."""

    forms: tuple[Form, ...]
    delays_s: tuple[float, ...] | None  # None: the delay does not matter, one column
    quantity: Array
    earlier: Array | None = None

    @property
    def before(self) -> Judged | None:
        """What they compare before the internal fault; None without an external one."""
        return None if self.earlier is None else Judged(self.forms, self.delays_s, self.earlier)

    def at_delays(self, form: int, delays_s: tuple[float, ...]) -> Array:
        """Of one form, for some delays; one column where they do not matter. [A]

        Parameters
        ----------
        form : int
            In `forms`.
        delays_s : tuple of float
            (s).

        Returns
        -------
        (n, elements, D) array
        """
        columns = [0] if self.delays_s is None else [*map(self.delays_s.index, delays_s)]
        return self.quantity[:, :, form][..., columns]


def thresholds(lattice: Lattice) -> tuple[Array, Array]:
    """Pick-ups of a lattice; infinite without such an element. [A]

    Parameters
    ----------
    lattice : Lattice

    Returns
    -------
    (P,) array, (E,) array
        Of the phase and of the earth elements.
    """
    return np.array(lattice.phase_thresholds), np.array(lattice.earth_thresholds)


class Block(ChunkSamples):
    """A block of samples with their CTs, and the solutions that several strata ask for.

    Parameters
    ----------
    job, chunk, points
        As of `ChunkSamples`.
    """

    def __init__(
        self, job: Job, chunk: Chunk | tuple[Chunk, ...], points: Points | None = None
    ) -> None:
        super().__init__(job, chunk, points)
        self.circuits: tuple[Circuit, ...] = tuple(
            dict.fromkeys(lattice.circuit for lattice in job.lattices)
        )
        every = bank_of(self.study, self.samples)
        self._banks = {
            kind: at_places(every, scheme.places) for kind, scheme in job.schemes.items()
        }
        self._legs_ohm: dict[Circuit, Array] = {}

    def only(self, rows: Indices) -> Block:
        """Some of the samples, in this order, for further solutions.

        Parameters
        ----------
        rows : ndarray (k,)

        Returns
        -------
        Block
            No batch of installations and events.
        """
        few = self._only(rows)
        for solved in ("load_primary", "_load_judged"):
            few.__dict__.pop(solved, None)
        few._banks = {kind: take(bank, rows) for kind, bank in self._banks.items()}
        few._legs_ohm = {}
        return few

    # --- circuits -------------------------------------------------------------

    def scheme(self, circuit: Circuit) -> Scheme:
        """What its scheme is built of.

        Parameters
        ----------
        circuit : Circuit

        Returns
        -------
        Scheme
        """
        return self.job.schemes[circuit.scheme]

    def bank(self, circuit: Circuit) -> CtBank:
        """The sampled CTs of its scheme, in the order of its places.

        Parameters
        ----------
        circuit : Circuit

        Returns
        -------
        CtBank
        """
        return self._banks[circuit.scheme]

    def leg_ohm(self, circuit: Circuit) -> Array:
        """Resistance of each leg. [ohm]

        Parameters
        ----------
        circuit : Circuit

        Returns
        -------
        (n, legs) array
        """
        if circuit not in self._legs_ohm:  # phasors and the solution in time ask alike
            self._legs_ohm[circuit] = leg_ohm(
                self.study, circuit, self.samples, self.scheme(circuit)
            )
        return self._legs_ohm[circuit]

    def share(self, circuit: Circuit) -> Array:
        """What of each leg's current its element gets, less than 1 beside a non-linear resistor.

        Parameters
        ----------
        circuit : Circuit

        Returns
        -------
        (n, legs) or (1, legs) array
        """
        return element_share(self.study, circuit, self.samples, self.scheme(circuit))

    def _on(self, circuit: Circuit) -> list[Lattice]:
        return [lattice for lattice in self.job.lattices if lattice.circuit == circuit]

    def delays(self, circuit: Circuit) -> tuple[float, ...]:
        """The different delays among its candidates, in order. [s]

        Parameters
        ----------
        circuit : Circuit

        Returns
        -------
        tuple of float
        """
        stages = self.stages(circuit)
        return tuple(
            sorted(
                {
                    delay
                    for lattice in self._on(circuit)
                    for stage in stages
                    for delay in lattice.delays_of(stage)
                }
            )
        )

    def stages(self, circuit: Circuit) -> tuple[Axis, ...]:
        """Which kinds of elements its scheme has.

        Parameters
        ----------
        circuit : Circuit

        Returns
        -------
        tuple of "phase", "earth" and "high_set"
        """
        return tuple(dict.fromkeys(one.axis for one in self.scheme(circuit).elements))

    def form(self, lattice: Lattice, stage: Axis) -> Form:
        """The form of bias of some elements.

        Parameters
        ----------
        lattice : Lattice
        stage : "phase", "earth" or "high_set"

        Returns
        -------
        Form
        """
        gate = lattice.own.gate_of(stage)
        return bias_form(self.study, lattice.bias_of(stage), stage, gate)

    def forms(self, circuit: Circuit) -> tuple[Form, ...]:
        """The different forms of bias among a circuit's candidates.

        Parameters
        ----------
        circuit : Circuit

        Returns
        -------
        tuple of Form
        """
        stages = self.stages(circuit)
        return tuple(
            dict.fromkeys(
                self.form(lattice, stage) for lattice in self._on(circuit) for stage in stages
            )
        )

    def wanted(
        self,
        circuit: Circuit,
        window: transient.Window,
        forms: tuple[Form, ...],
        delays_s: tuple[float, ...],
    ) -> Measurement:
        """What elements make of currents in time, with the gates of these samples.

        Parameters
        ----------
        circuit : Circuit
        window : Window
        forms : tuple of Form
        delays_s : tuple of float
            (s).

        Returns
        -------
        Measurement
        """
        plain = self._ungated(circuit, forms)
        step_s = plain.grid(window.step_s, window.per_cycle).step_s
        return replace(plain, delays_s=delays_s, gates=self._gates(forms, step_s))

    def lasting(
        self, circuit: Circuit, forms: tuple[Form, ...], idle: int | None = None
    ) -> Measurement:
        """What elements make of lasting currents.

        Parameters
        ----------
        circuit : Circuit
        forms : tuple of Form
        idle : int, optional
            As of `solved`.

        Returns
        -------
        Measurement
        """
        gates, third = self._gates(forms, 1.0), self._third_harmonic(circuit, idle)
        return replace(self._ungated(circuit, forms), gates=gates, third=third)

    def _ungated(self, circuit: Circuit, forms: tuple[Form, ...]) -> Measurement:
        chain = chain_of(self.study, self.samples)
        return measurement(self.study, self.scheme(circuit), forms, chain=chain)

    def _gates(self, forms: tuple[Form, ...], step_s: float) -> tuple[Gate, ...]:
        gated = any(form[4] for form in forms)
        return gates_of(self.study, self.samples, step_s) if gated else ()

    # --- solutions ------------------------------------------------------------

    @cached_property
    def load_primary(self) -> Complex:
        return primary.load(self)

    def solved(
        self, circuit: Circuit, primary_a: Complex, idle: int | None = None
    ) -> steady.Steady:
        """A circuit under lasting sinusoidal currents.

        Parameters
        ----------
        circuit : Circuit
        primary_a : (n, 6) complex array (A RMS)
            At the two ends.
        idle : int, optional
            A CT place whose CT circuit is open, so that it drives no leg; the leg sees the other
            CTs alone.

        Returns
        -------
        Steady
        """
        scheme = self.scheme(circuit)
        live = self._live(scheme, idle)
        solved = steady.solve(
            scheme.table * live,
            self.leg_ohm(circuit),
            self.bank(circuit),
            carried(primary_a, scheme.places),
            self.omega,
        )
        return solved._replace(cts=solved.cts * live)  # nor does it restrain a biased element

    def _third_harmonic(self, circuit: Circuit, idle: int | None) -> Complex | None:
        """What stands in the legs without a fault, of ideal CTs, (n, legs) [A RMS]; None without
        it."""
        scheme, key = self.scheme(circuit), "winding.link_third_harmonic_percent"
        if not scheme.of_branches or not self.samples[key].any():
            return None
        ten = groups.third_harmonic(self)[:, None] * groups.FROM_LINK
        into = carried(ten, scheme.places) / self.bank(circuit).turns
        return np.asarray(into @ (scheme.table * self._live(scheme, idle)).T)

    def _live(self, scheme: Scheme, idle: int | None) -> Flags:
        """Which of its CTs drive a leg."""
        return np.asarray(np.array(scheme.places) != (-1 if idle is None else idle))

    def in_time(
        self,
        circuit: Circuit,
        window: transient.Window,
        waves: Waves,
        before: Complex,
        wanted: Measurement,
        *,
        settle: float = 0.0,
        keep_trace: bool = False,
    ) -> transient.Response:
        """A circuit under primary currents in time.

        Parameters
        ----------
        circuit : Circuit
        window : Window
        waves : Waves
            On the window's times.
        before : ndarray (n, cts), complex
            Flux of each CT's core before it, as of `solved` (V s / omega).
        wanted : Measurement
        settle, keep_trace
            As of `transient.solve`.

        Returns
        -------
        Response
        """
        scheme = self.scheme(circuit)
        return transient.solve(
            scheme.table,
            self.leg_ohm(circuit),
            self.bank(circuit),
            waves.at(scheme.places),
            window,
            before,
            wanted,
            settle=settle,
            keep_trace=keep_trace,
        )

    def steady(self, circuit: Circuit, primary_a: Complex, idle: int | None = None) -> Judged:
        """What its elements compare with their pick-ups under such currents.

        Parameters
        ----------
        circuit, primary_a, idle
            As of `solved`.

        Returns
        -------
        Judged
        """
        forms = self.forms(circuit)
        solved = self.solved(circuit, primary_a, idle)
        quantity = solved.quantities(self.lasting(circuit, forms, idle))
        return Judged(forms, None, quantity[..., None])

    def per_setting(self, circuit: Circuit, quantity: Array) -> Array:
        """A quantity of the legs with the elements' pick-up errors taken out, and what a non-linear
        resistor takes.

        Parameters
        ----------
        circuit : Circuit
        quantity : (n, elements, ...) array

        Returns
        -------
        array of that shape
        """
        scheme = self.scheme(circuit)
        error = self.samples["relay.pickup_error_percent"][:, scheme.element_columns] / 100
        in_leg = (1 + error) / self.share(circuit)[:, scheme.watch]
        return np.asarray(quantity / in_leg.reshape(*in_leg.shape, *(1,) * (quantity.ndim - 2)))

    def pickups(self, lattice: Lattice, judged: Judged) -> Pickups:
        """Critical pick-ups of a lattice's settings.

        Parameters
        ----------
        lattice : Lattice
        judged : Judged
            Of its circuit.

        Returns
        -------
        Pickups
        """
        scheme = self.scheme(lattice.circuit)

        def largest(stage: Axis) -> Array | None:
            if not (numbers := scheme.of(stage)):
                return None
            form = judged.forms.index(self.form(lattice, stage))
            held = judged.at_delays(form, lattice.delays_of(stage))
            per_setting = self.per_setting(lattice.circuit, held)[:, list(numbers)]
            return np.asarray(per_setting.max(axis=1))

        pickups = Pickups(largest("phase"), largest("earth"))
        if (pickup_a := lattice.own.high_set_pickup_a) is None:
            return pickups
        return replace(pickups, high_set=largest("high_set"), high_set_a=pickup_a)

    @cached_property
    def _load_judged(self) -> dict[Circuit, Judged]:
        return {circuit: self.steady(circuit, self.load_primary) for circuit in self.circuits}

    def load_pickups(self, lattice: Lattice) -> Pickups:
        """Critical pick-ups under the load before an internal fault.

        Parameters
        ----------
        lattice : Lattice

        Returns
        -------
        Pickups
        """
        return self.pickups(lattice, self._load_judged[lattice.circuit])
