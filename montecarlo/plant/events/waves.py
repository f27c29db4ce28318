"""What the waveforms of external events are made of."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import isqrt

import numpy as np

from montecarlo.plant.events.wave_kernel import (
    BEFORE,
    BESIDE,
    DIRECT,
    FAST,
    LASTING,
    NONE,
    SLOW,
    write,
)
from montecarlo.plant.machine import PHASE_ROTATION
from montecarlo.quantities import Array, Complex, Index


def sinusoids(phasors: Complex, angle: Array) -> Array:
    """Sinusoids of peak phasors, in their unit.

    Parameters
    ----------
    phasors : (n, c) complex array
    angle : (m,) array (rad)
        omega t, increasing.

    Returns
    -------
    (n, c, m) array
    """
    return steps(phasors, phasors, angle)


def steps(before: Complex, during: Complex, angle: Array) -> Array:
    """Sinusoids that jump from one set of peak phasors to another at t = 0, in their unit.

    Parameters
    ----------
    before, during : (n, c) complex array
    angle : (m,) array (rad)
        omega t, increasing.

    Returns
    -------
    (n, c, m) array
    """
    never = np.full(len(during), np.inf)
    lasting = Fading(
        stages=(during,) * 3, fast_s=never, slow_s=never, direct_s=never, direct=0.0, before=before
    )
    return lasting.at(angle, 1.0)[0]


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
    direct_s: Array  # of the DC component, (n,)
    direct: Array | float | None = (
        None  # what it begins with, (n, c); None: the current is continuous
    )
    before: Complex | float = 0.0
    beside: Complex | float = 0.0  # goes on through all of it, whatever is cleared

    def at(
        self,
        t: Array,
        omega: float,
        clearing_s: Array | None = None,
        follows: Index | None = None,
        ends: Index | None = None,
    ) -> tuple[Array, Index]:
        """The current, in the unit of its phasors; where it is cleared, it ends at a zero after
        that: `beside` alone from the next time on.

        Three phases are interrupted as by `wave_kernel.interrupt`. A zero's instant is
        interpolated: otherwise which half cycle is the last would hang on the grid.

        Parameters
        ----------
        t : (nt,) array (s)
            Increasing.
        omega : float (rad/s)
        clearing_s : (n,) array (s), optional
        follows : (n,) array of int, optional
            The channel with whose zero all end, where one path carries all of it.
        ends : (n,) array of int, optional
            Where it ends at the latest.

        Returns
        -------
        (n, c, nt) array
        (n,) array of int
            Index of the first time without it; nt where it goes on.
        """
        first, second, last = self.stages
        parts = np.empty((*first.shape, 6), complex)
        parts[..., BEFORE], parts[..., BESIDE] = self.before, self.beside
        parts[..., FAST], parts[..., SLOW] = first - second, second - last
        parts[..., LASTING] = last
        continuous = parts[..., BEFORE].real - first.real
        parts[..., DIRECT] = continuous if self.direct is None else self.direct
        start = int(np.searchsorted(t, 0.0))
        every, span_s = _repeats(t[start:])
        times_s = np.stack([self.fast_s, self.slow_s, self.direct_s], axis=1)
        decays = np.exp(-t[start : start + every] / times_s[..., None])
        again = np.exp(-span_s / times_s)
        cleared_s = np.full(len(parts), np.inf) if clearing_s is None else clearing_s.copy()
        opens = np.maximum(np.searchsorted(t, cleared_s, side="right"), 1)
        turning = np.cos(omega * t), np.sin(omega * t)
        wave = np.empty((*first.shape, t.size))
        end = np.full(len(parts), t.size) if ends is None else ends.copy()
        path = np.full(len(parts), NONE) if follows is None else follows.copy()
        # of copies: it is compiled for one form of array
        write(wave, end, start, parts, decays, again, *turning, t.copy(), cleared_s, opens, path)
        return wave, end


def _repeats(t: Array) -> tuple[int, float]:
    """After how many points the steps of a grid repeat, about the root of all, and how long they
    take [s]; all points where none repeats. Exponentials of so many make those of the rest."""
    every = -(-isqrt(t.size) // 8) * 8
    if every < t.size:
        span_s = float(t[every] - t[0])
        rows = span_s * np.arange(-(-t.size // every))[:, None] + t[:every]
        if (np.abs(rows.ravel()[: t.size] - t) <= 1e-15 * np.abs(t)).all():
            return every, span_s
    return t.size, 0.0
