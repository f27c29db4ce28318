"""What is measured of a current while it is integrated, and what the elements sustain of it;
compiled, in lanes."""

from __future__ import annotations

import numpy as np

from montecarlo.quantities import Array, Index
from montecarlo.quantities.compiled import njit
from montecarlo.secondary import workspace as at
from montecarlo.secondary.lanes import LANES, Lanes, load, splat, square_root, store, where_less
from montecarlo.secondary.restraint import LARGEST, PRODUCT, SUM, UNBIASED
from montecarlo.secondary.workspace import COMPILED, GAMMA, Meter

RMS, FUNDAMENTAL, PEAK_VALUE = 0, 1, 2
QUANTITIES = {"rms": RMS, "fundamental": FUNDAMENTAL, "peak": PEAK_VALUE}  # by `Relay.measure`

_INNER = 1 / (6 * GAMMA * (1 - GAMMA))  # weights of a step's three points in an integral, exact
_END = (1 / 3 - GAMMA / 2) / (1 - GAMMA)  # for a parabola
_BEGIN = 1 - _INNER - _END
POINTS = (_BEGIN, 0.0), (_INNER, GAMMA), (_END, 1.0)  # weight and place of each


@njit(**COMPILED)
def measure(  # noqa: PLR0913
    w: Array,
    signal: int,
    now_at: int,
    k: int,
    window: Array,
    sums: Array,
    circle: Array,
    quantity: int,
) -> Lanes:
    """Square of one cycle's true RMS, RMS of the fundamental, or peak over root two, up to this
    step. [A²]

    By three points a step: the spill of a saturating CT comes in pulses hardly longer than a step.

    Parameters
    ----------
    w : ndarray, (ROWS, LANES)
        The workspace.
    signal : int
        Which one is measured.
    now_at : int
        Row of its current at the step's end.
    k : int
        The step in its cycle.
    window, sums : ndarray, (2 signals steps, LANES) and (2 signals, LANES)
        The last cycle and its sums; changed.
    circle : ndarray, (6, steps)
        `measurement.circle`.
    quantity : int
        One of `QUANTITIES`.

    Returns
    -------
    Lanes
    """
    steps, row = circle.shape[1], 2 * signal
    before, inner, now = load(w, at.BEGIN + signal), load(w, at.INNER + signal), load(w, now_at)
    if quantity == PEAK_VALUE:
        inner, now = inner * inner, now * now
        store(window, row * steps + k, where_less(inner, now, now, inner) + 0.0 * inner)
        value = splat(0.0)
        for j in range(steps):
            past = load(window, row * steps + j)
            value = where_less(value, past, past, value) + 0.0 * past
        return value * 0.5
    if quantity == FUNDAMENTAL:
        real = before * circle[0, k] + inner * circle[1, k] + now * circle[2, k]
        imag = before * circle[3, k] + inner * circle[4, k] + now * circle[5, k]
        real_sum = load(sums, row) + (real - load(window, row * steps + k))
        imag_sum = load(sums, row + 1) + (imag - load(window, (row + 1) * steps + k))
        store(window, (row + 1) * steps + k, imag)
        store(sums, row + 1, imag_sum)
        value = (real_sum * real_sum + imag_sum * imag_sum) * (2.0 / float(steps * steps))
    else:
        real = _BEGIN * before * before + _INNER * inner * inner + _END * now * now
        real_sum = load(sums, row) + (real - load(window, row * steps + k))
        value = where_less(real_sum, splat(0.0), splat(0.0), real_sum) * (1.0 / float(steps))
    store(window, row * steps + k, real)
    store(sums, row, real_sum)
    return value


@njit(**COMPILED)
def peak_after_jump(w: Array, signal: int, now_at: int, k: int, window: Array, steps: int) -> None:
    """Counts what a current has jumped to as the peak of the step before; the steps after hold
    their inner and last points alone.

    Parameters
    ----------
    w : ndarray, (ROWS, LANES)
        The workspace.
    signal, now_at : int
        Which signal, and the row of its current.
    k : int
        The step before, in its cycle.
    window : ndarray, (2 signals steps, LANES)
        Changed.
    steps : int
        A cycle.
    """
    row, now = 2 * signal * steps + k, load(w, now_at)
    now, highest = now * now, load(window, row)
    store(window, row, where_less(highest, now, now, highest) + 0.0 * now)


@njit(**COMPILED)
def sustained(
    series: Array, begin: int, end: int, hold: int, drop_off: float, ahead: Array
) -> Lanes:
    """The highest level that `hold` steps on end would not reset.

    From a row that exceeds it none before the hold's end falls below `drop_off` times it; 0 for a
    hold that outlasts the rows, below 0 where a margin over the bias was never there.

    The least over a window is the least of what is left of one stretch of hold + 1 rows and of what
    has come of the next (van Herk, Pattern Recognition Letters 13, 1992).

    Parameters
    ----------
    series : ndarray, (rows, LANES)
        What is measured, step by step.
    begin, end : int
        Its rows that count.
    hold : int
        Steps.
    drop_off : float
    ahead : ndarray, (rows, LANES)
        Scratch.

    Returns
    -------
    Lanes
        In the unit of `series`.
    """
    best = splat(-np.inf if end - begin > hold else 0.0)
    length, slack = hold + 1, 1.0 / drop_off
    for start in range(begin, end - hold, length):
        left = splat(np.inf)
        for k in range(start + hold, start - 1, -1):
            left = _least(left, load(series, k))
            store(ahead, k - start, left)
        come = splat(np.inf)
        for k in range(start, min(start + length, end - hold)):
            if k > start:
                come = _least(come, load(series, k + hold))
            held = _least(_least(come, load(ahead, k - start)) * slack, load(series, k))
            best = where_less(best, held, held, best)
    return best


@njit(**COMPILED)
def _least(one: Lanes, other: Lanes) -> Lanes:
    return where_less(other, one, other, one)


@njit(**COMPILED)
def _above_bias(difference: Lanes, bias: Lanes, form: Array, v: int, least: Lanes) -> Lanes:
    """`restraint.operating_quantity`, for lanes; `least`: a slope that there is at least."""
    turned = bias - form[v, 3]
    turned = where_less(turned, splat(0.0), splat(0.0), turned)
    held = form[v, 1] * bias + (form[v, 2] - form[v, 1]) * turned
    held = where_less(held, least * bias, least * bias, held)
    if form[v, 0] == UNBIASED:
        return difference
    if form[v, 0] == SUM:
        return difference - held
    # not a number stays
    return where_less(held, difference, difference, splat(0.0)) + 0.0 * (difference + held)


@njit(**COMPILED)
def _restraining(history: Array, meter: Meter, e: int, s: int) -> Lanes:
    """Bias current of element e at step s. [A]"""
    bias, steps = splat(0.0), history.shape[0] // meter.signals.size
    if meter.combine[e] == PRODUCT:  # `restraint.scalar_product`
        through = load(history, meter.bias[e, 0] * steps + s)
        square = 0.25 * (through - load(history, meter.element[e] * steps + s))
        return square_root(_most(square, splat(0.0)))
    for j in range(meter.bias.shape[1]):
        if meter.bias[e, j] >= 0:
            end = meter.share[e, j] * square_root(load(history, meter.bias[e, j] * steps + s))
            bias = _most(bias, end) if meter.combine[e] == LARGEST else bias + end
    return bias


@njit(**COMPILED)
def _most(one: Lanes, other: Lanes) -> Lanes:
    # not a number stays
    return where_less(one, other, other, one) + 0.0 * other


@njit(**COMPILED)
def _quantity(
    difference: Lanes, bias: Lanes, forms: Array, v: int, on: Array, row: int, slope: float
) -> Lanes:
    """What an element compares with its pick-up; row: of its gate in `on`, below 0 for none."""
    if row < 0:
        return _above_bias(difference, bias, forms, v, splat(0.0))
    held = load(on, row)
    if slope < np.inf:
        return _above_bias(difference, bias, forms, v, slope * held)
    free = _above_bias(difference, bias, forms, v, splat(0.0))
    blocked = where_less(splat(0.0), free, splat(0.0), free) + 0.0 * free  # not a number stays
    return where_less(splat(0.5), held, blocked, free)


@njit(**COMPILED)
def _held(  # noqa: PLR0913
    history: Array,
    mine: int,
    scratch: Array,
    whole: bool,
    begin: int,
    end: int,
    hold: int,
    drop_off: float,
) -> Lanes:
    """What an element sustains from one step to another; of `scratch`, or of its squares alone."""
    if whole:
        row = 3 * (scratch.shape[0] // 4)
        return sustained(
            scratch,
            row + begin,
            row + end,
            hold,
            drop_off,
            scratch,
        )
    return square_root(sustained(history, mine + begin, mine + end, hold, drop_off**2, scratch))


@njit(**COMPILED)
def judge(  # noqa: C901, PLR0913
    history: Array,
    done: Index,
    lead: int,
    meter: Meter,
    on: Array,
    scratch: Array,
    first: int,
    pickup: Array,
    earlier: Array,
    from_row: int,
) -> None:
    """What each element sustains for each form of bias and each hold. A frozen lane keeps its last
    value.

    Parameters
    ----------
    history : ndarray, (signals steps, LANES)
        Squares that were measured (A²).
    done : ndarray, (LANES,)
        Steps that each lane has.
    lead : int
        Steps before the event, which do not count.
    meter : Meter
    on : ndarray, (gates slots steps, LANES)
        Whether each gate holds back each element that it looks at.
    scratch : ndarray, (4 steps, LANES)
    first : int
        Sample of the first lane.
    pickup : ndarray, (n, elements, forms, holds)
        Written (A).
    earlier : ndarray, (n, elements, forms, holds)
        Written unless it is empty: what each sustains before the event (A).
    from_row : int
        The first step that counts there.
    """
    steps, looks_back = history.shape[0] // meter.signals.size, earlier.size > 0
    start = from_row if looks_back else lead
    for b in range(LANES):
        for e in range(meter.signals.size):
            for s in range(done[b], steps):
                history[e * steps + s, b] = history[e * steps + done[b] - 1, b]
    gates = meter.gates
    for e in range(meter.element.size):
        mine, biased = meter.element[e] * steps, meter.bias[e, 0] >= 0
        slot = gates.slot[e]
        whole = biased or slot >= 0  # else the squares will do
        for s in range(start, steps if whole else start):
            store(scratch, steps + s, _restraining(history, meter, e, s))
            store(scratch, 2 * steps + s, square_root(load(history, mine + s)))
        for v in range(meter.forms.shape[0]):
            gate = int(meter.forms[v, 4]) - 1
            row, slope = -steps, 0.0
            if gate >= 0 and slot >= 0:
                row, slope = (gate * gates.side.size + slot) * steps, gates.slope[gate]
            for s in range(start, steps if whole else start):
                difference, bias = load(scratch, 2 * steps + s), load(scratch, steps + s)
                value = _quantity(difference, bias, meter.forms, v, on, row + s, slope)
                store(scratch, 3 * steps + s, value)
            for d in range(meter.holds.size):
                hold = meter.holds[d]
                best = _held(
                    history,
                    mine,
                    scratch,
                    whole,
                    lead,
                    steps,
                    hold,
                    meter.drop_off,
                )
                store(scratch, 0, best)
                for b in range(LANES):
                    pickup[first + b, e, v, d] = scratch[0, b]
                if looks_back:
                    best = _held(
                        history,
                        mine,
                        scratch,
                        whole,
                        start,
                        lead,
                        hold,
                        meter.drop_off,
                    )
                    store(scratch, 0, best)
                    for b in range(LANES):
                        earlier[first + b, e, v, d] = scratch[0, b]
