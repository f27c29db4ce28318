"""The compiled pass over the waveforms of external events, one sample after the other."""

from __future__ import annotations

from montecarlo.quantities import Array, Complex, Index
from montecarlo.quantities.compiled import njit

BEFORE, FAST, SLOW, LASTING, DIRECT, BESIDE = range(6)  # parts of a wave


@njit(entry=True, counted=False, nogil=True, error_model="numpy")
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
) -> None:
    """Waves as `waves.Fading` describes them.

    Parameters
    ----------
    out : (n, c, nt) array
        Takes the waves, in the unit of the parts.
    ends : (n, c) array of int
        From which point on a wave is 0; takes its first zero after clearing where that is earlier.
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
    """
    samples, channels, points = out.shape
    for s in range(samples):
        fast, slow, direct = decays[s, 0], decays[s, 1], decays[s, 2]
        for c in range(channels):
            wave, end = out[s, c], ends[s, c]
            before, beside = parts[s, c, BEFORE], parts[s, c, BESIDE]
            for i in range(min(start, end)):
                wave[i] = before.real * cosine[i] - before.imag * sine[i]

            first, second, last = parts[s, c, FAST], parts[s, c, SLOW], parts[s, c, LASTING]
            offset = parts[s, c, DIRECT].real
            for at in range(start, end, max(fast.size, 1)):
                part, turn, quarter = wave[at:end], cosine[at:end], sine[at:end]
                for i in range(min(fast.size, part.size)):
                    real = first.real * fast[i] + second.real * slow[i] + last.real
                    imag = first.imag * fast[i] + second.imag * slow[i] + last.imag
                    part[i] = real * turn[i] - imag * quarter[i] + offset * direct[i]
                first, second = first * again[s, 0], second * again[s, 1]
                offset *= again[s, 2]

            for i in range(opens[s], end):
                if wave[i] * wave[i - 1] <= 0:
                    change = wave[i - 1] - wave[i]
                    gone = wave[i - 1] / change if change else 0.0
                    if t[i - 1] + gone * (t[i] - t[i - 1]) > clearing_s[s]:
                        end = i
                        break
            ends[s, c] = end
            wave[end:] = 0.0
            if beside:
                for i in range(points):
                    wave[i] += beside.real * cosine[i] - beside.imag * sine[i]
