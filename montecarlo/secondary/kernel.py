"""The compiled pass: sources, stages, what is measured and what the elements make of it, LANES
samples side by side.

A lane is frozen once its own waveform has settled, so a sample's figures do not depend on which
others share its block, on the worker or on the number of workers."""

from __future__ import annotations

import numpy as np

from montecarlo.quantities import Array, Index
from montecarlo.quantities.compiled import njit
from montecarlo.secondary import workspace as at
from montecarlo.secondary.chain_kernel import passes, repeat_settled
from montecarlo.secondary.gates import holds_back
from montecarlo.secondary.judging import PEAK_VALUE, judge, measure, peak_after_jump
from montecarlo.secondary.lanes import (
    LANES,
    any_positive,
    load,
    splat,
    store,
    turn,
    where_less,
)
from montecarlo.secondary.stage import ALPHA
from montecarlo.secondary.stage_code import FIRST, SECOND, START, run
from montecarlo.secondary.workspace import (
    ALLOCATES,
    COMPILED,
    SMALL_A,
    Cores,
    Gates,
    Meter,
    Pace,
    Sampling,
    aligned,
    fill,
)

_TILE = 16  # points of the sources that are copied at a time


# --- one block ----------------------------------------------------------------


@njit(**COMPILED)
def _fetch(tile: Array, wave: Array, first: int, point: int) -> None:
    """The next points of the block's sources, lanes side by side: row = point·channels +
    channel."""
    channels, count = wave.shape[1], min(_TILE, wave.shape[2] - point)
    whole = count - count % LANES
    for channel in range(channels):
        rows = wave[first : first + LANES, channel]
        for k in range(0, whole, LANES):
            turn(tile, k * channels + channel, channels, rows, point + k)
        for k in range(whole, count):
            for b in range(LANES):
                tile[k * channels + channel, b] = rows[b, point + k]


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
def _clear(rows: Array) -> None:
    for row in range(rows.shape[0]):
        store(rows, row, splat(0.0))


@njit(**COMPILED)
def _end(w: Array, b: int, cts: int) -> None:
    """Freeze a lane; where its flux is not a number, its worst move is none either."""
    for c in range(cts):
        w[at.WORST, b] += 0.0 * w[at.NEXT + c, b]
    w[at.LIVE, b] = 0.0


@njit(**COMPILED)
def _settle(
    w: Array, cts: int, history: Array, s: int, pace: Pace, signals: int, done: Index
) -> bool:
    """Freeze the lanes in which no measured value has changed over the last cycle; whether any lane
    goes on."""
    for b in range(LANES):
        change = 0.0
        for e in range(signals):
            now = np.sqrt(history[e * pace.steps + s, b])
            before = np.sqrt(history[e * pace.steps + s - pace.per_cycle, b])
            change = max(change, abs(now - before) / (now + SMALL_A))
        if w[at.LIVE, b] > 0.0 and not change >= pace.settle:
            _end(w, b, cts)
            done[b] = s + 1
    return bool(any_positive(load(w, at.LIVE)))


@njit(**COMPILED)
def _write(  # noqa: PLR0913
    w: Array, ideal: Array, row: int, channel: Index, legs: int, first: int, s: int, trace: Array
) -> None:
    """The state at a step's end, for those who look at it."""
    places = channel.size
    for b in range(LANES):
        for leg in range(legs):
            trace[first + b, leg, s] = w[at.LEG + leg, b]
        for c in range(places):
            source = ideal[row + channel[c], b] * w[at.TURNS + c, b]
            trace[first + b, legs + c, s] = w[at.CURRENT + c, b]
            trace[first + b, legs + places + c, s] = source
            trace[first + b, legs + 2 * places + c, s] = w[at.NEXT + c, b]


@njit(**COMPILED)
def _add_up(w: Array, cts: int, sums: Array) -> None:
    """Vector sums of the CTs' currents."""
    for k in range(sums.shape[0]):
        total = splat(0.0)
        for c in range(cts):
            total = total + sums[k, c] * load(w, at.CURRENT + c)
        store(w, at.SUM + k, total)


@njit(**COMPILED)
def _look_at_gates(
    gates: Gates, now: Array, levels: Array, on: Array, steps: int, per_cycle: int, first: int
) -> None:
    """When each gate holds back each element, gate by gate, element by element; levels: scratch."""
    slots = gates.side.size
    for g in range(gates.what.size):
        for k in range(levels.shape[0]):
            for b in range(LANES):
                levels[k, b] = gates.levels[g, k, first + b]
        begin = g * slots * steps
        for slot in range(slots):
            rows, own = 2 * slot * steps, begin + slot * steps
            holds_back(
                gates.code,
                now,
                rows,
                levels,
                gates.circle,
                on,
                own,
                steps,
                per_cycle,
                gates.what[g],
            )
        if gates.together[g]:
            for s in range(steps):
                held = splat(0.0)
                for slot in range(gates.phases):
                    each = load(on, begin + slot * steps + s)
                    held = where_less(held, each, each, held)
                for slot in range(gates.phases):
                    store(on, begin + slot * steps + s, held)


@njit(**COMPILED)
def _write_series(series: Array, steps: int, row: int, first: int, trace: Array) -> None:
    for k in range(series.shape[0] // steps):
        for s in range(steps):
            for b in range(LANES):
                trace[first + b, row + k, s] = series[k * steps + s, b]


@njit(**COMPILED)
def _through_chain(  # noqa: PLR0913
    sampling: Sampling,
    seen: Array,
    own: Array,
    samples: Array,
    heard: Array,
    now: Array,
    done: Index,
    first: int,
    steps: int,
    per_cycle: int,
) -> None:
    """What the relay measures of a block's currents, and what its gates see; own: scratch."""
    for k in range(own.shape[0]):
        for b in range(LANES):
            own[k, b] = sampling.own[k, first + b]
    used = repeat_settled(seen, done, steps, per_cycle)
    taps, rate = sampling.taps.size, sampling.per_cycle
    taken = samples.shape[0] // taps
    passes(
        sampling.code,
        seen,
        own,
        sampling.circle,
        samples,
        heard,
        taps,
        heard.shape[0] // taken,
        steps,
        used,
        per_cycle,
        rate,
        sampling.length,
        sampling.filtered,
    )
    for slot in range(sampling.side.size):
        for j in range(taken):
            one = load(samples, sampling.side[slot] * taken + j)
            store(now, 2 * slot * taken + j, one)
            difference = load(samples, sampling.leg[slot] * taken + j)
            store(now, (2 * slot + 1) * taken + j, difference)
    for b in range(LANES):
        done[b] = taken


@njit(**ALLOCATES, entry=True)
def integrate(  # noqa: C901, PLR0913
    wave: Array,
    channel: Index,
    cores: Cores,
    stages: int,
    legs: int,
    pace: Pace,
    meter: Meter,
    pickup: Array,
    earlier: Array,
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
    stages : int
        Address of `stage_code.compiled`.
    legs : int
    pace : Pace
    meter : Meter
    pickup : ndarray, (n, elements, forms, holds)
        Written (A).
    earlier : ndarray, (n, elements, forms, holds)
        Written unless it is empty: the same before the event, without the first cycle (A).
    moves : ndarray, (n,)
        Written: the largest last Newton move (knee flux).
    trace : ndarray, (n, legs + 3 ct + signals + gates slots, steps or more)
        Written unless it is empty: currents of the legs, of the CTs, what they would be without
        excitation, fluxes (A; knee flux); at the relay's samples where there is a chain: square of
        what is measured of each signal (A²), whether gates are on.
    """
    n, channels, points = wave.shape
    signals, lead, steps = meter.signals.size, pace.lead, pace.steps
    # unpacked: counting references costs
    cts = channel.size
    rows, circle, quantity = meter.signals, meter.circle, meter.quantity
    w, tile = aligned(at.ROWS), aligned(_TILE * channels)
    window, sums = aligned(2 * signals * pace.per_cycle), aligned(2 * signals)
    sampling, gates = meter.sampling, meter.gates
    taps, slots = sampling.taps.size, gates.side.size
    rate = sampling.per_cycle if taps > 0 else pace.per_cycle
    taken = steps * rate // pace.per_cycle  # values that are judged
    history, heard = aligned(signals * steps), aligned(signals * taken if taps > 0 else 0)
    seen, samples = aligned(3 * taps * steps), aligned(taps * taken)
    own, scratch = aligned(sampling.own.shape[0]), aligned(4 * taken)
    measured = signals if taps == 0 or pace.settle > 0.0 else 0
    now, on = aligned(2 * slots * taken), aligned(gates.what.size * slots * taken)
    levels = aligned(gates.levels.shape[1])
    done = np.empty(LANES, np.int64)
    for first in range(0, n, LANES):
        fill(w, cores, first, ALPHA * pace.step_s)
        _clear(window)
        _clear(sums)
        for b in range(LANES):
            done[b] = steps
        tile_start = 0
        _fetch(tile, wave, first, 0)
        run(stages, w, tile, 0, START)
        _add_up(w, cts, meter.sums)
        for s in range(-pace.warm, steps):
            if pace.jump and s == lead:  # flux and stops pass over the jump
                tile_start = 2 * lead + 1
                _fetch(tile, wave, first, tile_start)
                run(stages, w, tile, 0, START)
                _add_up(w, cts, meter.sums)
                for e in range(signals if quantity == PEAK_VALUE else 0):
                    peak_after_jump(w, e, rows[e], (s - 1) % pace.per_cycle, window, pace.per_cycle)
            for index in range(2 * s + 1, 2 * s + 3):
                point = _point(index, lead, points, pace.loop_from, pace.jump)
                if not tile_start <= point < tile_start + _TILE:
                    tile_start = point
                    _fetch(tile, wave, first, point)
                now_at = (point - tile_start) * channels
                stage = SECOND if index == 2 * s + 2 else FIRST
                for e in range(signals):
                    store(w, e + (at.INNER if stage == SECOND else at.BEGIN), load(w, rows[e]))
                for tap in range(taps if s >= 0 else 0):
                    point_at = 3 * (tap * steps + s) + (1 if stage == SECOND else 0)
                    store(seen, point_at, load(w, sampling.taps[tap]))
                run(stages, w, tile, now_at, stage)
                _add_up(w, cts, meter.sums)
            for tap in range(taps if s >= 0 else 0):
                store(seen, 3 * (tap * steps + s) + 2, load(w, sampling.taps[tap]))
            for slot in range(slots if s >= 0 and taps == 0 else 0):
                store(now, 2 * slot * steps + s, load(w, gates.side[slot]))
                store(now, (2 * slot + 1) * steps + s, load(w, gates.leg[slot]))
            k = s % pace.per_cycle
            for e in range(measured if s >= 0 else 0):
                value = measure(w, e, rows[e], k, window, sums, circle, quantity)
                store(history, e * steps + s, value)
            if trace.size > 0 and s >= 0:
                _write(w, tile, now_at, channel, legs, first, s, trace)
            if (
                pace.settle > 0.0
                and s >= lead + 2 * pace.per_cycle
                and (s + 1 - lead) % pace.per_cycle == 0
                and not _settle(w, cts, history, s, pace, signals, done)
            ):
                break
        for b in range(LANES):
            if w[at.LIVE, b] > 0.0:
                _end(w, b, cts)
            moves[first + b] = np.sqrt(w[at.WORST, b])
        if taps > 0:
            _through_chain(
                sampling, seen, own, samples, heard, now, done, first, steps, pace.per_cycle
            )
        _look_at_gates(gates, now, levels, on, taken, rate, first)
        judged = heard if taps > 0 else history
        ahead = lead * rate // pace.per_cycle
        judge(judged, done, ahead, meter, on, scratch, first, pickup, earlier, rate)
        if trace.size > 0:
            _write_series(judged, taken, legs + 3 * cts, first, trace)
            _write_series(on, taken, legs + 3 * cts + signals, first, trace)
