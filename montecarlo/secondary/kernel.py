"""The compiled pass: TR-BDF2 steps, Newton with the exact Jacobian, LANES samples side by side.

Side by side means that every inner loop runs over the lanes of a block, so that the compiler uses vector
instructions. All lanes of a block take the same number of Newton steps; blocks are cut by the sample's index, so a
sample's figures do not depend on the worker or on the number of workers.

TR-BDF2 (Bank et al., IEEE Trans. CAD 4, 1985; Hosea and Shampine, Appl. Numer. Math. 20, 1996) is L-stable: high
stabilising resistance makes the equations stiff. Both stages have the same implicit weight ALPHA·h:

    m' = m  + ALPHA·h·(F(m) + F(m'))                     at t + GAMMA·h
    m" = W1·m' - W0·m + ALPHA·h·F(m")                    at t + h

with m the flux linkage in units of the knee's, F = (R·i + Aᵀ·diag(R_leg)·A·i)/λ_knee, i = source - i_m(m).
"""

from __future__ import annotations

import numpy as np
from numba import njit

LANES = 64
GAMMA = 2 - np.sqrt(2)
ALPHA = GAMMA / 2
_W1 = 1 / (GAMMA * (2 - GAMMA))
_W0 = (1 - GAMMA) ** 2 / (GAMMA * (2 - GAMMA))
_TOLERANCE = 2e-5            # last Newton move, in knee flux; Newton squares it, so the error left is below 1e-8
_MAX_ITERATIONS = 60
_FLAGS = {"contract", "nsz", "arcp"}                       # no nnan, no ninf: bad values must stay visible


@njit(cache=True, nogil=True, error_model="numpy", fastmath=_FLAGS, inline="always")
def _excite(c, m, m_old, h_old, curve, power, i_m, slope, h, even, base):  # type: ignore[no-untyped-def]
    """Exciting current, its slope and the two stops of CT c after a monotone move from m_old to m."""
    for b in range(LANES):
        base[b] = m[c, b] * m[c, b]
        even[b] = 1.0
    bits = power
    while bits > 0:                                        # m^(S-1), S - 1 = 2·power
        if bits & 1:
            for b in range(LANES):
                even[b] *= base[b]
        for b in range(LANES):
            base[b] *= base[b]
        bits >>= 1
    for b in range(LANES):
        moved = m[c, b] - m_old[c, b]
        h1 = h_old[0, c, b] + curve[4, c, b] * moved
        h2 = h_old[1, c, b] + curve[5, c, b] * moved
        inside1 = 1.0 if abs(h1) < curve[2, c, b] else 0.0
        inside2 = 1.0 if abs(h2) < curve[3, c, b] else 0.0
        h1 = min(max(h1, -curve[2, c, b]), curve[2, c, b])
        h2 = min(max(h2, -curve[3, c, b]), curve[3, c, b])
        h[0, c, b] = h1
        h[1, c, b] = h2
        i_m[c, b] = (curve[0, c, b] + curve[1, c, b] * even[b]) * m[c, b] + h1 + h2
        slope[c, b] = (curve[0, c, b] + (2 * power + 1) * curve[1, c, b] * even[b]
                       + curve[4, c, b] * inside1 + curve[5, c, b] * inside2)


@njit(cache=True, nogil=True, error_model="numpy", fastmath=_FLAGS)
def _rates(table, source, i_m, leg_ohm, series, inv_flux, leg_a, rate):  # type: ignore[no-untyped-def]
    """Leg currents and dm/dt from the CTs' secondary currents."""
    legs, places = table.shape
    leg_a[:] = 0.0
    for c in range(places):
        for leg in range(legs):
            sign = table[leg, c]
            if sign != 0.0:
                for b in range(LANES):
                    leg_a[leg, b] += sign * (source[c, b] - i_m[c, b])
    for c in range(places):
        for b in range(LANES):
            rate[c, b] = series[c, b] * (source[c, b] - i_m[c, b])
        for leg in range(legs):
            sign = table[leg, c]
            if sign != 0.0:
                for b in range(LANES):
                    rate[c, b] += sign * leg_ohm[leg, b] * leg_a[leg, b]
        for b in range(LANES):
            rate[c, b] *= inv_flux[c, b]


@njit(cache=True, nogil=True, error_model="numpy", fastmath=_FLAGS)
def _newton(table, m, rhs, weight, slope, rate, root_ohm, series, inv_flux, diag, pull, load, chol, peak):  # type: ignore[no-untyped-def]
    """One Newton move of every lane; returns the largest |move|. The Jacobian is diagonal plus one term of rank
    `legs`: Woodbury with I + S, S positive semidefinite, so Cholesky needs no pivots and R_leg = 0 is no special case."""
    legs, places = table.shape
    for c in range(places):
        for b in range(LANES):
            diag[c, b] = 1.0 / (1.0 + weight * series[c, b] * inv_flux[c, b] * slope[c, b])
            pull[c, b] = (m[c, b] - weight * rate[c, b] - rhs[c, b]) * diag[c, b]
    load[:] = 0.0
    chol[:] = 0.0
    for c in range(places):
        for p in range(legs):
            if table[p, c] != 0.0:
                for b in range(LANES):
                    load[p, b] += table[p, c] * slope[c, b] * pull[c, b]
                for q in range(p + 1):
                    both = table[p, c] * table[q, c]
                    if both != 0.0:
                        for b in range(LANES):
                            chol[p, q, b] += both * slope[c, b] * diag[c, b] * inv_flux[c, b]
    for p in range(legs):                                  # Cholesky of I + S, then forward substitution
        for b in range(LANES):
            load[p, b] *= root_ohm[p, b]
        for q in range(p + 1):
            for b in range(LANES):
                chol[p, q, b] *= weight * root_ohm[p, b] * root_ohm[q, b]
            if p == q:
                for b in range(LANES):
                    chol[p, p, b] += 1.0
            for r in range(q):
                for b in range(LANES):
                    chol[p, q, b] -= chol[p, r, b] * chol[q, r, b]
            if p == q:
                for b in range(LANES):
                    chol[p, p, b] = 1.0 / np.sqrt(chol[p, p, b])
            else:
                for b in range(LANES):
                    chol[p, q, b] *= chol[q, q, b]
        for q in range(p):
            for b in range(LANES):
                load[p, b] -= chol[p, q, b] * load[q, b]
        for b in range(LANES):
            load[p, b] *= chol[p, p, b]
    for p in range(legs - 1, -1, -1):
        for q in range(p + 1, legs):
            for b in range(LANES):
                load[p, b] -= chol[q, p, b] * load[q, b]
        for b in range(LANES):
            load[p, b] *= chol[p, p, b]
    peak[:] = 0.0
    for c in range(places):
        for p in range(legs):
            if table[p, c] != 0.0:
                for b in range(LANES):
                    pull[c, b] -= weight * inv_flux[c, b] * diag[c, b] * table[p, c] * root_ohm[p, b] * load[p, b]
        for b in range(LANES):
            m[c, b] = min(max(m[c, b] - pull[c, b], -4.0), 4.0)
        for b in range(LANES):
            peak[b] = max(peak[b], abs(pull[c, b]))
    return peak.max()


@njit(cache=True, nogil=True, error_model="numpy")
def _sustained(series, hold):  # type: ignore[no-untyped-def]
    """Largest value that is exceeded throughout some `hold` + 1 consecutive points: max of the sliding minimum."""
    n = series.size
    if hold + 1 > n:
        return 0.0
    if hold == 0:
        return series.max()
    queue = np.empty(n, np.int64)
    head, tail = 0, 0
    best = 0.0
    for k in range(n):
        while tail > head and series[queue[tail - 1]] >= series[k]:
            tail -= 1
        queue[tail] = k
        tail += 1
        if queue[head] < k - hold:
            head += 1
        if k >= hold:
            best = max(best, series[queue[head]])
    return best


@njit(cache=True, nogil=True, error_model="numpy")
def _load_source(out, source, first, index, channel, inv_turns):  # type: ignore[no-untyped-def]
    for c in range(out.shape[0]):
        for b in range(LANES):
            out[c, b] = source[first + b, channel[c], index] * inv_turns[c, first + b]


@njit(cache=True, nogil=True, error_model="numpy", fastmath=_FLAGS)
def _measure(window, sums, value, s, per_cycle, fundamental, wave):  # type: ignore[no-untyped-def]
    """Slide the one-cycle window: true RMS or RMS of the fundamental. window (points, LANES), wave (2, points)."""
    k = s % per_cycle
    for b in range(LANES):
        if fundamental:
            change = value[b] - window[k, b]
            window[k, b] = value[b]
            sums[0, b] += change * wave[0, k]
            sums[1, b] += change * wave[1, k]
            value[b] = np.sqrt(2.0 * (sums[0, b] ** 2 + sums[1, b] ** 2)) / per_cycle
        else:
            square = value[b] * value[b]
            sums[0, b] += square - window[k, b]
            window[k, b] = square
            value[b] = np.sqrt(max(sums[0, b], 0.0) / per_cycle)


@njit(cache=True, nogil=True, error_model="numpy")
def integrate(source, channel, inv_turns, series, inv_flux, curve, power, table, leg_ohm, m0, h0, dt, per_cycle,
              lead, steps, loop_from, settle, watch, fundamental, holds, pickup, moves, trace):  # type: ignore[no-untyped-def]
    """Every block of lanes from its start state to the end of the window; see `transient.solve` for the meaning.

    Writes pickup (n, elements, holds), moves (n,) the largest last Newton move, trace (n, legs, steps) if not empty."""
    n, _, points = source.shape
    legs, places = table.shape
    elements = watch.size
    shape = (places, LANES)
    m, m1, m2, rhs, now = np.empty(shape), np.empty(shape), np.empty(shape), np.empty(shape), np.empty(shape)
    i_m, slope, rate, diag, pull = np.empty(shape), np.empty(shape), np.empty(shape), np.empty(shape), np.empty(shape)
    h, h1, h2 = np.empty((2, *shape)), np.empty((2, *shape)), np.empty((2, *shape))
    leg_a, load, chol = np.empty((legs, LANES)), np.empty((legs, LANES)), np.empty((legs, legs, LANES))
    rs, inv, cv, ohm, root = np.empty(shape), np.empty(shape), np.empty((6, *shape)), np.empty((legs, LANES)), np.empty((legs, LANES))
    windows, sums = np.empty((elements, per_cycle, LANES)), np.empty((elements, 2, LANES))
    history, value, before = np.empty((elements, LANES, steps)), np.empty(LANES), np.empty((elements, LANES))
    even, base, peak = np.empty(LANES), np.empty(LANES), np.empty(LANES)
    wave = np.empty((2, per_cycle))
    for k in range(per_cycle):
        wave[0, k], wave[1, k] = np.cos(2 * np.pi * k / per_cycle), np.sin(2 * np.pi * k / per_cycle)
    period = points - loop_from
    weight = ALPHA * dt
    for first in range(0, n, LANES):
        last = slice(first, first + LANES)
        m[:], h[:] = m0[:, last], h0[:, :, last]
        rs[:], inv[:], cv[:], ohm[:] = series[:, last], inv_flux[:, last], curve[:, :, last], leg_ohm[:, last]
        root[:] = np.sqrt(ohm)
        windows[:], sums[:], before[:] = 0.0, 0.0, 0.0
        worst = 0.0
        _load_source(now, source, first, 0, channel, inv_turns)
        for c in range(places):
            _excite(c, m, m, h, cv, power[c], i_m, slope, h1, even, base)
        _rates(table, now, i_m, ohm, rs, inv, leg_a, rate)
        m2[:] = m
        done = steps
        for s in range(steps):
            for stage in range(2):
                index = 2 * s + 1 + stage
                if index >= points:
                    index = loop_from + (index - points) % period
                _load_source(now, source, first, index, channel, inv_turns)
                if stage == 0:
                    for c in range(places):
                        for b in range(LANES):
                            rhs[c, b] = m[c, b] + weight * rate[c, b]
                            m1[c, b] = m[c, b] + GAMMA * (m[c, b] - m2[c, b])
                            m2[c, b] = m[c, b]
                else:
                    for c in range(places):
                        for b in range(LANES):
                            rhs[c, b] = _W1 * m[c, b] - _W0 * m2[c, b]
                            m1[c, b] = m[c, b] + (m[c, b] - m2[c, b]) * (1 - GAMMA) / GAMMA
                moved = np.inf
                rounds = 0
                while True:
                    for c in range(places):
                        _excite(c, m1, m, h, cv, power[c], i_m, slope, h1, even, base)
                    _rates(table, now, i_m, ohm, rs, inv, leg_a, rate)
                    if moved <= _TOLERANCE or rounds == _MAX_ITERATIONS:
                        break
                    moved = _newton(table, m1, rhs, weight, slope, rate, root, rs, inv, diag, pull, load, chol, peak)
                    rounds += 1
                worst = max(worst, moved)
                m[:] = m1
                h[:] = h1
            for e in range(elements):
                value[:] = leg_a[watch[e]]
                _measure(windows[e], sums[e], value, s, per_cycle, fundamental, wave)
                history[e, :, s] = value
            if trace.size > 0:
                for leg in range(legs):
                    for b in range(LANES):
                        trace[first + b, leg, s] = leg_a[leg, b]
            if settle > 0.0 and s >= lead and (s + 1 - lead) % per_cycle == 0:
                change = 0.0
                for e in range(elements):
                    for b in range(LANES):
                        change = max(change, abs(history[e, b, s] - before[e, b]) / (history[e, b, s] + 1e-6))
                        before[e, b] = history[e, b, s]
                if change < settle and s >= lead + 2 * per_cycle:
                    done = s + 1
                    break
        for e in range(elements):
            for b in range(LANES):
                history[e, b, done:] = history[e, b, done - 1]
                finite = np.isfinite(np.sum(m[:, b]))
                for d in range(holds.size):
                    pickup[first + b, e, d] = _sustained(history[e, b, lead:], holds[d]) if finite else np.nan
        for b in range(LANES):
            moves[first + b] = worst
