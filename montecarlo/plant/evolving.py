"""An external fault that becomes an internal one while it lasts: what the two ends carry.

The machine alone feeds both faults: the voltage beyond the external one is 0, and no infeed from
the network turns the line end's current round. The external fault lasts on. The winding is linear
(Z_w = jXx, k = 1), or its two parts would not add up to X. Resistances damp the DC components only,
as in the external fault's own current.

Derived, by textbook superposition on each pair of phases that a fault joins: e drives x e and
(1 - x) e in the two parts of the winding, behind Z_n = xZ and Z_l = (1 - x)Z + Z_ext, and the
fault between them takes g times its voltage, g = c/R_F:

    I_n = e(1 + x g Z_l)/D      I_l = e(1 + (1 - x) g Z_n)/D      D = Z_n + Z_l + g Z_n Z_l

c = 1 for each phase of three, c = 2 for the difference of two. R_F without bound leaves the
external current e/(Z_n + Z_l) at both ends. Each end's current is continuous when the internal
fault begins."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated, Literal

import numpy as np
from numpy.typing import ArrayLike

from montecarlo.plant.decrement import ExternalFaultKind
from montecarlo.plant.events.waves import Fading
from montecarlo.plant.machine import PHASE_ROTATION
from montecarlo.quantities import Array, Complex, Distribution, Index, Quantity, Section, word

EvolvingKind = Literal["phase_phase", "three_phase"]
_JOINED = PHASE_ROTATION[1] - PHASE_ROTATION[2]  # EMF between two phases over that of the third


class Evolving(Section):
    """The external fault that becomes an internal one, when, and what it becomes."""

    event: Annotated[
        str, word("name of the external event, of kind three_phase or phase_phase, that it follows")
    ]
    after_s: Annotated[
        Distribution,
        Quantity(
            "s",
            "from the external fault's inception to that of the internal one",
            0.0,
            high=5.0,
            varies="event",
        ),
    ]
    kind: Annotated[
        EvolvingKind, word("what it becomes: phase_phase joins the pair of a phase_phase event")
    ]

    @property
    def longest_s(self) -> float:
        """The external fault alone lasts at most so long. [s]"""
        return self.after_s.support()[1]


# --- AC components ------------------------------------------------------------


def end_factors(
    x: ArrayLike,
    winding_ohm: ArrayLike,
    outside_ohm: ArrayLike,
    fault_ohm: ArrayLike,
    paths: int,
) -> tuple[Complex, Complex]:
    """Currents of the two ends over the external fault's. [-]

    The equations at the head of the module, multiplied by R_F, so that it may be 0. Where one of
    the two impedances is 0 the internal fault changes nothing, whatever its resistance.

    Parameters
    ----------
    x : array_like (-)
        From the neutral, 0 ... 1.
    winding_ohm : complex array_like (ohm)
        Z, of the whole winding per phase.
    outside_ohm : complex array_like (ohm)
        Z_ext, from the terminals to the external fault, per phase.
    fault_ohm : array_like (ohm)
        R_F: per phase of a three-phase fault, or between two phases.
    paths : 1 or 2
        c.

    Returns
    -------
    (complex array, complex array)
        Neutral end, line end; broadcast.

    Examples
    --------
    >>> ends = end_factors(0.6, 0.15j, 0.13j, [1e9, 0.0], 1)
    >>> [np.round(abs(end), 3).tolist() for end in ends]
    [[1.0, 1.867], [1.0, 0.589]]
    """
    place, whole = np.asarray(x, float), np.asarray(winding_ohm, complex)
    neutral = place * whole
    line = (1 - place) * whole + np.asarray(outside_ohm)
    ohm = np.where(neutral * line == 0, 1.0, fault_ohm)
    both = neutral + line
    scale = both / (ohm * both + paths * neutral * line)
    return (
        np.asarray((ohm + paths * place * line) * scale),
        np.asarray((ohm + paths * (1 - place) * neutral) * scale),
    )


def end_phasors(  # noqa: PLR0913
    event: ExternalFaultKind,
    kind: EvolvingKind,
    external: Complex,
    healthy: Index,
    x: ArrayLike,
    winding_ohm: ArrayLike,
    outside_ohm: ArrayLike,
    fault_ohm: ArrayLike,
) -> tuple[Complex, Complex]:
    """What the two ends carry with both faults, from what they carry with the external one.

    Three phases outside: all of the current changes, or the difference of the two phases that the
    internal fault joins. Two phases outside: their difference changes, load goes on. If all three
    meet inside, the third gets x e/(Z_n + R_F) of its own at the neutral end, and half of that
    returns in each of the others.

    Parameters
    ----------
    event : "three_phase" or "phase_phase"
    kind : "three_phase" or "phase_phase"
        The internal fault's.
    external : (n, 3) complex array
        Phasors of L1, L2, L3, in any unit of current.
    healthy : (n,) array of int
        0, 1 or 2: the phase that a fault between two leaves out, the same outside and inside.
    x, winding_ohm, outside_ohm, fault_ohm
        (n,), as of `end_factors`.

    Returns
    -------
    ((n, 3) complex array, (n, 3) complex array)
        Neutral end, line end, in the unit of `external`.
    """
    rows, (after, last) = np.arange(len(external)), ((healthy + k) % 3 for k in (1, 2))
    pair = np.zeros_like(external)
    pair[rows, after] = (external[rows, after] - external[rows, last]) / 2
    pair[rows, last] = -pair[rows, after]
    part = external if event == kind == "three_phase" else pair
    factors = end_factors(x, winding_ohm, outside_ohm, fault_ohm, 2 if kind == "phase_phase" else 1)
    neutral, line = (external + (factor - 1)[:, None] * part for factor in factors)
    if event == "phase_phase" and kind == "three_phase":
        place, whole = np.asarray(x, float), np.asarray(winding_ohm, complex)
        loop = np.where(place == 0, 1.0, place * whole + np.asarray(fault_ohm))
        alone = 2 * place * (whole + np.asarray(outside_ohm)) / loop * pair[rows, after] / _JOINED
        for phase, share in ((healthy, 1.0), (after, -0.5), (last, -0.5)):
            neutral[rows, phase] += share * alone
    return neutral, line


# --- in time ------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class TwoEnds:
    """An external fault's current as it begins, and what both ends make of its stages once the
    internal fault is there: peak phasors (n, 3) each, in turn behind X''d, X'd, Xd."""

    external: Fading
    neutral: tuple[Complex, ...]
    line: tuple[Complex, ...]
    neutral_s: Array  # time constants of the DC components that begin with the internal fault, (n,)
    line_s: Array

    def at(self, t: Array, omega: float, after_s: Array) -> Array:
        """Currents of the six CT places, in the unit of the phasors.

        Parameters
        ----------
        t : (nt,) array (s)
            Increasing; the internal fault begins at 0, the external one at -after_s.
        omega : float (rad/s)
        after_s : (n,) array (s)

        Returns
        -------
        (n, 6, nt) array
        """
        start = int(np.searchsorted(t, 0.0))
        outside, turned = self.external, np.exp(1j * omega * after_s)[:, None]
        alone = _sum(self._outside(turned), self._before(t[:start], omega, after_s))
        begins = _sum(self._outside(turned), self._before(np.zeros(1), omega, after_s))[..., 0]
        out = np.empty((len(after_s), 6, t.size))
        out[:, :3, :start] = out[:, 3:, :start] = alone
        late = t[start:]
        fades = _decays(outside, late[None] + after_s[:, None])
        now = _decays(outside, after_s[:, None])[..., 0]
        for channels, stages, direct_s in (
            (slice(0, 3), self.neutral, self.neutral_s),
            (slice(3, 6), self.line, self.line_s),
        ):
            parts = _parts(stages) * turned[..., None]
            # continuous where the internal fault begins
            direct = begins - (parts * now[:, None]).sum(axis=-1).real
            rows = _sinusoids(fades, omega * late)
            decay = np.exp(-late[None] / direct_s[:, None])[:, None]
            weights = np.concatenate([parts.real, -parts.imag, direct[..., None]], axis=-1)
            out[:, channels, start:] = _sum(weights, np.concatenate([rows, decay], axis=1))
        return out

    def _outside(self, turned: Complex) -> Array:
        """Weights of `_before`, (n, 3, 9)."""
        outside = self.external
        before = np.broadcast_to(outside.before, outside.stages[0].shape)
        parts = np.concatenate([before[..., None], _parts(outside.stages)], axis=-1)
        direct = (before - outside.stages[0]).real
        parts = parts * turned[..., None]
        return np.concatenate([parts.real, -parts.imag, direct[..., None]], axis=-1)

    def _before(self, t: Array, omega: float, after_s: Array) -> Array:
        """Load, then the external fault, up to the internal one: (n, 9, nt)."""
        since = t[None] + after_s[:, None]
        there = (since >= 0).astype(float)[:, None]
        fades = _decays(self.external, np.maximum(since, 0.0)) * there
        rows = _sinusoids(np.concatenate([1 - there, fades], axis=1), omega * t)
        decay = np.exp(-np.maximum(since, 0.0) / self.external.direct_s[:, None])[:, None]
        return np.concatenate([rows, decay * there], axis=1)


def _parts(stages: Sequence[Complex]) -> Complex:
    """What fades fast, what fades slowly and what lasts, (n, c, 3)."""
    first, second, last = stages
    return np.stack([first - second, second - last, last], axis=-1)


def _decays(wave: Fading, since_s: Array) -> Array:
    """How each of these fades, (n, 3, nt), from times (n, nt)."""
    fast, slow = (np.exp(-since_s / time_s[:, None]) for time_s in (wave.fast_s, wave.slow_s))
    return np.stack([fast, slow, np.ones_like(fast)], axis=1)


def _sinusoids(amplitudes: Array, angle: Array) -> Array:
    """Cosines of all, then sines: (n, 2k, nt) from (n, k, nt)."""
    return np.concatenate([amplitudes * np.cos(angle), amplitudes * np.sin(angle)], axis=1)


def _sum(weights: Array, rows: Array) -> Array:
    """(n, c, k) of (n, k, nt)."""
    return np.asarray(np.matmul(weights, rows))
