"""The compiled pass over the waveforms of external events, one sample after the other."""

from __future__ import annotations

from typing import Any

import numpy as np

from montecarlo.quantities import Array, Complex, Index
from montecarlo.quantities.compiled import njit

BEFORE, FAST, SLOW, LASTING, DIRECT, BESIDE = range(6)  # parts of a wave


NONE = -1  # of `follows`: no channel's
COMPILED: dict[str, Any] = {"counted": False, "nogil": True, "error_model": "numpy"}


@njit(**COMPILED)
def zero_s(ahead: float, behind: float, t: Array, i: int) -> float:
    """When a current passes 0 between two points. [s]

    Parameters
    ----------
    ahead, behind : float
        Its values there.
    t : (nt,) array (s)
    i : int
        The later point.

    Returns
    -------
    float (s)
        inf where it does not.
    """
    if ahead * behind > 0:
        return np.inf
    change = ahead - behind
    gone = ahead / change if change else 0.0
    return float(t[i - 1] + gone * (t[i] - t[i - 1]))


@njit(**COMPILED)
def first_zero(wave: Array, t: Array, clearing_s: float, opens: int) -> tuple[int, float]:
    """A wave's first zero that comes after clearing.

    Parameters
    ----------
    wave, t : (nt,) array
    clearing_s : float (s)
    opens : int
        First point after clearing, at least 1.

    Returns
    -------
    int, float (s)
        The point after it, and when it is; nt and inf where there is none.
    """
    for i in range(opens, t.size):
        at_s = zero_s(wave[i - 1], wave[i], t, i)
        if clearing_s < at_s < np.inf:
            return i, at_s
    return t.size, np.inf


@njit(entry=True, **COMPILED)
def interrupt(waves: Array, t: Array, clearing_s: float, opens: int) -> int:
    """Three currents without a sum: the first to pass 0 ends there, and the other two go on.

    Those carry half their difference, out and back, until that is 0: exact behind equal
    impedances while the voltages beyond the breaker stay, and none of the three jumps.

    Parameters
    ----------
    waves : (3, nt) array
        Changed in place.
    t : (nt,) array (s)
    clearing_s : float (s)
    opens : int
        First point after clearing, at least 1.

    Returns
    -------
    int
        The first point without any of them; nt where they go on.
    """
    at, begins, begins_s = 0, t.size, np.inf
    for c in range(3):
        point, point_s = first_zero(waves[c], t, clearing_s, opens)
        if point_s < begins_s:
            at, begins, begins_s = c, point, point_s
    if begins == t.size:
        return begins
    waves[at, begins:] = 0.0
    out, back = waves[(at + 1) % 3], waves[(at + 2) % 3]
    ahead = (out[begins - 1] - back[begins - 1]) / 2
    for i in range(begins, t.size):
        half = (out[i] - back[i]) / 2
        if begins_s <= zero_s(ahead, half, t, i) < np.inf:
            out[i:], back[i:] = 0.0, 0.0
            return i
        out[i], back[i] = half, -half
        ahead = half
    return int(t.size)


@njit(entry=True, **COMPILED)
def write(  # noqa: C901, PLR0913
    out: Array,
    ends: Index,
    start: int,
    parts: Complex,
    decays: Array,
    again: Array,
    cosine: Array,
    sine: Array,
    t: Array,
    clearing_s: Array,
    opens: Index,
    follows: Index,
) -> None:
    """Waves as `waves.Fading` describes them.

    Parameters
    ----------
    out : (n, c, nt) array
        Takes the waves, in the unit of the parts.
    ends : (n,) array of int
        From which point on all channels of a sample are 0; takes where they are interrupted, if
        that is earlier.
    start : int
        First point of the event.
    parts : (n, c, 6) complex array
        Peak phasors: before; what decays fast and slowly, what lasts; the DC component at first,
        real; what goes on beside all of it.
    decays : (n, 3, m) array
        Of the first m points from `start` on: fast, slow, of the DC component.
    again : (n, 3) array
        Factor of the decays m points later.
    cosine, sine : (nt,) array
        Of omega t.
    t : (nt,) array (s)
    clearing_s : (n,) array (s)
    opens : (n,) array of int
        First point after clearing, at least 1.
    follows : (n,) array of int
        The channel with whose zero all end; NONE: three of them are interrupted one by one.
    """
    samples, channels, points = out.shape
    for s in range(samples):
        fast, slow, direct = decays[s, 0], decays[s, 1], decays[s, 2]
        for c in range(channels):
            wave, before = out[s, c], parts[s, c, BEFORE]
            for i in range(min(start, points)):
                wave[i] = before.real * cosine[i] - before.imag * sine[i]

            first, second, last = parts[s, c, FAST], parts[s, c, SLOW], parts[s, c, LASTING]
            offset = parts[s, c, DIRECT].real
            for at in range(start, points, max(fast.size, 1)):
                part, turn, quarter = wave[at:], cosine[at:], sine[at:]
                for i in range(min(fast.size, part.size)):
                    real = first.real * fast[i] + second.real * slow[i] + last.real
                    imag = first.imag * fast[i] + second.imag * slow[i] + last.imag
                    part[i] = real * turn[i] - imag * quarter[i] + offset * direct[i]
                first, second = first * again[s, 0], second * again[s, 1]
                offset *= again[s, 2]

        if follows[s] != NONE:
            point, _ = first_zero(out[s, follows[s]], t, clearing_s[s], opens[s])
            ends[s] = min(ends[s], point)
        elif clearing_s[s] < np.inf:
            ends[s] = min(ends[s], interrupt(out[s], t, clearing_s[s], opens[s]))
        out[s, :, ends[s] :] = 0.0
        for c in range(channels):
            beside = parts[s, c, BESIDE]
            if beside:
                for i in range(points):
                    out[s, c, i] += beside.real * cosine[i] - beside.imag * sine[i]
