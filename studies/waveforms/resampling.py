"""Currents at another sampling rate: band-limited first, so that no frequency above half of the new
rate comes back as a lower one (Shannon; windowed sinc after Kaiser, textbook, from memory)."""

from __future__ import annotations

import numpy as np

from montecarlo.quantities import Array

PASS = 0.42  # of the new rate: where half of the amplitude passes
CROSSINGS = 16  # zeros of the sinc to each side
BETA = 8.0  # of Kaiser's window: 80 dB; flat to 0.34 of the new rate, nothing from half of it on
AT_ONCE = 4096  # new samples that are worked out together


def band_limited(values: Array, first_s: float, step_s: float, times_s: Array) -> Array:
    """Evenly spaced values at other times, without what the new rate cannot show.

    Parameters
    ----------
    values : ndarray (channels, steps)
        At `first_s`, `first_s + step_s`, ...; the last value stands for all later ones, the first
        for all earlier ones.
    first_s, step_s : float
    times_s : ndarray (samples,)
        Evenly spaced, farther apart than `step_s`.

    Returns
    -------
    ndarray (channels, samples)
    """
    cutoff_hz = PASS / float(times_s[1] - times_s[0])
    reach = int(np.ceil(CROSSINGS / (2 * cutoff_hz) / step_s))
    near = np.arange(-reach, reach + 1)
    found = []
    for start in range(0, times_s.size, AT_ONCE):
        at = (times_s[start : start + AT_ONCE] - first_s) / step_s
        steps = np.rint(at).astype(np.int64)[:, None] + near
        away = 2 * cutoff_hz * step_s * (at[:, None] - steps)
        inside = np.sqrt(np.maximum(1 - (away / CROSSINGS) ** 2, 0.0))
        weight = np.sinc(away) * np.i0(BETA * inside) * (np.abs(away) < CROSSINGS)
        weight /= weight.sum(axis=1, keepdims=True)
        kept = values[:, np.clip(steps, 0, values.shape[1] - 1)]
        found.append(np.einsum("csk,sk->cs", kept, weight))
    return np.concatenate(found, axis=1)
