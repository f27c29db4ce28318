"""The relay's signal chain: low-pass filter, samples, offset filter, fundamental; compiled, in
lanes.

    y'' + sqrt(2) y' + y = u           of the time times 2 pi f_c; |H| = 1 / sqrt(1 + (f/f_c)^4)
    K [(1 + tau) i_n - tau i_(n-1)]    tau in samples; K: gain 1 at the fundamental
    sqrt(2)/L |sum i_n e^(-j 2 pi n/N)|     of the last L samples, N a cycle: RMS

Sources, from memory: S. Butterworth, Wireless Engineer 7, 1930; Benmouyal, IEEE Trans. Power
Delivery 10, 1995, 621-630; Phadke, Thorp, Computer Relaying for Power Systems, ch. 3.

The input is the parabola through a step's three points, for which the low-pass is exact (derived),
and so are the samples. Straight lines between the ends of steps would read a sinusoid 0.4 % low."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache
from typing import Any, NamedTuple

import numpy as np
from llvmlite import ir
from numba import carray, types
from numba.extending import intrinsic

from montecarlo.quantities import Array, Index
from montecarlo.quantities.compiled import callback, njit
from montecarlo.secondary.lanes import LANES, Lanes, load, place, splat, store
from montecarlo.secondary.workspace import COMPILED, GAMMA, Sampling

ROOT = np.sqrt(2)
# Rows of what every sample has of its own
PHASE, NOW, BACK, FIRST, SECOND, OWN = 0, 1, 2, 3, 8, 13


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
        now, back = offset_factors(self.offset_samples, self.per_cycle)
        own = np.zeros((OWN, self.phase.size))
        own[PHASE], own[NOW], own[BACK] = self.phase, now, back
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
    half = angle / np.sqrt(2)
    fade, cosine, sine = np.exp(-half), np.cos(half), np.sin(half)
    cross = np.sqrt(2) * fade * sine
    return np.stack([1 / angle, fade * (cosine + sine), cross, -cross, fade * (cosine - sine)])


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


# --- in lanes -----------------------------------------------------------------


@njit(**COMPILED)
def _onward(  # noqa: PLR0913
    y: Lanes,
    rate: Lanes,
    one: Lanes,
    rise: Lanes,
    other: Lanes,
    next_rise: Lanes,
    bend: Lanes,
    own: Array,
    part: int,
) -> tuple[Lanes, Lanes]:
    """y and y' at the next point, while the input is a parabola: what it would leave for ever, and
    what fades of the rest. one, rise: the input and its slope; bend: that of the slope."""
    y, rate = y - (one - ROOT * rise + bend), rate - (rise - ROOT * bend)
    faded = load(own, part + 1) * y + load(own, part + 2) * rate
    slower = load(own, part + 3) * y + load(own, part + 4) * rate
    return other - ROOT * next_rise + bend + faded, next_rise - ROOT * bend + slower


@njit(**COMPILED)
def _low_pass(seen: Array, first: int, own: Array, steps: int, per_cycle: int) -> None:
    """A current's points become what the filter makes of them; its first cycle passes once before,
    so that the filter has settled."""
    y, rate = load(seen, first), splat(0.0)
    for s in range(-per_cycle, steps):
        row = first + 3 * (s + per_cycle if s < 0 else s)
        begin, inner, end = load(seen, row), load(seen, row + 1), load(seen, row + 2)
        if s >= 0:
            store(seen, row, y)
        rise = (inner - begin) * load(own, FIRST)
        turn = (end - inner) * load(own, SECOND) - rise
        bend = 2.0 * GAMMA * turn * load(own, FIRST)
        at_begin, at_inner = rise - GAMMA * turn, rise + GAMMA * turn
        at_end = at_inner + 2.0 * (1.0 - GAMMA) * turn
        y, rate = _onward(y, rate, begin, at_begin, inner, at_inner, bend, own, FIRST)
        if s >= 0:
            store(seen, row + 1, y)
        y, rate = _onward(y, rate, inner, at_inner, end, at_end, bend, own, SECOND)
        if s >= 0:
            store(seen, row + 2, y)


@njit(**COMPILED)
def _sample(  # noqa: PLR0913
    seen: Array,
    first: int,
    own: Array,
    samples: Array,
    to: int,
    taken: int,
    ratio: float,
    rate: int,
) -> None:
    """The relay's samples of one current, each through the offset filter."""
    steps_most = int(np.ceil(taken * ratio)) - 1
    for j in range(taken):
        for b in range(LANES):
            place_at = (j + 1.0 - own[PHASE, b]) * ratio
            s = min(int(place_at), steps_most)
            t, row = place_at - s, first + 3 * s
            samples[to + j, b] = (
                seen[row, b] * ((t - GAMMA) * (t - 1.0) / GAMMA)
                + seen[row + 1, b] * (t * (1.0 - t) / (GAMMA * (1.0 - GAMMA)))
                + seen[row + 2, b] * (t * (t - GAMMA) / (1.0 - GAMMA))
            )
    now, back = load(own, NOW), load(own, BACK)
    before = load(samples, to + rate - 1)  # the first cycle repeats
    for j in range(taken - 1, -1, -1):
        past = load(samples, to + j - 1) if j > 0 else before
        store(samples, to + j, now * load(samples, to + j) - back * past)


@njit(**COMPILED)
def _fundamental(
    samples: Array, first: int, circle: Array, heard: Array, taken: int, rate: int, length: int
) -> None:
    """Square of the fundamental's RMS over the last `length` samples, sample by sample."""
    real = imag = splat(0.0)
    squared = 2.0 / float(length * length)
    for j in range(taken):
        k, come = j % rate, load(samples, first + j)
        real, imag = real + circle[0, k] * come, imag + circle[1, k] * come
        if j >= length:
            k, gone = (j - length) % rate, load(samples, first + j - length)
            real, imag = real - circle[0, k] * gone, imag - circle[1, k] * gone
        store(heard, first + j, squared * (real * real + imag * imag))


@njit(**COMPILED)
def pass_through(  # noqa: PLR0913
    seen: Array,
    own: Array,
    circle: Array,
    samples: Array,
    heard: Array,
    taps: int,
    signals: int,
    steps: int,
    per_cycle: int,
    rate: int,
    length: int,
    filtered: int,
) -> None:
    """What the relay measures of currents.

    Parameters
    ----------
    seen : ndarray, (3 taps steps, LANES)
        Every current at the start, between the stages and at the end of each step (A); changed.
    own : ndarray, (13, LANES)
        `Chain.rows` of the lanes.
    circle : ndarray, (2, rate)
        Cosine and sine of a cycle's samples.
    samples : ndarray, (taps taken, LANES)
        Written: the samples, behind all filters (A).
    heard : ndarray, (signals taken, LANES)
        Written: the square of what is measured of the first currents (A²).
    taps, signals : int
        Currents; how many of them are measured.
    steps, per_cycle : int
        Of the solution in the window, and in a cycle.
    rate, length : int
        Samples a cycle and in the measuring window.
    filtered : int
        Whether there is a low-pass.
    """
    taken = steps * rate // per_cycle
    for tap in range(taps):
        if filtered:
            _low_pass(seen, 3 * tap * steps, own, steps, per_cycle)
        _sample(seen, 3 * tap * steps, own, samples, tap * taken, taken, per_cycle / rate, rate)
    for signal in range(signals):
        _fundamental(samples, signal * taken, circle, heard, taken, rate, length)


@njit(**COMPILED)
def repeat_settled(seen: Array, done: Index, steps: int, per_cycle: int) -> None:
    """A lane that has settled repeats its last cycle.

    Parameters
    ----------
    seen : ndarray, (3 taps steps, LANES)
        Changed.
    done : ndarray, (LANES,)
        Steps that each lane has.
    steps, per_cycle : int
    """
    for first in range(0, seen.shape[0], 3 * steps):
        for b in range(LANES):
            for row in range(first + 3 * done[b], first + 3 * steps):
                seen[row, b] = seen[row - 3 * per_cycle, b]


# --- from other compiled code -------------------------------------------------


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
        nothing = np.zeros(0, np.int64)
        return Sampling(0, nothing, nothing, nothing, np.zeros((0, 0)), np.zeros((2, 0)), 0, 0, 0)
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


@cache
def compiled() -> int:
    """The address of `pass_through`, for `passes`; compiled where a study has a chain.

    Returns
    -------
    int
    """

    def chain(  # type: ignore[no-untyped-def]  # noqa: PLR0913
        seen, own, circle, samples, heard, taps, signals, steps, per_cycle, rate, length, filtered
    ):
        taken = steps * rate // per_cycle
        pass_through(
            carray(seen, (3 * taps * steps, LANES)),
            carray(own, (OWN, LANES)),
            carray(circle, (2, rate)),
            carray(samples, (taps * taken, LANES)),
            carray(heard, (signals * taken, LANES)),
            taps,
            signals,
            steps,
            per_cycle,
            rate,
            length,
            filtered,
        )
        return taken

    rows, whole = types.CPointer(types.float64), types.int64
    return callback(whole(*[rows] * 5, *[whole] * 7), chain)


@intrinsic  # type: ignore[untyped-decorator]
def passes(  # noqa: PLR0913
    typing: Any,
    address: Any,
    seen: Any,
    own: Any,
    circle: Any,
    samples: Any,
    heard: Any,
    taps: Any,
    signals: Any,
    steps: Any,
    per_cycle: Any,
    rate: Any,
    length: Any,
    filtered: Any,
) -> Any:
    """`pass_through` by its address.

    Parameters
    ----------
    typing : typing context
        Numba's.
    address : int
        As `compiled` gave it.
    seen, own, circle, samples, heard, taps, signals, steps, per_cycle, rate, length, filtered
        As it takes them.

    Returns
    -------
    int
        Samples that were taken.
    """

    def code(context: Any, builder: Any, signature: Any, args: Any) -> Any:
        number, whole = ir.DoubleType().as_pointer(), ir.IntType(64)
        arrays = [
            builder.bitcast(place(context, builder, kind, array, whole(0)), number)
            for kind, array in zip(signature.args[1:6], args[1:6], strict=True)
        ]
        kind = ir.FunctionType(whole, [number] * 5 + [whole] * 7)
        return builder.call(builder.inttoptr(args[0], kind.as_pointer()), [*arrays, *args[6:]])

    whole = types.int64
    return whole(whole, seen, own, circle, samples, heard, *[whole] * 7), code
