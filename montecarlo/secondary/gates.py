"""Gates: what holds a differential element back while a fault outside the zone is suspected;
compiled, in lanes.

A gate looks at instantaneous currents alone: what passes one side of an element's leg, i1, what
passes the other, i2, both positive through the zone, and their difference d = i1 - i2. It knows no
pick-up, so that one solution serves all of them.

Principles, from memory: time between the start of a fault and the first difference, and tests
repeated in every half cycle (Andow et al., 5th Int. Conf. Developments in Power System Protection,
IEE, 1993; Phadke, Thorp, Computer Relaying for Power Systems, ch. 5); direction of the two ends
(Villamagna, Crossley, IEEE Trans. Power Delivery 21(1), 2006); harmonics and the DC component
(Horowitz, Phadke, Power System Relaying, ch. 8). A core carries flux, not current: after a fault
outside begins d stays small until a flux has risen, after one inside d = 2 r from the first step on
(derived)."""

from __future__ import annotations

import math
from dataclasses import dataclass, fields
from functools import cache
from typing import Any

import numpy as np
from llvmlite import ir
from numba import carray, types
from numba.extending import intrinsic

from montecarlo.quantities import Array, Index
from montecarlo.quantities.compiled import callback, njit
from montecarlo.secondary.lanes import LANES, Lanes, load, place, size, splat, square_root, store
from montecarlo.secondary.lanes import where_less as pick
from montecarlo.secondary.workspace import COMPILED

STARTS = ("time_difference", "repeated", "angle", "direct_current", "second_harmonic")
HOLDS = ("none", "direct_current", "current")
TIME_DIFFERENCE, REPEATED, ANGLE, DIRECT, HARMONIC = range(len(STARTS))
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
        return Gate(
            self.start, self.hold, self.on_change, self.slope, self.together, Levels(**each)
        )


# --- in lanes -----------------------------------------------------------------


@njit(**COMPILED)
def _yes(a: Lanes, b: Lanes) -> Lanes:
    """1 where a < b, else 0."""
    return pick(a, b, splat(1.0), splat(0.0))


@njit(**COMPILED)
def _most(a: Lanes, b: Lanes) -> Lanes:
    return pick(a, b, b, a)


@njit(**COMPILED)
def _above_start(
    now: Array, levels: Array, s: int, back: int, steps: int
) -> tuple[Lanes, Lanes, Lanes]:
    """Whether something has begun, whether |d| is larger than outside faults make it, and r; of
    currents themselves, or of their change over `back` steps."""
    one, difference = load(now, s), load(now, steps + s)
    if back > 0:
        one = one - load(now, s - back)
        difference = difference - load(now, steps + s - back)
    r = 0.5 * (size(one) + size(one - difference))
    most = load(levels, RATIO) * r + load(levels, FLOOR)
    return _yes(load(levels, START), r), _yes(most, size(difference)), r


@njit(**COMPILED)
def judge_gate(  # noqa: C901
    now: Array, levels: Array, on: Array, steps: int, per_cycle: int, what: int
) -> None:
    """Whether a gate is on, step by step. A cycle must have passed before it can be.

    Parameters
    ----------
    now : ndarray, (2 steps, LANES)
        i1 and d at the ends of steps (A).
    levels : ndarray, (levels, LANES)
        `Levels.rows` of the lanes.
    on : ndarray, (steps, LANES)
        Written: 1 or 0.
    steps, per_cycle : int
        Of the window and of a cycle.
    what : int
        `Gate.what`.
    """
    start, hold, on_change = what % 8, what // 8 % 8, what // 64
    none, one = splat(0.0), splat(1.0)
    stays, longest, wait = load(levels, STAYS), load(levels, LONGEST), load(levels, WAIT)
    clock, suspect, quiet, timer, length = none, none, none, none, none
    mean1, mean2 = none, none  # sums over the last cycle
    real1, imag1, real2, imag2 = none, none, none, none
    real_d, imag_d, twice_real, twice_imag = none, none, none, none
    for s in range(steps):
        i1, d = load(now, s), load(now, steps + s)
        gone1 = load(now, s - per_cycle) if s >= per_cycle else none
        gone_d = load(now, steps + s - per_cycle) if s >= per_cycle else none
        if hold == HOLD_DIRECT or start >= ANGLE:
            turn = 2 * math.pi * (s % per_cycle) / per_cycle
            come1, come_d = i1 - gone1, d - gone_d
            mean1, mean2 = mean1 + come1, mean2 + (come1 - come_d)
            cos, sin = math.cos(turn), math.sin(turn)
            real1, imag1 = real1 + cos * come1, imag1 + sin * come1
            real2, imag2 = real2 + cos * (come1 - come_d), imag2 + sin * (come1 - come_d)
            if start == HARMONIC:
                real_d, imag_d = real_d + cos * come_d, imag_d + sin * come_d
                twice_real = twice_real + math.cos(2 * turn) * come_d
                twice_imag = twice_imag + math.sin(2 * turn) * come_d
        if s < per_cycle:
            store(on, s, none)
            continue
        is_on = _yes(none, timer)
        declared = none
        if start == TIME_DIFFERENCE:
            back = per_cycle if on_change else 0
            above, inside, _ = _above_start(now, levels, s, back, steps)
            quiet = (quiet + one) * (one - above)
            suspect = suspect * _yes(quiet, splat(float(per_cycle)))
            active = _most(above, _yes(none, clock)) * (one - suspect) * (one - is_on)
            clock = (clock + one) * active
            suspect = _most(suspect, active * inside)
            clock = clock * (one - inside)
            declared = _yes(wait, clock)
            clock = clock * (one - declared)
        elif start == REPEATED:
            above, inside, _ = _above_start(now, levels, s, 0, steps)
            clock = (clock + one) * above * (one - inside)
            declared = _yes(wait, clock)
        scale = math.sqrt(2.0) / per_cycle  # a sum to an RMS
        if hold == HOLD_DIRECT or start >= ANGLE:
            rms1 = scale * square_root(real1 * real1 + imag1 * imag1)
            rms2 = scale * square_root(real2 * real2 + imag2 * imag2)
            least = load(levels, LEAST)
            # |mean| over the fundamental's peak
            share1 = size(mean1) * (1 / (math.sqrt(2.0) * per_cycle)) / _most(rms1, least)
            share2 = size(mean2) * (1 / (math.sqrt(2.0) * per_cycle)) / _most(rms2, least)
            direct = _most(share1, share2)
            if start == ANGLE:
                product = scale * scale * (real1 * real2 + imag1 * imag2)
                same = _yes(load(levels, ABOVE) * rms1 * rms2, product)
                declared = same * _yes(least, rms1) * _yes(least, rms2)
            elif start == DIRECT:
                declared = _yes(load(levels, ABOVE), direct)
            elif start == HARMONIC:
                first = scale * square_root(real_d * real_d + imag_d * imag_d)
                second = scale * square_root(twice_real * twice_real + twice_imag * twice_imag)
                declared = _yes(load(levels, ABOVE) * _most(first, NOISE * least), second)
        holds = none
        if hold == HOLD_DIRECT:
            holds = is_on * _yes(load(levels, HOLD), direct)
        elif hold == HOLD_CURRENT:
            r = 0.5 * (size(i1) + size(i1 - d))
            holds = is_on * _yes(load(levels, START), r)
        timer = _most(timer - one, none)
        timer = pick(splat(0.5), _most(declared, holds), stays, timer)
        length = (length + one) * _yes(none, timer)
        over = _yes(longest, length)
        timer = timer * (one - over)
        suspect = _most(suspect, over)
        store(on, s, _yes(none, timer))


# --- from other compiled code -------------------------------------------------


@cache
def compiled() -> int:
    """The address of `judge_gate`, for `holds_back`; compiled where a study has gates.

    Returns
    -------
    int
    """

    def gate(now, levels, on, steps, per_cycle, what):  # type: ignore[no-untyped-def]
        judge_gate(
            carray(now, (2 * steps, LANES)),
            carray(levels, (_ROWS, LANES)),
            carray(on, (steps, LANES)),
            steps,
            per_cycle,
            what,
        )
        return what

    rows, whole = types.CPointer(types.float64), types.int64
    return callback(whole(rows, rows, rows, whole, whole, whole), gate)


_ROWS = len(fields(Levels))


@intrinsic  # type: ignore[untyped-decorator]
def holds_back(  # noqa: PLR0913
    typing: Any,
    address: Any,
    now: Any,
    now_row: Any,
    levels: Any,
    levels_row: Any,
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
    now, now_row, levels, levels_row, on, on_row
        Its arrays, and where in them its rows begin.
    steps, per_cycle, what
        As it takes them.

    Returns
    -------
    int
        `what`.
    """

    def code(context: Any, builder: Any, signature: Any, args: Any) -> Any:
        number, whole = ir.DoubleType().as_pointer(), ir.IntType(64)
        rows = [
            builder.bitcast(
                place(context, builder, signature.args[k], args[k], args[k + 1]), number
            )
            for k in (1, 3, 5)
        ]
        kind = ir.FunctionType(whole, [number] * 3 + [whole] * 3)
        called = builder.inttoptr(args[0], kind.as_pointer())
        return builder.call(called, [*rows, *args[7:]])

    whole = types.int64
    return whole(whole, now, whole, levels, whole, on, whole, whole, whole, whole), code
