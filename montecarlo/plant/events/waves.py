"""What the waveforms of external events are made of."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from montecarlo.plant.machine import PHASE_ROTATION, ComplexArray, FloatArray


def rotating(phasor: ComplexArray, angle: FloatArray, out: FloatArray) -> None:
    """A balanced sinusoid of L1's phasor (n,) at the angles omega t (m,), into out (n, 3, m)."""
    turned = phasor[:, None] * PHASE_ROTATION
    np.multiply(turned.real[..., None], np.cos(angle), out=out)
    out -= turned.imag[..., None] * np.sin(angle)


def interrupt(currents: FloatArray, t: FloatArray, clearing_s: FloatArray) -> NDArray[np.int64]:
    """End each phase (n, c, nt) at its first change of sign after its clearing time (n,), in place: 0 from there on.

    Returns the index of the first time without current, (n, c); nt where the phase goes on."""
    if not t.size or not t[-1] > clearing_s.min():
        return np.full(currents.shape[:2], t.size)
    start = max(int(np.searchsorted(t, clearing_s.min(), side="right")) - 1, 0)
    tail = currents[..., start:]
    change = (tail[..., 1:] * tail[..., :-1] <= 0) & (t[start + 1:] > clearing_s[:, None])[:, None]
    first = np.where(change.any(axis=-1), start + 1 + change.argmax(axis=-1), t.size)
    end(currents, first)
    return first


def end(currents: FloatArray, first: NDArray[np.int64]) -> None:
    """0 from the index `first` (n, c) on, in place; currents (n, c, nt)."""
    start = int(first.min(initial=currents.shape[-1]))
    tail = currents[..., start:]
    tail[start + np.arange(tail.shape[-1]) >= first[..., None]] = 0.0
