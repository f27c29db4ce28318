"""The compiled pass: TR-BDF2 steps, Newton with the exact Jacobian, LANES samples side by side.

TR-BDF2 (Bank et al., IEEE Trans. CAD 4, 1985; Hosea and Shampine, Appl. Numer. Math. 20, 1996) is
L-stable: high stabilising resistance makes the equations stiff. Both stages have the same implicit
weight ALPHA·h:

    m' = m  + ALPHA·h·(F(m) + F(m'))                     at t + GAMMA·h
    m" = W1·m' - W0·m + ALPHA·h·F(m")                    at t + h

with m the flux linkage in units of the knee's, F = (R·i + Aᵀ·diag(R_leg)·A·i)/λ_knee, i = source -
i_m(m).

A lane stops moving once its own Newton has converged and is frozen once its own waveform has
settled, so a sample's figures do not depend on which others share its block, on the worker or on
the number of workers."""

from __future__ import annotations

import numpy as np

from montecarlo.quantities import Array, Index
from montecarlo.quantities.compiled import njit
from montecarlo.secondary import workspace as at
from montecarlo.secondary.judging import PEAK_VALUE, judge, measure, peak_after_jump
from montecarlo.secondary.lanes import (
    LANES,
    Lanes,
    any_positive,
    load,
    size,
    splat,
    store,
    where_less,
)
from montecarlo.secondary.workspace import (
    ALLOCATES,
    COMPILED,
    GAMMA,
    SMALL_A,
    Cores,
    Meter,
    Network,
    Pace,
    aligned,
    fill,
    to_power,
    total,
)

ALPHA = GAMMA / 2
_W1, _W0 = 1 / (GAMMA * (2 - GAMMA)), (1 - GAMMA) ** 2 / (GAMMA * (2 - GAMMA))
_STRAIGHT1, _BENT1 = (
    GAMMA / ALPHA,
    GAMMA**2 / (2 * ALPHA * (1 - GAMMA)),
)  # a start from two values of F
_STRAIGHT2, _BENT2 = (1 - GAMMA) / ALPHA, (1 - GAMMA) ** 2 / (2 * ALPHA * GAMMA)
# last Newton move, in knee flux; Newton squares it, so the error left is of 1e-6
_TOLERANCE = 1e-3
_MAX_ITERATIONS = 60
_TILE = 16  # points of the sources that are copied at a time


# --- one stage ----------------------------------------------------------------


@njit(**COMPILED)
def _clip(value: Lanes, bound: Lanes) -> Lanes:
    value = where_less(value, bound, value, bound)
    lower = splat(0.0) - bound
    return where_less(lower, value, value, lower)


@njit(**COMPILED)
def _excite(w: Array, c: int, power: int, again: bool) -> None:
    """Current that excitation leaves and the slope of the exciting current, CT c at the iterate;
    the stops follow a move one way. From the second iteration on a lane that has converged keeps
    its current."""
    m = load(w, at.NEXT + c)
    moved = m - load(w, at.FLUX + c)
    first_slope, second_slope = load(w, at.FIRST_SLOPE + c), load(w, at.SECOND_SLOPE + c)
    bound1, bound2 = load(w, at.BOUND1 + c), load(w, at.BOUND2 + c)
    stop1 = load(w, at.STOP1 + c) + first_slope * moved
    stop2 = load(w, at.STOP2 + c) + second_slope * moved
    linear = load(w, at.LINEAR + c)
    steep = load(w, at.STEEP + c) * to_power(m * m, power)  # m^(S-1), S - 1 = 2·power
    current = load(w, at.SOURCE + c) - (
        (linear + steep) * m + _clip(stop1, bound1) + _clip(stop2, bound2)
    )
    if again:
        current = where_less(splat(0.0), load(w, at.ACTIVE), current, load(w, at.CURRENT + c))
    store(w, at.CURRENT + c, current)
    store(
        w,
        at.SLOPE + c,
        linear
        + (2.0 * power + 1.0) * steep
        + where_less(size(stop1), bound1, first_slope, splat(0.0))
        + where_less(size(stop2), bound2, second_slope, splat(0.0)),
    )


@njit(**COMPILED)
def _drive(w: Array, c: int, list_: int, member: Index, sign: Array) -> Lanes:
    """weight·F of CT c from its current and the legs' voltages in LOAD."""
    return load(w, at.OWN + c) * load(w, at.CURRENT + c) + load(w, at.GAIN + c) * total(
        w, at.LOAD, member, sign, list_
    )


@njit(**COMPILED)
def _sum_legs(w: Array, legs: int, member: Index, sign: Array) -> None:
    for leg in range(legs):
        store(w, at.LEG + leg, total(w, at.CURRENT, member, sign, leg))


@njit(**COMPILED)
def _voltages(w: Array, legs: int, member: Index, sign: Array) -> None:
    for leg in range(legs):
        store(w, at.LOAD + leg, load(w, at.OHM + leg) * total(w, at.CURRENT, member, sign, leg))


@njit(**COMPILED)
def _eliminate(
    w: Array, legs: int, member: Index, sign: Array, filled: Index, power: Index, again: bool
) -> None:
    """The stage's residual and Jacobian, I + D + G·Aᵀ·R_leg·A·diag(slope) with D = diag(G·R·slope):
    by Woodbury a system of the size of the legs, I + √R_leg·A·diag(G·slope/(1 + D))·Aᵀ·√R_leg.
    R_leg = 0 is no special case."""
    places, product = power.size, splat(1.0)  # one division inverts all of 1 + D
    for c in range(places):
        _excite(w, c, power[c], again)
        diagonal = 1.0 + load(w, at.OWN + c) * load(w, at.SLOPE + c)
        store(w, at.PULL + c, product)
        store(w, at.DIAG + c, diagonal)
        product = product * diagonal
    _voltages(w, legs, member, sign)
    rest = 1.0 / product
    for c in range(places - 1, -1, -1):
        slope, inverse = load(w, at.SLOPE + c), rest * load(w, at.PULL + c)
        rest = rest * load(w, at.DIAG + c)
        pull = (
            load(w, at.NEXT + c) - _drive(w, c, legs + c, member, sign) - load(w, at.RHS + c)
        ) * inverse
        weight = load(w, at.GAIN + c) * inverse
        store(w, at.PULL + c, pull)
        store(w, at.PUSH + c, slope * pull)
        store(w, at.DIAG + c, weight)
        store(w, at.TIE + c, weight * slope)
    for p in range(legs):
        root = load(w, at.ROOT + p)
        store(w, at.LOAD + p, root * total(w, at.PUSH, member, sign, p))
        for q in range(p + 1):
            pair = p * legs + q
            if filled[pair]:
                tie = total(w, at.TIE, member, sign, legs + places + pair)
                store(w, at.FACTOR + pair, root * load(w, at.ROOT + q) * tie)


@njit(**COMPILED)
def _substitute(w: Array, legs: int, filled: Index) -> None:  # noqa: C901
    """LOAD becomes √R_leg·(I + S)⁻¹·LOAD. S is positive semidefinite, so L·D·Lᵀ needs no pivots; on
    the diagonal stands 1/D, below it L. Entries that stay zero are passed over."""
    for p in range(legs):
        right = load(w, at.LOAD + p)
        pivot = 1.0 + load(w, at.FACTOR + p * legs + p)
        for q in range(p):
            if filled[p * legs + q]:
                entry = load(w, at.FACTOR + p * legs + q)  # L·D here
                for r in range(q):
                    if filled[p * legs + r] and filled[q * legs + r]:
                        entry = entry - load(w, at.FACTOR + p * legs + r) * load(
                            w, at.FACTOR + q * legs + r
                        )
                store(w, at.FACTOR + p * legs + q, entry)
        for q in range(p):
            if filled[p * legs + q]:
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
            if filled[q * legs + p]:
                right = right - load(w, at.FACTOR + q * legs + p) * load(w, at.LOAD + q)
        store(w, at.LOAD + p, right)
    for p in range(legs):
        store(w, at.LOAD + p, load(w, at.LOAD + p) * load(w, at.ROOT + p))


@njit(**COMPILED)
def _newton(
    w: Array, legs: int, member: Index, sign: Array, filled: Index, power: Index, again: bool
) -> bool:
    """One Newton move of the lanes that still move; whether any of them is to move again. The
    currents follow along the tangent, so that a last move needs no further look at the
    characteristic."""
    places = power.size
    _eliminate(w, legs, member, sign, filled, power, again)
    _substitute(w, legs, filled)
    active, peak = load(w, at.ACTIVE), splat(0.0)
    for c in range(places):
        pull = load(w, at.PULL + c) - load(w, at.DIAG + c) * total(
            w, at.LOAD, member, sign, legs + c
        )
        m = load(w, at.NEXT + c)
        to = where_less(splat(0.0), active, _clip(m - pull, load(w, at.LIMIT + c)), m)
        store(w, at.NEXT + c, to)
        store(w, at.CURRENT + c, load(w, at.CURRENT + c) - load(w, at.SLOPE + c) * (to - m))
        pull = size(pull)
        # the largest; not a number stays
        peak = where_less(pull, peak, peak, pull) + 0.0 * peak
    active = where_less(splat(_TOLERANCE), peak, active, splat(0.0))
    store(w, at.ACTIVE, active)
    store(w, at.PEAK, peak)
    return bool(any_positive(active))


@njit(**COMPILED)
def _keep(w: Array, places: int) -> None:
    """What the last stage found becomes the state: its flux, and the stops follow."""
    for c in range(places):
        m, moved = load(w, at.NEXT + c), load(w, at.NEXT + c) - load(w, at.FLUX + c)
        store(
            w,
            at.STOP1 + c,
            _clip(
                load(w, at.STOP1 + c) + load(w, at.FIRST_SLOPE + c) * moved, load(w, at.BOUND1 + c)
            ),
        )
        store(
            w,
            at.STOP2 + c,
            _clip(
                load(w, at.STOP2 + c) + load(w, at.SECOND_SLOPE + c) * moved, load(w, at.BOUND2 + c)
            ),
        )
        store(w, at.FLUX + c, m)


@njit(**COMPILED)
def _begin(w: Array, places: int, second: bool) -> None:
    """The last stage's state is kept; then this stage's right-hand side, and a start for Newton
    from the last two values of F: DRIVE is weight·F, which a stage that has converged leaves as
    flux - RHS."""
    _keep(w, places)
    live = load(w, at.LIVE)
    for c in range(places):
        m = load(w, at.FLUX + c)
        drive = m - load(w, at.RHS + c)
        bend = drive - load(w, at.DRIVE + c)
        store(w, at.DRIVE + c, drive)
        if second:
            store(w, at.RHS + c, _W1 * m - _W0 * load(w, at.BEFORE + c))
            ahead = _STRAIGHT2 * drive + _BENT2 * bend
        else:
            store(w, at.RHS + c, m + drive)
            store(w, at.BEFORE + c, m)
            ahead = _STRAIGHT1 * drive + _BENT1 * bend
        store(w, at.NEXT + c, m + ahead * live)


@njit(**COMPILED)
def _start(w: Array, legs: int, member: Index, sign: Array, power: Index) -> None:
    """Currents of the workspace's flux and stops under a source that has just come. Their F stands
    for that of a point before too, which had another source."""
    for c in range(power.size):
        _excite(w, c, power[c], False)
    _voltages(w, legs, member, sign)
    for c in range(power.size):
        drive = _drive(w, c, legs + c, member, sign)
        store(w, at.DRIVE + c, drive)
        store(w, at.RHS + c, load(w, at.FLUX + c) - drive)
    _sum_legs(w, legs, member, sign)


@njit(**COMPILED)
def _stage(
    w: Array, legs: int, member: Index, sign: Array, filled: Index, power: Index, second: bool
) -> None:
    """Newton until no lane moves; then the legs' currents."""
    _begin(w, power.size, second)
    store(w, at.ACTIVE, load(w, at.LIVE))
    for iteration in range(_MAX_ITERATIONS):
        if not _newton(w, legs, member, sign, filled, power, iteration > 0):
            break
    _sum_legs(w, legs, member, sign)
    worst, peak = (
        load(w, at.WORST),
        where_less(splat(0.0), load(w, at.LIVE), load(w, at.PEAK), splat(0.0)),
    )
    store(w, at.WORST, where_less(peak, worst, worst, peak) + 0.0 * worst)


# --- one block ----------------------------------------------------------------


@njit(**COMPILED)
def _fetch(tile: Array, wave: Array, first: int, point: int) -> None:
    """The next points of the block's sources, lanes side by side: row = point·channels +
    channel."""
    channels = wave.shape[1]
    for k in range(min(_TILE, wave.shape[2] - point)):
        for channel in range(channels):
            for b in range(LANES):
                tile[k * channels + channel, b] = wave[first + b, channel, point + k]


@njit(**COMPILED)
def _point(index: int, lead: int, points: int, loop_from: int, jump: bool) -> int:
    """Which point of the sources stands for `index`: before the window its first cycle, after its
    end the last part. With a jump the instant of the event has two points, and its `index` means
    the first."""
    if index <= 0:
        return index % (2 * lead)
    point = index + 1 if jump and index > 2 * lead else index
    return point if point < points else loop_from + (point - points) % (points - loop_from)


@njit(**COMPILED)
def _take_source(w: Array, tile: Array, row: int, channel: Index) -> None:
    for c in range(channel.size):
        store(w, at.SOURCE + c, load(tile, row + channel[c]) * load(w, at.TURNS + c))


@njit(**ALLOCATES)
def _settle(w: Array, history: Array, s: int, pace: Pace, signals: int, done: Index) -> bool:
    """Freeze the lanes in which no measured value has changed over the last cycle; whether any lane
    goes on."""
    for b in range(LANES):
        change = 0.0
        for e in range(signals):
            now = np.sqrt(history[e * pace.steps + s, b])
            before = np.sqrt(history[e * pace.steps + s - pace.per_cycle, b])
            change = max(change, abs(now - before) / (now + SMALL_A))
        if w[at.LIVE, b] > 0.0 and not change >= pace.settle:
            w[at.LIVE, b], done[b] = 0.0, s + 1
    return bool(np.any(w[at.LIVE] > 0.0))


@njit(**ALLOCATES)
def _write(w: Array, trace: Array, legs: int, places: int) -> None:
    """The state at a step's end, for those who look at it: (LANES, rows)."""
    for leg in range(legs):
        trace[:, leg] = w[at.LEG + leg]
    for c in range(places):
        trace[:, legs + c] = w[at.CURRENT + c]
        trace[:, legs + places + c] = w[at.SOURCE + c]
        trace[:, legs + 2 * places + c] = w[at.NEXT + c]


@njit(**ALLOCATES, entry=True)
def integrate(  # noqa: C901, PLR0913
    wave: Array,
    channel: Index,
    cores: Cores,
    net: Network,
    pace: Pace,
    meter: Meter,
    pickup: Array,
    moves: Array,
    trace: Array,
) -> None:
    """Every block of lanes from its start to the end of the window; see `transient.solve` for the
    meaning.

    Parameters
    ----------
    wave : ndarray, (n, channels, points)
        Primary currents, n a multiple of LANES (A).
    channel : ndarray, (ct,)
        Which of them each CT carries.
    cores : Cores
    net : Network
    pace : Pace
    meter : Meter
    pickup : ndarray, (n, elements, forms, holds)
        Written (A).
    moves : ndarray, (n,)
        Written: the largest last Newton move (knee flux).
    trace : ndarray, (n, legs + 3 ct + signals, steps)
        Written unless it is empty: currents of the legs, of the CTs, what they would be without
        excitation, fluxes, what is measured of each signal (A; knee flux).
    """
    n, channels, points = wave.shape
    signals, lead, steps = meter.signals.size, pace.lead, pace.steps
    # unpacked: counting references costs
    legs, member, sign, filled = net.legs, net.member, net.sign, net.filled
    power = cores.power
    rows, circle, quantity = meter.signals, meter.circle, meter.quantity
    w, tile = aligned(at.ROWS), aligned(_TILE * channels)
    window, sums = aligned(2 * signals * pace.per_cycle), aligned(2 * signals)
    history, scratch = aligned(signals * steps), aligned(steps)
    done = np.empty(LANES, np.int64)
    for first in range(0, n, LANES):
        fill(w, cores, first, ALPHA * pace.step_s)
        window[:], sums[:], done[:] = 0.0, 0.0, steps
        tile_start = 0
        _fetch(tile, wave, first, 0)
        _take_source(w, tile, 0, channel)
        _start(w, legs, member, sign, power)
        for s in range(-pace.warm, steps):
            if pace.jump and s == lead:  # flux and stops pass over the jump
                tile_start = 2 * lead + 1
                _fetch(tile, wave, first, tile_start)
                _take_source(w, tile, 0, channel)
                _keep(w, power.size)
                _start(w, legs, member, sign, power)
                for e in range(signals if quantity == PEAK_VALUE else 0):
                    peak_after_jump(w, e, rows[e], (s - 1) % pace.per_cycle, window, pace.per_cycle)
            for index in range(2 * s + 1, 2 * s + 3):
                point = _point(index, lead, points, pace.loop_from, pace.jump)
                if not tile_start <= point < tile_start + _TILE:
                    tile_start = point
                    _fetch(tile, wave, first, point)
                _take_source(w, tile, (point - tile_start) * channels, channel)
                for e in range(signals):
                    store(w, at.BEGIN + e, load(w, at.INNER + e))
                    store(w, at.INNER + e, load(w, rows[e]))
                _stage(w, legs, member, sign, filled, power, index == 2 * s + 2)
            for e in range(signals if s >= 0 else 0):
                value = measure(w, e, rows[e], s % pace.per_cycle, window, sums, circle, quantity)
                store(history, e * steps + s, value)
            if trace.size > 0 and s >= 0:
                _write(w, trace[first : first + LANES, :, s], legs, power.size)
                for e in range(signals):
                    row = legs + 3 * power.size + e
                    trace[first : first + LANES, row, s] = np.sqrt(history[e * steps + s])
            if (
                pace.settle > 0.0
                and s >= lead + 2 * pace.per_cycle
                and (s + 1 - lead) % pace.per_cycle == 0
                and not _settle(w, history, s, pace, signals, done)
            ):
                break
        moves[first : first + LANES] = w[at.WORST]
        judge(history, done, lead, meter, scratch, pickup[first : first + LANES])
