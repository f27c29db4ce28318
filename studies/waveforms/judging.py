"""How one setting judges a block of samples, element by element: its forms of bias, its delays, its
pick-ups; and when the event of each sample is cleared."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from montecarlo.engine.block import Block
from montecarlo.engine.primary import Complex
from montecarlo.engine.waves import Waves
from montecarlo.quantities import Array, Flags, Index
from montecarlo.secondary import transient
from montecarlo.secondary.chain import Grid
from montecarlo.secondary.lanes import LANES
from montecarlo.secondary.measurement import Measurement
from montecarlo.secondary.restraint import Form
from montecarlo.study.candidates import Lattice
from montecarlo.study.circuits import ROUND_OFF

AT_ONCE = 1 << 16  # steps of all samples that are solved side by side, so that memory stays flat
Passing = tuple[transient.Window, Waves, Complex]  # and the phasors before


@dataclass(frozen=True, eq=False)
class Judging:
    """How a setting judges: the form of bias, the delay and the pick-up of every element."""

    wanted: Measurement
    forms: tuple[Form, ...]
    delays_s: tuple[float, ...]
    settings_a: Array  # (elements,)

    @classmethod
    def of(cls, block: Block, lattice: Lattice, window: transient.Window) -> Judging:
        """Of the first setting of a lattice."""
        scheme = block.scheme(lattice.circuit)
        forms = tuple(block.form(lattice, one.axis) for one in scheme.elements)
        delays = tuple(lattice.delays_of(one.axis)[0] for one in scheme.elements)
        settings = [(*lattice.pickups_of(one.axis), np.inf)[0] for one in scheme.elements]
        different = tuple(dict.fromkeys(forms)), tuple(dict.fromkeys(delays))
        wanted = block.wanted(lattice.circuit, window, *different)
        return cls(wanted, forms, delays, np.array(settings))

    def own(self, pickups: Array) -> Array:
        """What each element sustains by its own form, for its own delay, (n, elements). [A]"""
        columns = [
            pickups[:, k, self.wanted.forms.index(form), self.wanted.delays_s.index(delay)]
            for k, (form, delay) in enumerate(zip(self.forms, self.delays_s, strict=True))
        ]
        return np.stack(columns, axis=1)

    def least(self, response: transient.Response) -> Array:
        """What each element's gate makes of its slope at least, (n, elements, steps): infinite
        where it blocks, 0 where it is off."""
        found = np.zeros(response.difference.shape)
        on = self.gate_on(response)
        for k in self.gated:
            slope = self.wanted.gates[self.forms[k][4] - 1].slope
            found[:, k] = np.where(on[:, k], slope, 0.0)
        return found

    def grid(self, window: transient.Window) -> Grid:
        """Where in time values are measured."""
        return self.wanted.grid(window.step_s, window.per_cycle, window.lead)

    @property
    def phase(self) -> Array:
        """Where between two of them the event begins, (n,), or one for all."""
        return np.zeros(1) if self.wanted.chain is None else self.wanted.chain.phase

    def latest(self, window: transient.Window) -> Index:
        """Which value the relay has at the end of each step, of the first sample."""
        grid = self.grid(window)
        past = window.times()[2::2] / grid.step_s + self.phase[0] + grid.lead
        last = grid.taken(window.steps, window.per_cycle) - 1
        return np.asarray(np.clip(np.floor(past + ROUND_OFF).astype(int) - 1, 0, last))

    @property
    def gated(self) -> tuple[int, ...]:
        """Elements that a gate may hold back."""
        sides = self.wanted.sides
        return tuple(k for k, form in enumerate(self.forms) if form[4] and sides[k])

    def gate_on(self, response: transient.Response) -> Flags:
        """Whether its gate holds back each element, (n, elements, steps)."""
        on = np.zeros(response.difference.shape, bool)
        for k in self.gated:
            on[:, k] = response.on[:, self.forms[k][4] - 1, k] > 0
        return on

    def holds(self, window: transient.Window) -> list[int]:
        """Values for which each element holds what it measures."""
        steps = self.wanted.meter(window.step_s, window.per_cycle).holds
        return [int(steps[self.wanted.delays_s.index(delay)]) for delay in self.delays_s]


def traced(
    block: Block, lattice: Lattice, passing: Passing, wanted: Measurement
) -> Iterator[tuple[Index, transient.Response]]:
    """What passes on a setting's circuit in time, few samples after the other.

    Parameters
    ----------
    block : Block
    lattice : Lattice
    passing : Passing
        The primary currents of its samples.
    wanted : Measurement

    Yields
    ------
    ndarray of int, Response
        Which samples, and what passes in each.
    """
    window, waves, before = passing
    flux = block.solved(lattice.circuit, before).flux
    rows = max(LANES, AT_ONCE // window.steps)
    for start in range(0, len(block), rows):
        at = np.arange(start, min(start + rows, len(block)))
        yield (
            at,
            block.only(at).in_time(
                lattice.circuit,
                window,
                replace(waves, wave=waves.wave[at]),
                flux[at],
                wanted.take(at),
                keep_trace=True,
            ),
        )


def pickups_a(block: Block, lattice: Lattice, judged: Judging) -> Array:
    """Pick-up of every element with its error, (n, elements). [A]"""
    ones = np.ones((len(block), judged.settings_a.size))
    return np.asarray(judged.settings_a / block.per_setting(lattice.circuit, ones))


def cleared_s(block: Block) -> Array:
    """When contacts open on the event of each sample, (n,) [s]; NaN where none do."""
    key = f"external_events.{block.stratum.kind}.clearing_time_s"
    return block.samples.get(key, np.full(len(block), np.nan))
