"""Faults on the high-voltage side of the star-delta unit transformer, the machine on its delta
side.

Symmetrical components on the high-voltage side (e.g. Grainger and Stevenson, Power System Analysis,
ch. 11-12), for X = X''d, X'd, Xd in turn, the machine behind the transformer beside the grid (X_g),
X_l to the fault in each sequence:

    phase to earth    I1 = I2 = U/(jX1 + jX2 + 3jX_l + jX0)      X1 = (X + X_T) || X_g,  X2 likewise
    phase to phase    I1 = -I2 = U/(jX1 + jX2 + 2jX_l)

The machine's part of I1 and I2 comes through the transformer turned by 30 degrees one way and the
other; no zero sequence does. Without a grid its phases carry (1, -1, 0)/sqrt(3) of the per-unit
current of a fault to earth and (1, 1, -2)/sqrt(3) of that between two phases. Load goes on
(superposition; exact with a grid that takes it, otherwise the load's share of the fault is left
out). Decay times by the reactance that the machine sees (from memory, as for the other faults), one
DC component of T_a = (X2 + X_T + X_l)/(w(R_a + R_l)). Earth capacitance plays no part."""

from __future__ import annotations

from abc import abstractmethod
from collections.abc import Mapping
from typing import Annotated, Literal

import numpy as np

from montecarlo.plant.events.base import ClearingTime, Event, KindWord, RunOn, Scene, cleared
from montecarlo.plant.events.waves import Fading, of_sequences
from montecarlo.quantities import Array, Complex, Distribution, Quantity, number

# between the sequences on the machine's side: 30 degrees one way and the other
SIXTY = np.exp(1j * np.pi / 3)


def through_machine(
    direct_pu: Array,
    negative_pu: Array,
    transformer_pu: Array,
    grid_pu: Array,
    beyond_pu: Array,
    voltage_pu: Array,
) -> tuple[Array, Array]:
    """The machine's part of I1 and of I2: sizes, both lag the voltage by 90 degrees. [pu]

    Parameters
    ----------
    direct_pu, negative_pu, transformer_pu : (n,) array (pu)
    grid_pu : (n,) array (pu)
        np.inf without a grid.
    beyond_pu : (n,) array (pu)
        All of the loop beyond the busbar, 3X_l + X0 or 2X_l.
    voltage_pu : (n,) array (pu)

    Returns
    -------
    ((n,) array, (n,) array) (pu)
    """
    own = 1 / (direct_pu + transformer_pu)
    against = 1 / (negative_pu + transformer_pu)
    grid = 1 / grid_pu
    current = voltage_pu / (1 / (own + grid) + 1 / (against + grid) + beyond_pu)
    positive = current * own / (own + grid)
    negative = current * against / (against + grid)
    return np.asarray(positive), np.asarray(negative)


class _BeyondTransformer(Event):
    transformer_reactance_pu: Annotated[
        Distribution,
        Quantity(
            "pu",
            "unit transformer, positive = negative sequence, on the machine's rating",
            0.0,
            above=True,
            high=10.0,
        ),
    ]
    grid_reactance_pu: (
        Annotated[
            Distribution,
            Quantity(
                "pu",
                "system on the high-voltage side, positive = negative sequence, on the machine's"
                " rating; none unless given",
                0.0,
                above=True,
                usual=(1e-3, 100.0),
            ),
        ]
        | None
    ) = None
    external_reactance_pu: Annotated[
        Distribution,
        Quantity(
            "pu",
            "between the high-voltage busbar and the fault, in each sequence",
            0.0,
            high=100.0,
            varies="event",
        ),
    ] = number(0.0)
    external_resistance_pu: Annotated[
        Distribution,
        Quantity(
            "pu",
            "of transformer and path; it damps the DC component",
            0.0,
            high=100.0,
            varies="event",
        ),
    ] = number(0.0)
    clearing_time_s: ClearingTime
    run_on_s: RunOn = 0.04

    def lasts_s(self, scene: Scene) -> float:
        return cleared(scene, self.run_on_s)

    @abstractmethod
    def beyond_pu(self, own: Mapping[str, Array]) -> Array:
        """All of the sequences' loop beyond the busbar. [pu]

        Parameters
        ----------
        own : mapping of str to (n,) array
            The event's inputs.

        Returns
        -------
        (n,) array (pu)
        """

    @abstractmethod
    def of_pair(self, positive: Complex, negative: Complex, scene: Scene) -> Complex:
        """Phases on the machine's side, in the unit of the sequences.

        Parameters
        ----------
        positive, negative : (n,) complex array
        scene : Scene

        Returns
        -------
        (n, 3) complex array
        """

    def currents(self, scene: Scene, t: Array) -> Array:
        """(n, 3, nt). The fault is one path on the high-voltage side: its part ends in all phases
        with the first zero, after clearing, of the phase that carries most; load goes on."""
        added, clearing_s = self._added(scene), scene.own["clearing_time_s"]
        most = np.abs(added.stages[0]).argmax(axis=1)
        return added.at(t, scene.machine.omega, clearing_s, most)[0]

    def direct_s(self, scene: Scene) -> Array:
        own = scene.own
        return scene.decrement.direct_current_time_s(
            own["transformer_reactance_pu"] + own["external_reactance_pu"],
            own["external_resistance_pu"],
            scene.machine.omega,
        )

    def first_cycle_a(self, scene: Scene) -> float:
        return float(abs(self._added(scene).stages[0]).max() / np.sqrt(2))

    def _added(self, scene: Scene) -> Fading:
        own = scene.own
        decrement = scene.decrement
        transformer = own["transformer_reactance_pu"]
        negative = scene.samples["machine.negative_sequence_reactance_pu"]
        grid = own.get("grid_reactance_pu", np.full(len(transformer), np.inf))
        beyond = self.beyond_pu(own)
        peak = np.sqrt(2) * scene.machine.rated_current_a * scene.turn
        parts = (
            through_machine(x, negative, transformer, grid, beyond, scene.voltage_pu)
            for x in decrement.reactances_pu
        )
        first, second, last = (
            self.of_pair(-1j * peak * one, -1j * peak * two, scene) for one, two in parts
        )
        behind = 1 / (1 / (negative + transformer) + 1 / grid) + beyond
        fast, slow = decrement.decay_times_s(transformer + 1 / (1 / behind + 1 / grid))
        return Fading(
            stages=(first, second, last),
            fast_s=fast,
            slow_s=slow,
            direct_s=self.direct_s(scene),
            beside=np.sqrt(2) * scene.load()[:, :3],
        )


class PhaseEarthBeyond(_BeyondTransformer):
    """One phase to earth on the high-voltage side: two of the machine's phases carry it."""

    kind: Annotated[Literal["phase_earth_beyond_transformer"], KindWord]
    zero_sequence_reactance_pu: Annotated[
        Distribution,
        Quantity(
            "pu",
            "zero sequence of transformer and system in parallel at the high-voltage busbar",
            0.0,
            high=100.0,
        ),
    ]

    def beyond_pu(self, own: Mapping[str, Array]) -> Array:
        return 3 * own["external_reactance_pu"] + own["zero_sequence_reactance_pu"]

    def of_pair(self, positive: Complex, negative: Complex, scene: Scene) -> Complex:
        return of_sequences(0.0, positive, SIXTY * negative, scene.phase)

    def by_hand(self, centre: Mapping[str, float]) -> tuple[float, str] | None:
        zero = self.zero_sequence_reactance_pu.centre()
        line = self.external_reactance_pu.support()[0]
        beyond = f"{zero:g} + 3 x {line:g}"
        return _alone(self, centre, np.sqrt(3), "sqrt(3)", zero + 3 * line, beyond)


class PhasePhaseBeyond(_BeyondTransformer):
    """Two phases on the high-voltage side: one of the machine's phases carries twice what the
    others do."""

    kind: Annotated[Literal["phase_phase_beyond_transformer"], KindWord]

    def beyond_pu(self, own: Mapping[str, Array]) -> Array:
        return 2 * own["external_reactance_pu"]

    def of_pair(self, positive: Complex, negative: Complex, scene: Scene) -> Complex:
        return of_sequences(0.0, positive, -SIXTY * negative, scene.phase)

    def by_hand(self, centre: Mapping[str, float]) -> tuple[float, str] | None:
        line = self.external_reactance_pu.support()[0]
        return _alone(self, centre, 2.0, "2", 2 * line, f"2 x {line:g}")


def _alone(
    event: _BeyondTransformer,
    centre: Mapping[str, float],
    factor: float,
    word: str,
    beyond: float,
    sum_beyond: str,
) -> tuple[float, str] | None:
    """The largest phase by hand where no grid takes part. [pu]"""
    if event.grid_reactance_pu is not None:
        return None
    emf = centre["machine.voltage_factor"]
    transformer = event.transformer_reactance_pu.centre()
    own = centre["machine.subtransient_reactance_pu"]
    negative = centre["machine.negative_sequence_reactance_pu"]
    return (
        factor * emf / (own + negative + 2 * transformer + beyond),
        f"{word} x {emf:g} / ({own:g} + {negative:g} + 2 x {transformer:g} + {sum_beyond})",
    )
