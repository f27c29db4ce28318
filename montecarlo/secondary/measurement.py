"""What elements measure of the legs' and the CTs' currents; for the phasor and the transient
solution alike."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from montecarlo.quantities import Array
from montecarlo.secondary.judging import POINTS, QUANTITIES
from montecarlo.secondary.restraint import NO_BIAS, Form
from montecarlo.secondary.workspace import CURRENT, LEG, Meter


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


@dataclass(frozen=True, kw_only=True)
class Measurement:
    """What the elements make of the currents.

    legs: the leg of every element; bias: the CTs (columns of the table) that restrain each, none or
    several; matching: what multiplies the current of each CT on its way to the legs and to the
    bias, 1 unless given; bias_current: mean, sum or largest of these; forms: `restraint.Form`, each
    judged for itself; quantity: what is measured of a current, the peak as if of a sinusoid;
    delays_s: for which it must be held, less over_travel_s, by which an element with a moving part
    runs on; drop_off: the share of its pick-up at which an element resets."""

    legs: tuple[int, ...]
    bias: tuple[tuple[int, ...], ...] = ()
    matching: tuple[float, ...] = ()
    bias_current: str = "mean"
    forms: tuple[Form, ...] = (NO_BIAS,)
    quantity: str = "rms"
    delays_s: tuple[float, ...] = (0.0,)
    drop_off: float = 1.0
    over_travel_s: float = 0.0

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

    def meter(self, step_s: float, per_cycle: int) -> Meter:
        """The same for the compiled pass.

        Parameters
        ----------
        step_s : float
            Of its grid of time (s).
        per_cycle : int
            Steps a cycle.

        Returns
        -------
        Meter
        """
        bias = self.bias or ((),) * len(self.legs)
        legs = [LEG + leg for leg in self.legs]
        rows = list(dict.fromkeys([*legs, *(CURRENT + ct for cts in bias for ct in cts)]))
        most = max(1, *(len(cts) for cts in bias))
        which = np.full((len(bias), most), -1)
        share = np.zeros((len(bias), most))
        for e, cts in enumerate(bias):
            count = len(cts)
            which[e, :count] = [rows.index(CURRENT + ct) for ct in cts]
            share[e, :count] = self.gains(cts)
            if self.bias_current == "mean":
                share[e, :count] /= count
        holds = [round(max(delay - self.over_travel_s, 0.0) / step_s) for delay in self.delays_s]
        return Meter(
            np.array(rows),
            np.array([rows.index(leg) for leg in legs]),
            which,
            self.bias_current == "largest",
            share,
            np.array(self.forms, float),
            QUANTITIES[self.quantity],
            circle(per_cycle),
            np.array(holds),
            self.drop_off,
        )
