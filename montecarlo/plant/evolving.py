"""An external fault that becomes an internal one while it lasts: what the two ends carry.

The machine alone feeds both faults: the voltage beyond the external one is 0, and no infeed from
the network turns the line end's current round. The winding is linear (Z_w = jXx, k = 1), or its
two parts would not add up to X. Resistances damp the DC components only, as in the external fault's
own current.

Derived, by textbook superposition on each pair of phases that a fault joins: e drives x e and
(1 - x) e in the two parts of the winding, behind Z_n = xZ and Z_l = (1 - x)Z + Z_ext, and the
fault between them takes g times its voltage, g = c/R_F:

    I_n = e(1 + x g Z_l)/D      I_l = e(1 + (1 - x) g Z_n)/D      D = Z_n + Z_l + g Z_n Z_l

c = 1 for each phase of three, c = 2 for the difference of two. R_F without bound leaves the
external current e/(Z_n + Z_l) at both ends. Each end's current is continuous when the internal
fault begins.

When the external fault is cleared the line end's current is interrupted as outside. What flows
into the internal fault, the difference of the ends, goes over to x e/(Z_n + R_F/c), the neutral
end's alone, without a jump: so it sums to 0 at any time, as the fault is clear of earth. This is
exact for the AC components; the DC component begins with an error of what the line end carries at
that instant."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Annotated, Literal

import numpy as np
from numpy.typing import ArrayLike

from montecarlo.plant.decrement import ExternalFaultKind
from montecarlo.plant.events.wave_kernel import interrupt
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
) -> tuple[Complex, Complex, Complex]:
    """What the two ends carry with both faults, from what they carry with the external one; and
    what flows into the internal one alone.

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
    three (n, 3) complex arrays
        Neutral end; line end; the internal fault alone. In the unit of `external`.
    """
    rows, (after, last) = np.arange(len(external)), ((healthy + k) % 3 for k in (1, 2))
    pair = np.zeros_like(external)
    pair[rows, after] = (external[rows, after] - external[rows, last]) / 2
    pair[rows, last] = -pair[rows, after]
    part = external if event == kind == "three_phase" else pair
    paths = 2 if kind == "phase_phase" else 1
    factors = end_factors(x, winding_ohm, outside_ohm, fault_ohm, paths)
    neutral, line = (external + (factor - 1)[:, None] * part for factor in factors)
    driven = _driven(x, winding_ohm, outside_ohm, fault_ohm, paths)
    alone = driven[:, None] * part
    if event == "phase_phase" and kind == "three_phase":
        # the EMF of the third phase over that between the two, behind one winding instead of two
        third = 2 * driven * pair[rows, after] / _JOINED
        for phase, share in ((healthy, 1.0), (after, -0.5), (last, -0.5)):
            neutral[rows, phase] += share * third
            alone[rows, phase] += share * third
    return neutral, line, alone


def _driven(
    x: ArrayLike, winding_ohm: ArrayLike, outside_ohm: ArrayLike, fault_ohm: ArrayLike, paths: int
) -> Complex:
    """x c e/(R_F + c Z_n), from the neutral end alone, over the external fault's current. [-]"""
    place, whole = np.asarray(x, float), np.asarray(winding_ohm, complex)
    loop = np.where(place == 0, 1.0, np.asarray(fault_ohm) + paths * place * whole)
    return np.asarray(paths * place * (whole + np.asarray(outside_ohm)) / loop)


# --- in time ------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class TwoEnds:
    """An external fault's current as it begins, and what becomes of its stages: peak phasors (n, 3)
    each, in turn behind X''d, X'd, Xd."""

    external: Fading
    neutral: tuple[Complex, ...]  # at the ends, with both faults
    line: tuple[Complex, ...]
    alone: tuple[Complex, ...]  # into the internal fault alone
    # time constants of the DC components that begin with the internal fault, (n,)
    neutral_s: Array
    line_s: Array

    def at(self, t: Array, omega: float, after_s: Array, clearing_s: Array) -> Array:
        """Currents of the six CT places, in the unit of the phasors.

        Parameters
        ----------
        t : (nt,) array (s)
            Increasing; the internal fault begins at 0, the external one at -after_s.
        omega : float (rad/s)
        after_s : (n,) array (s)
        clearing_s : (n,) array (s)
            Of the external fault, from its own inception.

        Returns
        -------
        (n, 6, nt) array
        """
        start, turned = int(np.searchsorted(t, 0.0)), np.exp(1j * omega * after_s)[:, None]
        outside = self._outside(turned)
        late, cleared_s = t[None, start:], np.maximum(clearing_s - after_s, 0.0)[:, None]
        at_0, at_clearing, every = (
            self._rows(at, omega, after_s) for at in (np.zeros_like(cleared_s), cleared_s, late)
        )
        begins = _sum(outside, self._before(np.zeros(1), omega, after_s))
        neutral = _goes_on(self.neutral, turned, begins, at_0, self.neutral_s)
        line = _goes_on(self.line, turned, begins, at_0, self.line_s)
        apart = neutral(at_clearing, cleared_s) - line(at_clearing, cleared_s)
        alone = _goes_on(self.alone, turned, apart, at_clearing, self.neutral_s)
        at_end = line(every, late)
        inside = np.where(
            (late >= cleared_s)[:, None],
            alone(every, np.maximum(late - cleared_s, 0.0)),
            neutral(every, late) - at_end,
        )
        opens = np.maximum(np.searchsorted(late[0], cleared_s[:, 0], side="right"), 1)
        times = late[0].copy()  # interrupt is compiled for whole arrays
        for wave, at_s, point in zip(at_end, cleared_s[:, 0], opens, strict=True):
            interrupt(wave, times, at_s, point)
        out = np.empty((len(after_s), 6, t.size))
        out[:, :3, :start] = _sum(outside, self._before(t[:start], omega, after_s))
        out[:, 3:, :start] = out[:, :3, :start]
        out[:, :3, start:], out[:, 3:, start:] = inside + at_end, at_end
        return out

    def _rows(self, t: Array, omega: float, after_s: Array) -> Array:
        """What AC components are made of, at times (1 or n, nt): (n, 6, nt)."""
        return _sinusoids(_decays(self.external, t + after_s[:, None]), omega * t[:, None])

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


def _goes_on(
    stages: Sequence[Complex], turned: Complex, begins: Array, rows: Array, direct_s: Array
) -> Callable[[Array, Array], Array]:
    """A current that begins with `begins` (n, 3, 1), where AC components are `rows` (n, 6, 1): from
    rows (n, 6, nt) and times since then (1 or n, nt) on, (n, 3, nt)."""
    parts = _parts(stages) * turned[..., None]
    weights = np.concatenate([parts.real, -parts.imag], axis=-1)
    direct = begins - _sum(weights, rows)

    def current(rows: Array, since_s: Array) -> Array:
        return _sum(weights, rows) + direct * np.exp(-since_s / direct_s[:, None])[:, None]

    return current


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
