"""What the waveforms of external events are made of."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import isqrt

import numpy as np

from montecarlo.plant.events.wave_kernel import BEFORE, BESIDE, FAST, LASTING, SLOW, write
from montecarlo.plant.machine import PHASE_ROTATION
from montecarlo.quantities import Array, Complex, Index


def sinusoids(phasors: Complex, angle: Array) -> Array:
    """Sinusoids of peak phasors, in their unit.

    Parameters
    ----------
    phasors : (n, c) complex array
    angle : (m,) array (rad)
        omega t.

    Returns
    -------
    (n, c, m) array
    """
    n = len(phasors)
    parts = np.zeros((*phasors.shape, 5), complex)
    parts[..., BEFORE] = phasors
    decays = np.zeros((n, 3, 1)), np.zeros((n, 3))
    return _written(parts, angle.size, *decays, angle, angle, np.full(n, np.inf), None)[0]


def of_sequences(
    zero: Complex | float,
    positive: Complex,
    negative: Complex,
    phase: Index,
) -> Complex:
    """Phasors of L1, L2, L3 from symmetrical components, all for a voltage of L1 at angle 0.

    Parameters
    ----------
    zero, positive, negative : (n,) complex array
    phase : (n,) array of int
        From which they count.

    Returns
    -------
    (n, 3) complex array
    """
    place = np.mod(np.arange(3) - phase[:, None], 3)
    one, turning, against = (np.asarray(part)[..., None] for part in (zero, positive, negative))
    return np.asarray(
        PHASE_ROTATION[phase][:, None]
        * (one + turning * PHASE_ROTATION[place] + against * PHASE_ROTATION[place].conj())
    )


@dataclass(frozen=True, kw_only=True)
class Fading:
    """A current that begins to fade at t = 0, peak phasors (n, c)."""

    stages: Sequence[Complex]  # behind X''d, X'd, Xd as if each lasted
    fast_s: Array  # T'' and T', (n,)
    slow_s: Array
    # of the DC component (n,) that makes it go on from `before`; None: it jumps
    direct_s: Array | None = None
    before: Complex | float = 0.0
    beside: Complex | float = 0.0  # goes on through all of it, whatever is cleared

    def at(
        self, t: Array, omega: float, clearing_s: Array | None = None, ends: Index | None = None
    ) -> tuple[Array, Index]:
        """The current, in the unit of its phasors; where it is cleared, each channel ends at its
        first zero after that: `beside` alone from the next time on.

        The zero's instant is interpolated: otherwise which half cycle is the last would hang on the
        grid.

        Parameters
        ----------
        t : (nt,) array (s)
            Increasing.
        omega : float (rad/s)
        clearing_s : (n,) array (s), optional
        ends : (n, c) array of int, optional
            Where it ends at the latest.

        Returns
        -------
        (n, c, nt) array
        (n, c) array of int
            Index of the first time without it; nt where it goes on.
        """
        first, second, last = self.stages
        parts = np.empty((*first.shape, 5), complex)
        parts[..., BEFORE], parts[..., BESIDE] = self.before, self.beside
        parts[..., FAST], parts[..., SLOW] = first - second, second - last
        parts[..., LASTING] = last
        start = int(np.searchsorted(t, 0.0))
        every, span_s = _repeats(t[start:])
        direct_s = self.fast_s if self.direct_s is None else self.direct_s
        times_s = np.stack([self.fast_s, self.slow_s, direct_s], axis=1)
        decays = np.exp(-t[start : start + every] / times_s[..., None])
        if self.direct_s is None:
            decays[:, 2] = 0.0
        if clearing_s is None:
            clearing_s = np.full(len(parts), np.inf)
        again = np.exp(-span_s / times_s)
        return _written(parts, start, decays, again, t, omega * t, clearing_s, ends)


def _repeats(t: Array) -> tuple[int, float]:
    """After how many points the steps of a grid repeat, about the root of all, and how long they
    take [s]; all points where none repeats. Exponentials of so many make those of the rest."""
    every = -(-isqrt(t.size) // 8) * 8
    if every < t.size:
        span_s = float(t[every] - t[0])
        rows = span_s * np.arange(-(-t.size // every))[:, None] + t[:every]
        if np.allclose(rows.ravel()[: t.size], t, rtol=1e-15, atol=0.0):
            return every, span_s
    return t.size, 0.0


def _written(  # noqa: PLR0913
    parts: Complex,
    start: int,
    decays: Array,
    again: Array,
    t: Array,
    angle: Array,
    clearing_s: Array,
    ends: Index | None,
) -> tuple[Array, Index]:
    """As `write` takes them, and what `Fading.at` returns."""
    wave = np.empty((*parts.shape[:2], t.size))
    end = np.full(parts.shape[:2], t.size) if ends is None else ends.copy()
    opens = np.maximum(np.searchsorted(t, clearing_s, side="right"), 1)
    turning = np.cos(angle), np.sin(angle)
    # copies: the one form of array that it is compiled for
    write(wave, end, start, parts, decays, again, *turning, t.copy(), clearing_s.copy(), opens)
    return wave, end
