"""The chain of `chain.py`, compiled, in lanes; called by its address, so that only a study that has
one compiles it."""

from __future__ import annotations

from functools import cache
from typing import Any

import numpy as np
from llvmlite import ir
from numba import carray, types
from numba.extending import intrinsic

from montecarlo.quantities import Array, Index
from montecarlo.quantities.compiled import callback, njit
from montecarlo.secondary.lanes import LANES, Lanes, load, place, splat, store
from montecarlo.secondary.workspace import COMPILED, GAMMA

ROOT = np.sqrt(2)
SETTLING = 2  # cycles: a window, and the filters
# Rows of what every sample has of its own
PHASE, NOW, BACK, FIRST, SECOND, OWN = 0, 1, 2, 3, 8, 13


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
    y = y - (one - ROOT * rise + bend)
    rate = rate - (rise - ROOT * bend)
    of_y = load(own, part + 1) * y
    of_y = of_y + load(own, part + 2) * rate
    of_rate = load(own, part + 3) * y
    of_rate = of_rate + load(own, part + 4) * rate
    lasting = other - ROOT * next_rise + bend
    return lasting + of_y, next_rise - ROOT * bend + of_rate


@njit(**COMPILED)
def _low_pass(seen: Array, first: int, own: Array, used: int, per_cycle: int) -> None:
    """A current's points become what the filter makes of them; its first cycle passes once before,
    so that the filter has settled."""
    y, rate = load(seen, first), splat(0.0)
    for s in range(-per_cycle, used):
        row = first + 3 * (s + per_cycle if s < 0 else s)
        begin = load(seen, row)
        inner = load(seen, row + 1)
        end = load(seen, row + 2)
        if s >= 0:
            store(seen, row, y)
        rise = (inner - begin) * load(own, FIRST)
        turn = (end - inner) * load(own, SECOND) - rise
        bend = 2.0 * GAMMA * turn * load(own, FIRST)
        at_begin = rise - GAMMA * turn
        at_inner = rise + GAMMA * turn
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
    own: Array,
    samples: Array,
    taps: int,
    steps: int,
    used: int,
    taken: int,
    count: int,
    ratio: float,
) -> None:
    """The relay's samples of all currents, by the parabola through a step's points."""
    for j in range(count):
        for b in range(LANES):
            t = (j + 1.0 - own[PHASE, b]) * ratio
            s = min(int(t), used - 1)
            t = t - s
            begin = (t - GAMMA) * (t - 1.0) / GAMMA
            inner = t * (1.0 - t) / (GAMMA * (1.0 - GAMMA))
            end = t * (t - GAMMA) / (1.0 - GAMMA)
            for tap in range(taps):
                row = 3 * (tap * steps + s)
                value = begin * seen[row, b] + inner * seen[row + 1, b]
                samples[tap * taken + j, b] = value + end * seen[row + 2, b]


@njit(**COMPILED)
def _without_offset(samples: Array, first: int, own: Array, count: int, rate: int) -> None:
    """Samples of one current behind the offset filter; its first cycle has been there before."""
    now = load(own, NOW)
    back = load(own, BACK)
    before = load(samples, first + rate - 1)
    for j in range(count):
        come = load(samples, first + j)
        store(samples, first + j, now * come - back * before)
        before = come


@njit(**COMPILED)
def _fundamental(
    samples: Array, first: int, circle: Array, heard: Array, count: int, rate: int, length: int
) -> None:
    """Square of the fundamental's RMS over the last `length` samples, sample by sample."""
    real = imag = splat(0.0)
    squared = 2.0 / float(length * length)
    for j in range(count):
        k = j % rate
        come = load(samples, first + j)
        real = real + circle[0, k] * come
        imag = imag + circle[1, k] * come
        if j >= length:
            k = (j - length) % rate
            gone = load(samples, first + j - length)
            real = real - circle[0, k] * gone
            imag = imag - circle[1, k] * gone
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
    used: int,
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
    steps, used, per_cycle : int
        Of the solution: in the window, until all has settled, in a cycle. After that the last cycle
        repeats.
    rate, length : int
        Samples a cycle and in the measuring window.
    filtered : int
        Whether there is a low-pass.
    """
    taken = steps * rate // per_cycle
    count = used * rate // per_cycle
    for tap in range(taps if filtered else 0):
        _low_pass(seen, 3 * tap * steps, own, used, per_cycle)
    _sample(seen, own, samples, taps, steps, used, taken, count, per_cycle / rate)
    for tap in range(taps):
        _without_offset(samples, tap * taken, own, count, rate)
    for signal in range(signals):
        first = signal * taken
        _fundamental(samples, first, circle, heard, count, rate, length)
        for j in range(first + count, first + taken):
            store(heard, j, load(heard, j - rate))


@njit(**COMPILED)
def repeat_settled(seen: Array, done: Index, steps: int, per_cycle: int) -> int:
    """A lane that has settled repeats its last cycle, until the chain has settled, too.

    Parameters
    ----------
    seen : ndarray, (3 taps steps, LANES)
        Changed.
    done : ndarray, (LANES,)
        Steps that each lane has.
    steps, per_cycle : int

    Returns
    -------
    int
        Steps until then.
    """
    used = 0
    for b in range(LANES):
        used = max(used, done[b])
    used = min(steps, used + SETTLING * per_cycle)
    for first in range(0, seen.shape[0], 3 * steps):
        for b in range(LANES):
            for row in range(first + 3 * done[b], first + 3 * used):
                seen[row, b] = seen[row - 3 * per_cycle, b]
    return used


@cache
def compiled() -> int:
    """The address of `pass_through`, for `passes`; compiled where a study has a chain.

    Returns
    -------
    int
    """

    def chain(  # type: ignore[no-untyped-def]  # noqa: PLR0913
        seen,
        own,
        circle,
        samples,
        heard,
        taps,
        signals,
        steps,
        used,
        per_cycle,
        rate,
        length,
        filtered,
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
            used,
            per_cycle,
            rate,
            length,
            filtered,
        )
        return taken

    rows, whole = types.CPointer(types.float64), types.int64
    return callback(whole(*[rows] * 5, *[whole] * 8), chain)


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
    used: Any,
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
    seen, own, circle, samples, heard, taps, signals, steps, used, per_cycle, rate, length, filtered
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
        kind = ir.FunctionType(whole, [number] * 5 + [whole] * 8)
        return builder.call(builder.inttoptr(args[0], kind.as_pointer()), [*arrays, *args[6:]])

    whole = types.int64
    return whole(whole, seen, own, circle, samples, heard, *[whole] * 8), code
