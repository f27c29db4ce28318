"""How one setting judges a block of samples, element by element: its forms of bias, its delays, its
pick-ups; and when the event of each sample is cleared."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from montecarlo.engine.block import Block
from montecarlo.quantities import Array, Index
from montecarlo.secondary import transient
from montecarlo.secondary.chain import Grid
from montecarlo.secondary.measurement import Measurement
from montecarlo.secondary.restraint import Form
from montecarlo.study.candidates import Lattice
from montecarlo.study.circuits import ROUND_OFF


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
        n, elements, steps = response.difference.shape
        found = np.zeros((n, elements, steps))
        for k, form in enumerate(self.forms):
            if form[4]:
                gate = form[4] - 1
                on = response.on[:, gate, k] > 0
                found[:, k] = np.where(on, self.wanted.gates[gate].slope, 0.0)
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

    def holds(self, window: transient.Window) -> list[int]:
        """Values for which each element holds what it measures."""
        steps = self.wanted.meter(window.step_s, window.per_cycle).holds
        return [int(steps[self.wanted.delays_s.index(delay)]) for delay in self.delays_s]


def cleared_s(block: Block) -> Array:
    """When contacts open on the event of each sample, (n,) [s]; NaN where none do."""
    key = f"external_events.{block.stratum.kind}.clearing_time_s"
    return block.samples.get(key, np.full(len(block), np.nan))
