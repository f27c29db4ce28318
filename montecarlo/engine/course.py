"""The course of an earth fault: to the trip, until the breaker is open, and the switch of hybrid
earthing, and until the EMF has died away."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from montecarlo.engine import primary
from montecarlo.engine.samples import ChunkSamples
from montecarlo.formulas.damage import FaultCurrents, hybrid_damage, piece_damage
from montecarlo.plant.internal import EarthFault
from montecarlo.quantities import Array


@dataclass(frozen=True, eq=False)
class Course:
    """Earth faults of a block at some places, (n, places)."""

    block: ChunkSamples
    closed: EarthFault  # as it begins
    opened: EarthFault  # with the machine off the network, its EMF as it was
    # the same with the resistor's branch open; None without hybrid earthing
    closed_high: EarthFault | None
    opened_high: EarthFault | None

    @classmethod
    def of(cls, block: ChunkSamples, place: Array) -> Course:
        """At places of each sample.

        Parameters
        ----------
        block : ChunkSamples
        place : (n, places) array (-)

        Returns
        -------
        Course
        """

        def fault(*, alone: bool, switched: bool) -> EarthFault:
            return primary.earth_fault(block, place, alone=alone, switched=switched)

        hybrid = block.study.earthing.high_resistance_ohm is not None
        low = [fault(alone=alone, switched=False) for alone in (False, True)]
        high = [fault(alone=alone, switched=True) if hybrid else None for alone in (False, True)]
        return cls(block, *low, *high)

    def integral(
        self, current: Callable[[EarthFault], Array], trip_s: Array, exponent: ArrayLike
    ) -> tuple[Array, Array]:
        """Of |i|^k over the fault's time, and its part after the breaker has opened.

        Parameters
        ----------
        current : callable
            What of a fault flows, (n, places) [A RMS]; nothing once the switch is open where it
            gives 0 then.
        trip_s : (n, places, times) array (s)
            From inception.
        exponent : array_like (-)
            k, of that shape or a wider one.

        Returns
        -------
        (n, places, times) array, (n, places, times) array (A^k s)
        """
        s = self.block.samples
        breaker, decay = (
            s[f"fault_energy.{key}"][:, None, None]
            for key in ("breaker_time_s", "field_decay_time_constant_s")
        )
        low = FaultCurrents(*(current(one)[..., None] for one in (self.closed, self.opened)))
        if self.closed_high is None or self.opened_high is None:
            high, switch = low, np.full_like(breaker, np.inf)
        else:
            states = (self.closed_high, self.opened_high)
            high = FaultCurrents(*(current(one)[..., None] for one in states))
            switch = s["earthing.switch_time_s"][:, None, None]
        whole = hybrid_damage(trip_s, breaker, switch, low, high, decay, exponent)
        before = piece_damage(
            low.closed_a, trip_s + np.minimum(breaker, switch), np.inf, exponent
        ) + piece_damage(high.closed_a, np.maximum(breaker - switch, 0.0), np.inf, exponent)
        return whole, np.maximum(whole - before, 0.0)
