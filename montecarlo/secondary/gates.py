"""Gates: what holds a differential element back while a fault outside the zone is suspected;
compiled, in lanes.

A gate looks at instantaneous currents alone: what passes one side of an element's leg, i1, what
passes the other, i2, both positive through the zone, and their difference d = i1 - i2. It knows no
pick-up, so that one solution serves all of them. Of an earth element i1 is the neutral CT's
current, and the gate that there is holds it back until that current flows.

Principles, from memory: time between the start of a fault and the first difference, and tests
repeated in every half cycle (Andow et al., 5th Int. Conf. Developments in Power System Protection,
IEE, 1993; Phadke, Thorp, Computer Relaying for Power Systems, ch. 5); direction of the two ends
(Villamagna, Crossley, IEEE Trans. Power Delivery 21(1), 2006); harmonics and the DC component
(Horowitz, Phadke, Power System Relaying, ch. 8). A core carries flux, not current: after a fault
outside begins d stays small until a flux has risen, after one inside d = 2 r from the first step on
(derived)."""

from __future__ import annotations

import math
from dataclasses import dataclass, fields, replace
from functools import cache
from typing import Any

import numpy as np
from llvmlite import ir
from numba import carray, types
from numba.extending import intrinsic

from montecarlo.quantities import Array, Index
from montecarlo.quantities.compiled import callback, njit
from montecarlo.secondary.lanes import (
    LANES,
    Lanes,
    any_positive,
    load,
    place,
    size,
    splat,
    square_root,
    store,
)
from montecarlo.secondary.lanes import where_less as pick
from montecarlo.secondary.workspace import COMPILED

STARTS = (
    "time_difference",
    "repeated",
    "angle",
    "direct_current",
    "second_harmonic",
    "no_neutral_current",
)
HOLDS = ("none", "direct_current", "current")
TIME_DIFFERENCE, REPEATED, ANGLE, DIRECT, HARMONIC, NEUTRAL = range(len(STARTS))
HOLD_NONE, HOLD_DIRECT, HOLD_CURRENT = range(len(HOLDS))
NOISE = 1e-3  # of `Levels.least_a`: a difference below it has no harmonics
BLOCK = math.inf  # as a slope: nothing passes


@dataclass(frozen=True, eq=False)
class Levels:
    """What a gate compares with, of every sample, (n,) each.

    Parameters
    ----------
    start_a : ndarray
        Instantaneous current above which something has begun (A).
    ratio : ndarray
        The largest |d| of a fault outside, over r = (|i1| + |i2|)/2.
    floor_a : ndarray
        That and so much more (A).
    wait_steps : ndarray
        Steps after the first one above start_a for which d must stay so small.
    above : ndarray
        Where currents start it: share of the fundamental, or cosine of the largest angle.
    least_a : ndarray
        RMS below which an end's fundamental counts as this (A).
    hold_above : ndarray
        DC component over the fundamental's peak that holds it.
    stays_steps, longest_steps : ndarray
        Steps for which it stays on after that, at least 1; and at most.
    """

    start_a: Array
    ratio: Array
    floor_a: Array
    wait_steps: Array
    above: Array
    least_a: Array
    hold_above: Array
    stays_steps: Array
    longest_steps: Array

    def rows(self) -> Array:
        """All of them, in the order of the fields.

        Returns
        -------
        ndarray, (levels, n)
        """
        return np.stack([getattr(self, one.name) for one in fields(self)])


(START, RATIO, FLOOR, WAIT, ABOVE, LEAST, HOLD, STAYS, LONGEST) = range(len(fields(Levels)))


@dataclass(frozen=True, eq=False)
class Gate:
    """A gate on a block of samples.

    Parameters
    ----------
    start, hold : str
        Of `STARTS` and `HOLDS`.
    on_change : bool
        Whether it starts on the change over one cycle, or on the current itself.
    slope : float
        Of the bias while it is on; `BLOCK`: the element cannot operate.
    together : bool
        Whether one element's gate holds back all.
    levels : Levels
    """

    start: str
    hold: str
    on_change: bool
    slope: float
    together: bool
    levels: Levels

    @property
    def what(self) -> int:
        """The three words as one number, for `holds_back`."""
        return STARTS.index(self.start) + 8 * HOLDS.index(self.hold) + 64 * self.on_change

    def take(self, rows: Index) -> Gate:
        """Of some samples.

        Parameters
        ----------
        rows : ndarray of int

        Returns
        -------
        Gate
        """
        each = {one.name: getattr(self.levels, one.name)[rows] for one in fields(Levels)}
        return replace(self, levels=Levels(**each))


# --- in lanes -----------------------------------------------------------------


@njit(**COMPILED)
def _yes(a: Lanes, b: Lanes) -> Lanes:
    """1 where a < b, else 0."""
    return pick(a, b, splat(1.0), splat(0.0))


@njit(**COMPILED)
def _most(a: Lanes, b: Lanes) -> Lanes:
    return pick(a, b, b, a)


@njit(**COMPILED)
def _above_start(now: Array, levels: Array, s: int, back: int, steps: int) -> tuple[Lanes, Lanes]:
    """Whether something has begun, and whether |d| is larger than outside faults make it; of
    currents themselves, or of their change over `back` steps."""
    one, difference = load(now, s), load(now, steps + s)
    if back > 0:
        one = one - load(now, s - back)
        difference = difference - load(now, steps + s - back)
    r = 0.5 * (size(one) + size(one - difference))
    most = load(levels, RATIO) * r + load(levels, FLOOR)
    return _yes(load(levels, START), r), _yes(most, size(difference))


@njit(**COMPILED)
def judge_gate(  # noqa: C901
    now: Array, levels: Array, circle: Array, on: Array, steps: int, per_cycle: int, what: int
) -> None:
    """Whether a gate is on, step by step. A cycle must have passed before it can be.

    Parameters
    ----------
    now : ndarray, (2 steps, LANES)
        i1 and d at the ends of steps (A).
    levels : ndarray, (levels, LANES)
        `Levels.rows` of the lanes.
    circle : ndarray, (4, per_cycle)
        `turns`.
    on : ndarray, (steps, LANES)
        Written: 1 or 0.
    steps, per_cycle : int
        Of the window and of a cycle.
    what : int
        `Gate.what`.
    """
    start, hold, on_change = what % 8, what // 8 % 8, what // 64
    measures = hold == HOLD_DIRECT or start >= ANGLE
    none, one = splat(0.0), splat(1.0)
    stays, longest, wait = load(levels, STAYS), load(levels, LONGEST), load(levels, WAIT)
    least = load(levels, LEAST) * load(levels, LEAST)
    clock = suspect = quiet = timer = length = none
    # over the last cycle: sums of i1 and i2, and parts of their phasors and of those of d
    sum1 = sum2 = real1 = imag1 = real2 = imag2 = none
    real_d = imag_d = twice_real = twice_imag = none
    squared = 2.0 / (per_cycle * per_cycle)  # the square of a sum to that of an RMS
    for s in range(steps):
        i1, d = load(now, s), load(now, steps + s)
        if measures:
            k = s % per_cycle
            come1, come_d = i1, d
            if s >= per_cycle:
                come1 = come1 - load(now, s - per_cycle)
                come_d = come_d - load(now, steps + s - per_cycle)
            come2 = come1 - come_d
            sum1 = sum1 + come1
            sum2 = sum2 + come2
            real1 = real1 + circle[0, k] * come1
            imag1 = imag1 + circle[1, k] * come1
            real2 = real2 + circle[0, k] * come2
            imag2 = imag2 + circle[1, k] * come2
            if start == HARMONIC:
                real_d = real_d + circle[0, k] * come_d
                imag_d = imag_d + circle[1, k] * come_d
                twice_real = twice_real + circle[2, k] * come_d
                twice_imag = twice_imag + circle[3, k] * come_d
        if s < per_cycle:
            store(on, s, none)
            continue
        is_on = _yes(none, timer)
        declared = holds = none
        if start == TIME_DIFFERENCE:
            back = per_cycle if on_change else 0
            above, inside = _above_start(now, levels, s, back, steps)
            quiet = (quiet + one) * (one - above)
            suspect = suspect * _yes(quiet, splat(float(per_cycle)))
            active = _most(above, _yes(none, clock)) * (one - suspect) * (one - is_on)
            clock = (clock + one) * active
            suspect = _most(suspect, active * inside)
            clock = clock * (one - inside)
            declared = _yes(wait, clock)
            clock = clock * (one - declared)
        elif start == REPEATED:
            above, inside = _above_start(now, levels, s, 0, steps)
            clock = (clock + one) * above * (one - inside)
            declared = _yes(wait, clock)
        elif start == ANGLE:
            first = squared * (real1 * real1 + imag1 * imag1)
            second = squared * (real2 * real2 + imag2 * imag2)
            product = squared * (real1 * real2 + imag1 * imag2)
            same = _yes(load(levels, ABOVE) * square_root(first * second), product)
            declared = same * _yes(least, first) * _yes(least, second)
        elif start == HARMONIC:
            first = squared * (real_d * real_d + imag_d * imag_d)
            second = squared * (twice_real * twice_real + twice_imag * twice_imag)
            limit = load(levels, ABOVE) * load(levels, ABOVE)
            declared = _yes(limit * _most(first, NOISE * NOISE * least), second)
        elif start == NEUTRAL:
            limit = 0.5 * load(levels, START) * load(levels, START)
            declared = one - _yes(limit, squared * (real1 * real1 + imag1 * imag1))
        if start == DIRECT or (hold == HOLD_DIRECT and any_positive(is_on)):
            # squares of the mean and of the fundamental's peak, twice that of its RMS
            peak1 = 2.0 * _most(squared * (real1 * real1 + imag1 * imag1), least)
            peak2 = 2.0 * _most(squared * (real2 * real2 + imag2 * imag2), least)
            mean1, mean2 = 0.5 * squared * (sum1 * sum1), 0.5 * squared * (sum2 * sum2)
            if start == DIRECT:
                limit = load(levels, ABOVE) * load(levels, ABOVE)
                declared = _most(_yes(limit * peak1, mean1), _yes(limit * peak2, mean2))
            if hold == HOLD_DIRECT:
                limit = load(levels, HOLD) * load(levels, HOLD)
                holds = _most(_yes(limit * peak1, mean1), _yes(limit * peak2, mean2))
        if hold == HOLD_CURRENT:
            holds = _yes(load(levels, START), 0.5 * (size(i1) + size(i1 - d)))
        timer = _most(timer - one, none)
        timer = pick(splat(0.5), _most(declared, is_on * holds), stays, timer)
        length = (length + one) * _yes(none, timer)
        over = _yes(longest, length)
        timer = timer * (one - over)
        suspect = _most(suspect, over)
        store(on, s, _yes(none, timer))


def turns(per_cycle: int) -> Array:
    """Cosine and sine of the steps of a cycle, and of twice their angles.

    Parameters
    ----------
    per_cycle : int

    Returns
    -------
    ndarray, (4, per_cycle)
    """
    angle = 2 * np.pi * np.arange(per_cycle) / per_cycle
    return np.stack([np.cos(angle), np.sin(angle), np.cos(2 * angle), np.sin(2 * angle)])


# --- from other compiled code -------------------------------------------------


@cache
def compiled() -> int:
    """The address of `judge_gate`, for `holds_back`; compiled where a study has gates.

    Returns
    -------
    int
    """

    def gate(now, levels, circle, on, steps, per_cycle, what):  # type: ignore[no-untyped-def]
        judge_gate(
            carray(now, (2 * steps, LANES)),
            carray(levels, (_ROWS, LANES)),
            carray(circle, (4, per_cycle)),
            carray(on, (steps, LANES)),
            steps,
            per_cycle,
            what,
        )
        return what

    rows, whole = types.CPointer(types.float64), types.int64
    return callback(whole(rows, rows, rows, rows, whole, whole, whole), gate)


_ROWS = len(fields(Levels))


@intrinsic  # type: ignore[untyped-decorator]
def holds_back(  # noqa: PLR0913
    typing: Any,
    address: Any,
    now: Any,
    now_row: Any,
    levels: Any,
    circle: Any,
    on: Any,
    on_row: Any,
    steps: Any,
    per_cycle: Any,
    what: Any,
) -> Any:
    """`judge_gate` by its address, on rows from some on.

    Parameters
    ----------
    typing : typing context
        Numba's.
    address : int
        As `compiled` gave it.
    now, now_row, levels, circle, on, on_row
        Its arrays, and where in two of them its rows begin.
    steps, per_cycle, what
        As it takes them.

    Returns
    -------
    int
        `what`.
    """

    def code(context: Any, builder: Any, signature: Any, args: Any) -> Any:
        number, whole = ir.DoubleType().as_pointer(), ir.IntType(64)
        first = whole(0)
        rows = [
            builder.bitcast(place(context, builder, signature.args[k], args[k], row), number)
            for k, row in ((1, args[2]), (3, first), (4, first), (5, args[6]))
        ]
        kind = ir.FunctionType(whole, [number] * 4 + [whole] * 3)
        called = builder.inttoptr(args[0], kind.as_pointer())
        return builder.call(called, [*rows, *args[7:]])

    whole = types.int64
    return whole(whole, now, whole, levels, circle, on, whole, whole, whole, whole), code
