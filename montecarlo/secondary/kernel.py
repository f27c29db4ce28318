"""The compiled pass: TR-BDF2 steps, Newton with the exact Jacobian, LANES samples side by side.

TR-BDF2 (Bank et al., IEEE Trans. CAD 4, 1985; Hosea and Shampine, Appl. Numer. Math. 20, 1996) is L-stable: high
stabilising resistance makes the equations stiff. Both stages have the same implicit weight ALPHA·h:

    m' = m  + ALPHA·h·(F(m) + F(m'))                     at t + GAMMA·h
    m" = W1·m' - W0·m + ALPHA·h·F(m")                    at t + h

with m the flux linkage in units of the knee's, F = (R·i + Aᵀ·diag(R_leg)·A·i)/λ_knee, i = source - i_m(m).

A lane stops moving once its own Newton has converged and is frozen once its own waveform has settled, so a sample's
figures do not depend on which others share its block, on the worker or on the number of workers.
"""

from __future__ import annotations

import numpy as np
from numba import njit

from montecarlo.quantities import Array
from montecarlo.secondary import workspace as at
from montecarlo.secondary.lanes import LANES, Lanes, any_positive, load, size, splat, square_root, store, where_less
from montecarlo.secondary.restraint import operating_quantity
from montecarlo.secondary.workspace import COMPILED, SMALL_A, Cores, Index, Meter, Network, Pace, fill

GAMMA = 2 - np.sqrt(2)
ALPHA = GAMMA / 2
_W1, _W0 = 1 / (GAMMA * (2 - GAMMA)), (1 - GAMMA) ** 2 / (GAMMA * (2 - GAMMA))
_INNER = 1 / (6 * GAMMA * (1 - GAMMA))                     # weights of a step's three points in an integral, exact
_END = (1 / 3 - GAMMA / 2) / (1 - GAMMA)                   # for a parabola
_BEGIN = 1 - _INNER - _END
POINTS = (_BEGIN, 0.0), (_INNER, GAMMA), (_END, 1.0)       # weight and place of each
_TOLERANCE = 2e-5            # last Newton move, in knee flux; Newton squares it, so the error left is below 1e-8
_MAX_ITERATIONS = 60
_TILE = 64                   # points of the sources that are copied at a time


# --- one stage --------------------------------------------------------------------------------------------


@njit(**COMPILED)
def _clip(value: Lanes, bound: Lanes) -> Lanes:
    value = where_less(value, bound, value, bound)
    lower = splat(0.0) - bound
    return where_less(lower, value, value, lower)


@njit(**COMPILED)
def _total(w: Array, group: int, member: Index, sign: Array, row: int) -> Lanes:
    """Signed sum of a group's rows over the members of one of the network's lists."""
    total = splat(0.0)
    for k in range(member[row, 0]):
        total = total + sign[row, k] * load(w, group + member[row, 1 + k])
    return total


@njit(**COMPILED)
def _excite(w: Array, c: int, power: int) -> None:
    """Current that excitation leaves and its slope, CT c at the iterate; the stops follow a move one way."""
    m = load(w, at.NEXT + c)
    square, even, bits = m * m, splat(1.0), power          # m^(S-1), S - 1 = 2·power
    while bits > 0:
        if bits & 1:
            even = even * square
        square = square * square
        bits >>= 1
    moved = m - load(w, at.FLUX + c)
    slope1, slope2 = load(w, at.SLOPE1 + c), load(w, at.SLOPE2 + c)
    bound1, bound2 = load(w, at.BOUND1 + c), load(w, at.BOUND2 + c)
    stop1 = load(w, at.STOP1 + c) + slope1 * moved
    stop2 = load(w, at.STOP2 + c) + slope2 * moved
    linear = load(w, at.LINEAR + c)
    steep = load(w, at.STEEP + c) * even
    exciting = (linear + steep) * m + _clip(stop1, bound1) + _clip(stop2, bound2)
    store(w, at.CURRENT + c, load(w, at.SOURCE + c) - exciting)
    store(w, at.SLOPE + c, linear + (2.0 * power + 1.0) * steep + where_less(size(stop1), bound1, slope1, splat(0.0))
          + where_less(size(stop2), bound2, slope2, splat(0.0)))


@njit(**COMPILED)
def _currents(w: Array, legs: int, member: Index, sign: Array, power: Index) -> None:
    """Secondary currents, leg currents and MOVE = weight·F at the iterate."""
    for c in range(power.size):
        _excite(w, c, power[c])
    for leg in range(legs):
        total = _total(w, at.CURRENT, member, sign, leg)
        store(w, at.LEG + leg, total)
        store(w, at.LOAD + leg, total * load(w, at.OHM + leg))
    for c in range(power.size):
        volts = load(w, at.SERIES + c) * load(w, at.CURRENT + c) + _total(w, at.LOAD, member, sign, legs + c)
        store(w, at.MOVE + c, volts * load(w, at.GAIN + c))


@njit(**COMPILED)
def _eliminate(w: Array, legs: int, places: int, member: Index, sign: Array) -> None:
    """The stage's residual and Jacobian, I + D + G·Aᵀ·R_leg·A·diag(slope) with D = diag(G·R·slope): by Woodbury a
    system of the size of the legs, I + √R_leg·A·diag(G·slope/(1 + D))·Aᵀ·√R_leg. R_leg = 0 is no special case."""
    for c in range(places):
        slope, gain = load(w, at.SLOPE + c), load(w, at.GAIN + c)
        inverse = 1.0 / (1.0 + load(w, at.SERIES + c) * gain * slope)
        pull = (load(w, at.NEXT + c) - load(w, at.MOVE + c) - load(w, at.RHS + c)) * inverse
        store(w, at.PULL + c, pull)
        store(w, at.SLOPE + c, slope * pull)
        store(w, at.DIAG + c, gain * inverse)
        store(w, at.TIE + c, gain * slope * inverse)
    for p in range(legs):
        root = load(w, at.ROOT + p)
        store(w, at.LOAD + p, root * _total(w, at.SLOPE, member, sign, p))
        for q in range(p + 1):
            pair = p * legs + q
            tie = _total(w, at.TIE, member, sign, legs + places + pair)
            store(w, at.FACTOR + pair, root * load(w, at.ROOT + q) * tie)


@njit(**COMPILED)
def _substitute(w: Array, legs: int) -> None:
    """LOAD becomes √R_leg·(I + S)⁻¹·LOAD. S is positive semidefinite, so L·D·Lᵀ needs no pivots; on the diagonal
    stands 1/D, below it L."""
    for p in range(legs):
        right = load(w, at.LOAD + p)
        pivot = 1.0 + load(w, at.FACTOR + p * legs + p)
        for q in range(p):
            entry = load(w, at.FACTOR + p * legs + q)        # L·D here
            for r in range(q):
                entry = entry - load(w, at.FACTOR + p * legs + r) * load(w, at.FACTOR + q * legs + r)
            store(w, at.FACTOR + p * legs + q, entry)
        for q in range(p):
            entry = load(w, at.FACTOR + p * legs + q)
            lower = entry * load(w, at.FACTOR + q * legs + q)
            store(w, at.FACTOR + p * legs + q, lower)
            pivot = pivot - entry * lower
            right = right - lower * load(w, at.LOAD + q)
        store(w, at.FACTOR + p * legs + p, 1.0 / pivot)
        store(w, at.LOAD + p, right)
    for p in range(legs - 1, -1, -1):
        right = load(w, at.LOAD + p) * load(w, at.FACTOR + p * legs + p)
        for q in range(p + 1, legs):
            right = right - load(w, at.FACTOR + q * legs + p) * load(w, at.LOAD + q)
        store(w, at.LOAD + p, right)
    for p in range(legs):
        store(w, at.LOAD + p, load(w, at.LOAD + p) * load(w, at.ROOT + p))


@njit(**COMPILED)
def _newton(w: Array, legs: int, places: int, member: Index, sign: Array) -> bool:
    """One Newton move of the lanes that still move; whether any of them is to move again."""
    _eliminate(w, legs, places, member, sign)
    _substitute(w, legs)
    active, peak = load(w, at.ACTIVE), splat(0.0)
    for c in range(places):
        pull = load(w, at.PULL + c) - load(w, at.DIAG + c) * _total(w, at.LOAD, member, sign, legs + c)
        m = load(w, at.NEXT + c)
        store(w, at.NEXT + c, where_less(splat(0.0), active, _clip(m - pull, load(w, at.LIMIT + c)), m))
        pull = size(pull)
        peak = where_less(pull, peak, peak, pull) + 0.0 * peak               # the largest; not a number stays
    active = where_less(splat(_TOLERANCE), peak, active, splat(0.0))
    store(w, at.ACTIVE, active)
    store(w, at.PEAK, peak)
    return bool(any_positive(active))


@njit(**COMPILED)
def _accept(w: Array, places: int) -> None:
    """The iterate becomes the state, the stops follow, and the last move is noted for lanes not settled yet."""
    for c in range(places):
        m = load(w, at.NEXT + c)
        moved = m - load(w, at.FLUX + c)
        store(w, at.STOP1 + c, _clip(load(w, at.STOP1 + c) + load(w, at.SLOPE1 + c) * moved, load(w, at.BOUND1 + c)))
        store(w, at.STOP2 + c, _clip(load(w, at.STOP2 + c) + load(w, at.SLOPE2 + c) * moved, load(w, at.BOUND2 + c)))
        store(w, at.FLUX + c, m)
    worst, peak = load(w, at.WORST), where_less(splat(0.0), load(w, at.LIVE), load(w, at.PEAK), splat(0.0))
    store(w, at.WORST, where_less(peak, worst, worst, peak) + 0.0 * worst)


@njit(**COMPILED)
def _stage(w: Array, legs: int, member: Index, sign: Array, power: Index, second: bool) -> None:
    """Predict by a straight line through the last two points, then Newton until no lane moves."""
    for c in range(power.size):
        m, m2 = load(w, at.FLUX + c), load(w, at.BEFORE + c)
        trend = (m - m2) * load(w, at.LIVE)
        if second:
            store(w, at.RHS + c, _W1 * m - _W0 * m2)
            store(w, at.NEXT + c, m + trend * ((1 - GAMMA) / GAMMA))
        else:
            store(w, at.RHS + c, m + load(w, at.MOVE + c))
            store(w, at.NEXT + c, m + trend * GAMMA)
            store(w, at.BEFORE + c, m)
    store(w, at.ACTIVE, load(w, at.LIVE))
    for _ in range(_MAX_ITERATIONS):
        _currents(w, legs, member, sign, power)
        if not _newton(w, legs, power.size, member, sign):
            break
    _accept(w, power.size)


# --- one block --------------------------------------------------------------------------------------------


@njit(**COMPILED)
def _fetch(tile: Array, wave: Array, first: int, point: int) -> None:
    """The next points of the block's sources, lanes side by side: row = point·channels + channel."""
    channels = wave.shape[1]
    for k in range(min(_TILE, wave.shape[2] - point)):
        for channel in range(channels):
            for b in range(LANES):
                tile[k * channels + channel, b] = wave[first + b, channel, point + k]


@njit(**COMPILED)
def _point(index: int, lead: int, points: int, loop_from: int) -> int:
    """Which point of the sources stands for `index`: before the window its first cycle, after its end the last part."""
    if index <= 0:
        return index % (2 * lead)
    return index if index < points else loop_from + (index - points) % (points - loop_from)


@njit(**COMPILED)
def _take_source(w: Array, tile: Array, row: int, channel: Index) -> None:
    for c in range(channel.size):
        store(w, at.SOURCE + c, load(tile, row + channel[c]) * load(w, at.TURNS + c))


@njit(**COMPILED)
def _measure(w: Array, signal: int, now_at: int, k: int, window: Array, sums: Array, circle: Array,
             quantity: int) -> Lanes:
    """One-cycle true RMS, RMS of the fundamental, or peak over root two, up to this step, step k of its cycle. By three
    points a step: the spill of a saturating CT comes in pulses hardly longer than a step. circle (6, steps):
    `transient.circle`."""
    steps, row = circle.shape[1], 2 * signal
    before, inner, now = load(w, at.BEGIN + signal), load(w, at.INNER + signal), load(w, now_at)
    if quantity == at.PEAK_VALUE:
        inner, now = size(inner), size(now)
        store(window, row * steps + k, where_less(inner, now, now, inner) + 0.0 * inner)
        value = splat(0.0)
        for j in range(steps):
            past = load(window, row * steps + j)
            value = where_less(value, past, past, value) + 0.0 * past
        return value * np.sqrt(0.5)
    if quantity == at.FUNDAMENTAL:
        real = before * circle[0, k] + inner * circle[1, k] + now * circle[2, k]
        imag = before * circle[3, k] + inner * circle[4, k] + now * circle[5, k]
        real_sum = load(sums, row) + (real - load(window, row * steps + k))
        imag_sum = load(sums, row + 1) + (imag - load(window, (row + 1) * steps + k))
        store(window, (row + 1) * steps + k, imag)
        store(sums, row + 1, imag_sum)
        value = 2.0 * (real_sum * real_sum + imag_sum * imag_sum) / float(steps * steps)
    else:
        real = _BEGIN * before * before + _INNER * inner * inner + _END * now * now
        real_sum = load(sums, row) + (real - load(window, row * steps + k))
        value = where_less(real_sum, splat(0.0), splat(0.0), real_sum) / float(steps)
    store(window, row * steps + k, real)
    store(sums, row, real_sum)
    return square_root(value)


@njit(**COMPILED)
def _settle(w: Array, history: Array, s: int, pace: Pace, signals: int, done: Index) -> bool:
    """Freeze the lanes in which no measured value has changed over the last cycle; whether any lane goes on."""
    for b in range(LANES):
        change = 0.0
        for e in range(signals):
            now, before = history[e * pace.steps + s, b], history[e * pace.steps + s - pace.per_cycle, b]
            change = max(change, abs(now - before) / (now + SMALL_A))
        if w[at.LIVE, b] > 0.0 and not change >= pace.settle:
            w[at.LIVE, b], done[b] = 0.0, s + 1
    return bool(np.any(w[at.LIVE] > 0.0))


@njit(**COMPILED)
def _sustained(series: Array, hold: int, drop_off: float) -> float:
    """The highest pick-up that `hold` steps on end would not reset: from a point that exceeds it, no value before the
    hold's end falls below `drop_off` times it; 0 for a hold that outlasts the series. A queue of rising values keeps
    each run's smallest. Below 0 where a margin over the bias was never there."""
    n = series.size
    queue = np.empty(n, np.int64)
    head, tail, best = 0, 0, -np.inf if n > hold else 0.0
    for k in range(n):
        while tail > head and series[queue[tail - 1]] >= series[k]:
            tail -= 1
        queue[tail] = k
        tail += 1
        if queue[head] < k - hold:
            head += 1
        if k >= hold:
            best = max(best, min(series[queue[head]] / drop_off, series[k - hold]))
    return best


@njit(**COMPILED)
def _judge(history: Array, done: Index, lead: int, meter: Meter, pickup: Array) -> None:
    """What each element sustains for each form of bias and each hold, from what was measured (signals·steps, LANES); a
    frozen lane keeps its last value. pickup (LANES, elements, forms, holds)."""
    steps = history.shape[0] // meter.signals.size
    series = np.empty((meter.signals.size, steps - lead))
    bias = np.zeros(steps - lead)
    for b in range(LANES):
        for e in range(meter.signals.size):
            series[e] = history[e * steps + lead:(e + 1) * steps, b]
            series[e, done[b] - lead:] = history[e * steps + done[b] - 1, b]
        for e in range(meter.element.size):
            bias[:] = 0.0
            for j in range(meter.bias.shape[1]):
                if meter.bias[e, j] >= 0:
                    end = meter.share[e, j] * series[meter.bias[e, j]]
                    bias = np.maximum(bias, end) if meter.largest else bias + end
            for v in range(meter.forms.shape[0]):
                form = meter.forms[v] if meter.bias[e, 0] >= 0 else np.zeros(4)
                quantity = operating_quantity(series[meter.element[e]], bias, int(form[0]), form[1], form[2], form[3])
                for d in range(meter.holds.size):
                    pickup[b, e, v, d] = _sustained(quantity, meter.holds[d], meter.drop_off)


@njit(**COMPILED)
def integrate(wave: Array, channel: Index, cores: Cores, net: Network, pace: Pace, meter: Meter, pickup: Array,
              moves: Array, trace: Array) -> None:
    """Every block of lanes from its start to the end of the window; see `transient.solve` for the meaning.

    wave (n, channels, points), n a multiple of LANES. Writes pickup (n, elements, forms, holds), moves (n,) the largest
    last Newton move, trace (n, legs, steps) if it is not empty."""
    n, channels, points = wave.shape
    signals, lead, steps = meter.signals.size, pace.lead, pace.steps
    legs, member, sign, power = net.legs, net.member, net.sign, cores.power      # unpacked: counting references costs
    rows, circle, quantity = meter.signals, meter.circle, meter.quantity
    w, tile = np.zeros((at.ROWS, LANES)), np.empty((_TILE * channels, LANES))
    window, sums = np.empty((2 * signals * pace.per_cycle, LANES)), np.empty((2 * signals, LANES))
    history = np.empty((signals * steps, LANES))
    done = np.empty(LANES, np.int64)
    for first in range(0, n, LANES):
        fill(w, cores, first, ALPHA * pace.step_s)
        window[:], sums[:], done[:] = 0.0, 0.0, steps
        tile_start = 0
        _fetch(tile, wave, first, 0)
        _take_source(w, tile, 0, channel)
        _currents(w, legs, member, sign, power)
        for s in range(-pace.warm, steps):
            for index in range(2 * s + 1, 2 * s + 3):
                point = _point(index, lead, points, pace.loop_from)
                if not tile_start <= point < tile_start + _TILE:
                    tile_start = point
                    _fetch(tile, wave, first, point)
                _take_source(w, tile, (point - tile_start) * channels, channel)
                for e in range(signals):
                    store(w, at.BEGIN + e, load(w, at.INNER + e))
                    store(w, at.INNER + e, load(w, rows[e]))
                _stage(w, legs, member, sign, power, index == 2 * s + 2)
                _currents(w, legs, member, sign, power)
            for e in range(signals if s >= 0 else 0):
                value = _measure(w, e, rows[e], s % pace.per_cycle, window, sums, circle, quantity)
                store(history, e * steps + s, value)
            if trace.size > 0 and s >= 0:
                for leg in range(legs):
                    trace[first:first + LANES, leg, s] = w[at.LEG + leg]
            if pace.settle > 0.0 and s >= lead + 2 * pace.per_cycle and (s + 1 - lead) % pace.per_cycle == 0 \
                    and not _settle(w, history, s, pace, signals, done):
                break
        moves[first:first + LANES] = w[at.WORST]
        _judge(history, done, lead, meter, pickup[first:first + LANES])
