"""What elements measure of the legs' and the CTs' currents; for the phasor and the transient
solution alike."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from montecarlo.quantities import Array, Complex, Index
from montecarlo.relays.schemes import OF_TWO_ENDS, RESIDUAL_PAIR
from montecarlo.secondary.chain import Chain, Grid, sampling
from montecarlo.secondary.gates import Gate, compiled, turns
from montecarlo.secondary.judging import POINTS, QUANTITIES
from montecarlo.secondary.restraint import ADDED, LARGEST, NO_BIAS, PRODUCT, Form
from montecarlo.secondary.workspace import CURRENT, LEG, MOST, SUM, Gates, Meter


def circle(per_cycle: int) -> Array:
    """Cosine and sine at the three points of each step of a cycle, times the points' weights.

    Parameters
    ----------
    per_cycle : int
        Steps a cycle.

    Returns
    -------
    ndarray, (6, per_cycle)
    """
    turns = np.array(
        [
            [weight * np.exp(2j * np.pi * (k + place) / per_cycle) for k in range(per_cycle)]
            for weight, place in POINTS
        ]
    )
    return np.concatenate([turns.real, turns.imag])


def holds_from(quantity: Array, pickup_a: float, hold: int, drop_off: float) -> int | None:
    """The step from which an element operates: it picks up there and does not reset while it is
    held, as `judging.sustained` has it.

    Parameters
    ----------
    quantity : ndarray, (steps,)
        What it compares with its pick-up (A).
    pickup_a : float
        (A).
    hold : int
        Steps.
    drop_off : float
        Share of its pick-up at which it resets.

    Returns
    -------
    int or None
        None: it does not operate.
    """
    if hold >= quantity.size:
        return None
    least = sliding_window_view(quantity, hold + 1).min(axis=1)
    operates = (quantity[: least.size] > pickup_a) & (least > drop_off * pickup_a)
    return int(np.argmax(operates)) if operates.any() else None


def at_most(quantity: str, current_a: Array, third_a: Array | float) -> Array:
    """What is measured of a sinusoid with a third harmonic, whatever its angle.

    Parameters
    ----------
    quantity : str
        As of `Measurement`.
    current_a, third_a : (n,) array (A RMS)
        Fundamental, third harmonic.

    Returns
    -------
    (n,) array (A)
    """
    if quantity == "fundamental":
        return np.asarray(current_a)
    return np.asarray(np.hypot(current_a, third_a) if quantity == "rms" else current_a + third_a)


@dataclass(frozen=True, kw_only=True)
class Measurement:
    """What the elements make of the currents.

    legs: the leg of every element; bias: the CTs (columns of the table) that restrain each, none or
    several, and their senses in its leg; matching: what multiplies the current of each CT on its
    way to the legs and to the bias, 1 unless given; bias_current: of each element, as
    `SchemeChoice.bias_current`, "mean" unless given; forms: `restraint.Form`, each judged for
    itself; quantity: what is measured of a current, the peak as if of a sinusoid;
    delays_s: for which it must be held, less over_travel_s, by which an element with a moving part
    runs on; drop_off: the share of its pick-up at which an element resets; gates: what a form's
    number counts, on the block's samples; sides: what multiplies each CT's current in what passes
    one side of an element's leg, where gates look at the element, none elsewhere; phases: so many
    of the elements, the first ones, belong to phases; chain: how the relay samples the currents,
    on the block's samples, none: as the solution has them; third: third harmonic that stands in
    each leg (samples, legs) while phasors last, of ideal CTs [A RMS], none: there is none."""

    legs: tuple[int, ...]
    bias: tuple[tuple[int, ...], ...] = ()
    matching: tuple[float, ...] = ()
    senses: tuple[tuple[float, ...], ...] = ()
    bias_current: tuple[str, ...] = ()
    forms: tuple[Form, ...] = (NO_BIAS,)
    quantity: str = "rms"
    delays_s: tuple[float, ...] = (0.0,)
    drop_off: float = 1.0
    over_travel_s: float = 0.0
    gates: tuple[Gate, ...] = ()
    sides: tuple[tuple[float, ...], ...] = ()
    phases: int = 3
    chain: Chain | None = None
    third: Complex | None = None

    @property
    def shape(self) -> tuple[int, int, int]:
        """Elements, forms, delays."""
        return len(self.legs), len(self.forms), len(self.delays_s)

    def gains(self, cts: Sequence[int]) -> Array:
        """What multiplies the currents of these CTs in the bias.

        Parameters
        ----------
        cts : sequence of int
            Columns of the table.

        Returns
        -------
        ndarray, (len(cts),)
        """
        return np.array([self.matching[ct] if self.matching else 1.0 for ct in cts])

    def kind(self, element: int) -> str:
        """The bias current of an element.

        Parameters
        ----------
        element : int

        Returns
        -------
        str
        """
        return self.bias_current[element] if self.bias_current else "mean"

    def through(self, element: int) -> Array:
        """What multiplies the currents of an element's two ends in their vector sum: the current
        that passes through the zone counts twice, one that is fed into it from both sides not.

        Parameters
        ----------
        element : int

        Returns
        -------
        ndarray, (2,)
        """
        first, second = self.senses[element]
        return np.asarray(self.gains(self.bias[element]) * [first, -second])

    def sides_of(self, element: int) -> Array:
        """What multiplies the currents of an element's CTs in the sums of either sense.

        Parameters
        ----------
        element : int

        Returns
        -------
        ndarray, (2, cts)
        """
        senses = np.array(self.senses[element])
        return np.asarray(self.gains(self.bias[element]) * np.array([senses > 0, senses < 0]))

    def meter(self, step_s: float, per_cycle: int, fill: Index | None = None) -> Meter:
        """The same for the compiled pass.

        Parameters
        ----------
        step_s : float
            Of its grid of time (s).
        per_cycle : int
            Steps a cycle.
        fill : ndarray of int, optional
            The samples that are solved, as they come; all of them once unless given.

        Returns
        -------
        Meter
        """
        bias = self.bias or ((),) * len(self.legs)
        legs = [LEG + leg for leg in self.legs]
        sums = np.zeros((MOST, MOST))
        restraining = list[list[int]]()  # rows of each element
        most = max(1, *(len(cts) for cts in bias))
        share, combine = np.zeros((len(bias), most)), np.full(len(bias), ADDED)
        each = 0  # vector sums so far
        for e, cts in enumerate(bias):
            kind, own = self.kind(e), [CURRENT + ct for ct in cts]
            share[e, : len(cts)] = self.gains(cts)
            if cts and kind in OF_TWO_ENDS:
                sums[each, list(cts)], own = self.through(e), [SUM + each]
                share[e], each = 0.5 if kind == "vector_mean" else 1.0, each + 1
                combine[e] = ADDED if kind == "vector_mean" else PRODUCT
            elif cts and kind == RESIDUAL_PAIR:
                sums[each : each + 2, list(cts)] = self.sides_of(e)
                own, share[e], each = [SUM + each, SUM + each + 1], 0.5, each + 2
            elif kind == "mean":
                share[e] /= max(len(cts), 1)
            elif kind == "largest":
                combine[e] = LARGEST
            restraining.append(own)
        slot, side = np.full(len(bias), -1), list[int]()
        for e, weights in enumerate(self.sides if self.gates else ()):
            if weights:
                slot[e] = len(side)
                alone = np.flatnonzero(weights)
                if len(alone) == 1 and weights[alone[0]] == 1.0:
                    side.append(CURRENT + int(alone[0]))
                    continue
                sums[each, : len(weights)] = weights
                side, each = [*side, SUM + each], each + 1
        rows = list(dict.fromkeys([*legs, *(row for own in restraining for row in own)]))
        which = np.full((len(bias), most), -1)
        for e, own in enumerate(restraining):
            which[e, : len(own)] = [rows.index(row) for row in own]
        grid = self.grid(step_s, per_cycle)
        holds = [
            round(max(delay - self.over_travel_s, 0.0) / grid.step_s) for delay in self.delays_s
        ]
        gated = [LEG + self.legs[e] for e in np.flatnonzero(slot >= 0)]
        return Meter(
            np.array(rows),
            np.array([rows.index(leg) for leg in legs]),
            which,
            combine,
            share,
            sums[:each],
            np.array(self.forms, float),
            QUANTITIES[self.quantity],
            circle(per_cycle),
            np.array(holds),
            self.drop_off,
            Gates(
                compiled() if self.gates else 0,
                slot,
                np.array(side, int),
                np.array(gated, int),
                np.array([gate.what for gate in self.gates], int),
                np.array([gate.slope for gate in self.gates], float),
                np.array([gate.together for gate in self.gates], int),
                int(np.count_nonzero(slot[: self.phases] >= 0)),
                self._levels(fill),
                turns(grid.per_cycle),
            ),
            sampling(self._chain(fill), 1 / per_cycle, rows, side, gated),
        )

    def grid(self, step_s: float, per_cycle: int, lead: int = 0) -> Grid:
        """Where in time values are measured: at the relay's samples, else at the ends of steps.

        Parameters
        ----------
        step_s : float
            Of the solution (s).
        per_cycle, lead : int
            Its steps a cycle, and before the event.

        Returns
        -------
        Grid
        """
        if self.chain is None:
            return Grid(step_s, per_cycle, lead)
        rate = self.chain.per_cycle
        return Grid(step_s * per_cycle / rate, rate, lead * rate // per_cycle)

    def _chain(self, fill: Index | None) -> Chain | None:
        return self.chain if self.chain is None or fill is None else self.chain.take(fill)

    def _levels(self, fill: Index | None) -> Array:
        """(gates, levels, rows) of the gates, of the samples that `fill` names."""
        if not self.gates:
            return np.zeros((0, 0, 0))
        every = np.stack([gate.levels.rows() for gate in self.gates])
        return np.ascontiguousarray(every if fill is None else every[..., fill])

    def take(self, rows: Index) -> Measurement:
        """The same on some samples.

        Parameters
        ----------
        rows : ndarray of int

        Returns
        -------
        Measurement
        """
        gates = tuple(gate.take(rows) for gate in self.gates)
        third = None if self.third is None else self.third[rows]
        return replace(self, gates=gates, chain=self._chain(rows), third=third)
