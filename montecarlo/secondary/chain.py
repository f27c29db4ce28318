"""The relay's signal chain: low-pass filter, samples, offset filter, fundamental.

    y'' + sqrt(2) y' + y = u           of the time times 2 pi f_c; |H| = 1 / sqrt(1 + (f/f_c)^4)
    K [(1 + tau) i_n - tau i_(n-1)]    tau in samples; K: gain 1 at the fundamental
    sqrt(2)/L |sum i_n e^(-j 2 pi n/N)|     of the last L samples, N a cycle: RMS

Sources, from memory: S. Butterworth, Wireless Engineer 7, 1930; Benmouyal, IEEE Trans. Power
Delivery 10, 1995, 621-630; Phadke, Thorp, Computer Relaying for Power Systems, ch. 3.

The input is the parabola through a step's three points, for which the low-pass is exact (derived),
and so are the samples. Straight lines between the ends of steps would read a sinusoid 0.4 % low."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from montecarlo.quantities import Array, Index
from montecarlo.secondary.chain_kernel import (
    BACK,
    FIRST,
    NOW,
    OWN,
    PHASE,
    ROOT,
    SECOND,
    compiled,
    pass_through,
)
from montecarlo.secondary.lanes import LANES
from montecarlo.secondary.workspace import GAMMA, Sampling

STEPS, CYCLES = 56, 5  # of the waves that a reading is taken of


@dataclass(frozen=True, eq=False)
class Chain:
    """The chain on a block of samples.

    Parameters
    ----------
    per_cycle : int
        Samples a cycle, N.
    length : int
        Of them, in the window.
    offset_samples : float or None
        Time constant of the offset filter, tau.
    cutoff : ndarray, (n,), or None
        Of the low-pass, over the fundamental's frequency.
    phase : ndarray, (n,)
        Where between two samples the event begins, 0 to 1.
    """

    per_cycle: int
    length: int
    offset_samples: float | None
    cutoff: Array | None
    phase: Array

    def gain(self) -> Array:
        """What a sinusoid of the fundamental's frequency is multiplied by, (n,)."""
        if self.cutoff is None:
            return np.ones(self.phase.shape)
        return np.asarray(1 / np.sqrt(1 + self.cutoff**-4.0))

    def lag(self) -> Array:
        """By how much the low-pass delays such a sinusoid, (n,) (cycles)."""
        if self.cutoff is None:
            return np.zeros(self.phase.shape)
        return np.asarray(np.arctan2(ROOT * self.cutoff, self.cutoff**2 - 1) / (2 * np.pi))

    def rows(self, step: float) -> Array:
        """What `pass_through` takes of every sample.

        Parameters
        ----------
        step : float
            Of the solution (cycles).

        Returns
        -------
        ndarray, (13, n)
            Phase; the offset filter's two factors; of the two parts of a step, `response`.
        """
        own = np.zeros((OWN, self.phase.size))
        own[PHASE] = self.phase
        own[NOW], own[BACK] = offset_factors(self.offset_samples, self.per_cycle)
        for first, part in (FIRST, GAMMA), (SECOND, 1 - GAMMA):
            if self.cutoff is not None:
                own[first : first + 5] = response(2 * np.pi * self.cutoff * step * part)
        return own

    def take(self, rows: Index) -> Chain:
        """Of some samples.

        Parameters
        ----------
        rows : ndarray of int

        Returns
        -------
        Chain
        """
        cutoff = None if self.cutoff is None else self.cutoff[rows]
        return replace(self, cutoff=cutoff, phase=self.phase[rows])


def offset_factors(tau: float | None, per_cycle: int) -> tuple[float, float]:
    """What the offset filter multiplies a sample and the one before by.

    Parameters
    ----------
    tau : float or None
        Its time constant (samples); None: there is none.
    per_cycle : int
        Samples a cycle.

    Returns
    -------
    float, float
        K (1 + tau) and K tau.

    Examples
    --------
    >>> now, back = offset_factors(70.0, 28)
    >>> round(now - back, 6)  # of DC
    0.063218
    """
    if tau is None:
        return 1.0, 0.0
    gain = 1 / abs(1 + tau - tau * np.exp(-2j * np.pi / per_cycle))
    return float(gain * (1 + tau)), float(gain * tau)


def response(angle: Array) -> Array:
    """The low-pass from one point to the next, without input.

    Parameters
    ----------
    angle : ndarray, (n,)
        Time between them, times 2 pi f_c.

    Returns
    -------
    ndarray, (5, n)
        One over the angle; then what becomes of y and y' there: of y by y, by y', of y' by y, y'.
    """
    half = angle / ROOT
    fade = np.exp(-half)
    cosine = fade * np.cos(half)
    sine = fade * np.sin(half)
    cross = ROOT * sine
    return np.stack([1 / angle, cosine + sine, cross, -cross, cosine - sine])


class Grid(NamedTuple):
    """Where values are measured: the k-th at (k + 1 - lead - phase) step_s after the event."""

    step_s: float
    per_cycle: int
    lead: int  # before the event

    def taken(self, steps: int, per_cycle: int) -> int:
        """How many values there are.

        Parameters
        ----------
        steps, per_cycle : int
            Of the solution: all, and in a cycle.

        Returns
        -------
        int
        """
        return steps * self.per_cycle // per_cycle


def sampling(
    chain: Chain | None, step: float, signals: list[int], side: list[int], leg: list[int]
) -> Sampling:
    """The same for the compiled pass.

    Parameters
    ----------
    chain : Chain or None
    step : float
        Of the solution (cycles).
    signals, side, leg : list of int
        Rows of the workspace: what is measured; what gates look at.

    Returns
    -------
    Sampling
    """
    if chain is None:
        none = np.zeros(0, np.int64)
        rows = np.zeros((0, 0))
        return Sampling(0, none, none, none, rows, rows, 0, 0, 0)
    taps = list(dict.fromkeys([*signals, *side, *leg]))
    angle = 2 * np.pi * np.arange(chain.per_cycle) / chain.per_cycle
    return Sampling(
        compiled(),
        np.array(taps),
        np.array([taps.index(row) for row in side], int),
        np.array([taps.index(row) for row in leg], int),
        np.ascontiguousarray(chain.rows(step)),
        np.stack([np.cos(angle), np.sin(angle)]),
        chain.per_cycle,
        chain.length,
        int(chain.cutoff is not None),
    )


def passed(chain: Chain, points: Array, per_cycle: int) -> tuple[Array, Array]:
    """The relay's samples of currents, behind all filters, and what it measures then.

    Parameters
    ----------
    chain : Chain
        On n samples.
    points : ndarray, (n, 2 steps + 1)
        Currents at the start and, of each step, at its inner stage and end (A).
    per_cycle : int
        Steps in a cycle.

    Returns
    -------
    ndarray, ndarray, (n, samples) each
        (A), and RMS of the fundamental (A).
    """
    n, steps = len(points), points.shape[1] // 2
    taken = Grid(1.0, chain.per_cycle, 0).taken(steps, per_cycle)
    of = sampling(chain, 1 / per_cycle, [0], [], [])
    found = np.empty((2, n, taken))
    three = [
        points[:, :-1:2],
        points[:, 1::2],
        points[:, 2::2],
    ]
    every = np.stack(three, axis=-1).reshape(n, -1)
    for first in range(0, n, LANES):
        rows = np.minimum(np.arange(first, first + LANES), n - 1)
        seen = np.ascontiguousarray(every[rows].T)
        own = np.ascontiguousarray(of.own[:, rows])
        samples, squares = np.empty((2, taken, LANES))
        counts = steps, steps, per_cycle, of.per_cycle, of.length, of.filtered
        pass_through(seen, own, of.circle, samples, squares, 1, 1, *counts)
        found[:, rows] = samples.T, np.sqrt(squares.T)
    return found[0], found[1]


def offset_reading(chain: Chain) -> float:
    """The largest that it reads of a sinusoid that begins at 0 with its offset, over the sinusoid's
    RMS and over points on wave and time constants.

    Parameters
    ----------
    chain : Chain
        On one sample.

    Returns
    -------
    float
    """
    ends = np.arange(CYCLES * STEPS + 1) / STEPS - 1
    turns = np.sort([*ends, *(ends[:-1] + GAMMA / STEPS)])
    half_turn = np.pi * np.arange(36) / 36
    angle, decay = np.meshgrid(half_turn, np.geomspace(0.2, 100, 28))
    angle = angle.reshape(-1, 1)
    decay = decay.reshape(-1, 1)
    after = np.maximum(turns, 0.0)
    offset = np.sin(angle) * np.exp(-after / decay)
    wave = np.sin(2 * np.pi * turns + angle) - offset
    wave[:, turns < 0] = 0.0
    _, read = passed(chain.take(np.zeros(angle.size, int)), np.sqrt(2) * wave, STEPS)
    return float(read.max())
