"""What the waveforms of external events are made of."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from montecarlo.plant.machine import PHASE_ROTATION
from montecarlo.quantities import Array, Complex, Index


def rotating(phasor: Complex, angle: Array, out: Array) -> None:
    """A balanced sinusoid, written into `out`.

    Parameters
    ----------
    phasor : (n,) complex array
        Of L1, peak.
    angle : (m,) array (rad)
        omega t.
    out : (n, 3, m) array
    """
    turned = phasor[:, None] * PHASE_ROTATION
    np.multiply(turned.real[..., None], np.cos(angle), out=out)
    out -= turned.imag[..., None] * np.sin(angle)


def interrupt(currents: Array, t: Array, clearing_s: Array) -> Index:
    """End each phase at its first zero after its clearing time, in place: 0 from the next time on.

    The zero's instant is interpolated: otherwise which half cycle is the last would hang on the
    grid.

    Parameters
    ----------
    currents : (n, c, nt) array
    t : (nt,) array (s)
    clearing_s : (n,) array (s)

    Returns
    -------
    (n, c) array of int
        Index of the first time without current; nt where the phase goes on.
    """
    if not t.size or not t[-1] > clearing_s.min():
        return np.full(currents.shape[:2], t.size)
    start = max(int(np.searchsorted(t, clearing_s.min(), side="right")) - 1, 0)
    tail = currents[..., start:]
    change = (tail[..., 1:] * tail[..., :-1] <= 0) & (t[start + 1 :] > clearing_s[:, None])[:, None]
    at = change.argmax(axis=-1)[..., None]
    before, after = (np.take_along_axis(tail, at + k, axis=-1) for k in (0, 1))
    gone = np.divide(before, before - after, out=np.zeros(before.shape), where=before != after)
    zero_s = t[start + at] + gone * (t[start + at + 1] - t[start + at])
    early = zero_s <= clearing_s[:, None, None]
    np.put_along_axis(change, at, np.take_along_axis(change, at, axis=-1) & ~early, axis=-1)
    first = np.where(change.any(axis=-1), start + 1 + change.argmax(axis=-1), t.size)
    end(currents, first)
    return first


def end(currents: Array, first: Index) -> None:
    """Set currents to 0 from an index on, in place.

    Parameters
    ----------
    currents : (n, c, nt) array
    first : (n, c) array of int
    """
    start = int(first.min(initial=currents.shape[-1]))
    tail = currents[..., start:]
    tail[start + np.arange(tail.shape[-1]) >= first[..., None]] = 0.0


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
    return phasors.real[..., None] * np.cos(angle) - phasors.imag[..., None] * np.sin(angle)


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
    """A current that an event adds at t = 0."""

    # peak phasors (n, c) behind X''d, X'd, Xd as if each lasted
    stages: Sequence[Complex]
    fast_s: Array  # T'' and T', (n,)
    slow_s: Array
    # of the DC component (n,) that makes it start from 0; None: it jumps
    direct_s: Array | None = None

    def at(self, t: Array, omega: float) -> Array:
        """The current, in the unit of its phasors.

        Parameters
        ----------
        t : (nt,) array (s)
        omega : float (rad/s)

        Returns
        -------
        (n, c, nt) array
            0 before t = 0.
        """
        first, second, last = self.stages
        start = int(np.searchsorted(t, 0.0))
        when = t[start:]
        fast = np.exp(-when / self.fast_s[:, None])
        slow = np.exp(-when / self.slow_s[:, None])
        turning = np.exp(1j * omega * when)
        out = np.zeros((*first.shape, t.size))
        for c in range(out.shape[1]):  # channel by channel, for the memory
            phasor = (
                (first - second)[:, c, None] * fast
                + (second - last)[:, c, None] * slow
                + last[:, c, None]
            )
            phasor *= turning
            out[:, c, start:] = phasor.real
            if self.direct_s is not None:
                direct = np.exp(-when / self.direct_s[:, None])
                out[:, c, start:] -= first.real[:, c, None] * direct
        return out
