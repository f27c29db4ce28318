"""What a fault between two conductors of the winding carries, and what the branches carry with it.

The healthy winding and the loop that the fault closes, by superposition. Unit: rated current of a
branch, phase EMF.

    branch k:  0 = j sum_m X_km I_m + j X_kf I_f + V_phase       the branches of a phase sum to 0
    loop:      E_f = j sum_m X_fm I_m + (j X_ff + R_F) I_f

Only what the fault adds: a sound winding without load carries nothing. The loop runs from the
neutral to the first conductor and back from the second. The machine's terminals are open; a network
behind 0.1 pu adds 1 to 2 % to a fault within a phase (measured with the same equations).

Reactances from winding functions on a uniform air gap, one for each half of the stator's length:
X_km = K mean(N_k N_m) + leakage, K so that the forward fundamental field of balanced currents gives
X''d - X_l. Every harmonic in space is shielded alike (multi-loop method: Gao, Wang, Li, 1993; Wang
et al., IEE Proc. EPA 149, 2002, 143-151; from memory). Without shielding K gives Xd - X_l: the
other bound. Saliency, winding resistance and saturation are left out. Leakage: X_l/coils of each
coil with itself; n of its t turns have (n/t)((1 - c) + c n/t) of it, c the coupling (c = 1 derived,
no measurement found).

All branches leak alike, so one set of modes of the mutual part serves every X''d and X_l."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike

from montecarlo.plant.turns.catalogue import Contacts, up_to
from montecarlo.plant.turns.layout import Coils
from montecarlo.quantities import Array, Complex, Index

# quarters of a turn in each half of the length: of the first side, of the second
HALVES = ((0, 3), (1, 2))
NO_VOLTAGE = 1e-9  # over the phase EMF: rounding leaves 1e-15 of none; a turn has 1e-5 at least


# --- winding functions --------------------------------------------------------


def winding_functions(coils: Coils, paths: Array) -> Array:
    """Winding functions of paths through the winding, turns of a coil = 1. [-]

    Parameters
    ----------
    coils : Coils
    paths : (k, coils, 4) array
        How often, and in which direction, a path runs through the quarters of each coil.

    Returns
    -------
    (k, 2, slots) array
        In each half of the length, between one slot and the next; without its mean: no flux
        through the gap as a whole.
    """
    conductors = np.zeros((len(paths), 2, coils.slots))
    for half, quarters in enumerate(HALVES):
        for slots, quarter, sign in zip(coils.sides, quarters, (1, -1), strict=True):
            np.add.at(conductors[:, half].T, slots, sign * paths[..., quarter].T)
    found = np.cumsum(conductors, axis=2)
    return np.asarray(found - found.mean(axis=2, keepdims=True))


def fundamental(coils: Coils, functions: Array) -> Complex:
    """Peak phasors of the waves of as many pole pairs as the machine, mean over the length.

    Parameters
    ----------
    coils : Coils
    functions : (k, 2, slots) array

    Returns
    -------
    (k,) complex array
    """
    per_slot = coils.pole_pairs / coils.slots
    turned = np.exp(-2j * np.pi * per_slot * np.arange(coils.slots))
    stair = np.sinc(per_slot)  # of a wave with one step a slot
    return np.asarray(2 * functions.mean(axis=1) @ turned * stair / coils.slots)


# --- branches -----------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class Branches:
    """The parallel branches of a winding and the modes of currents that circulate in them."""

    coils: Coils

    @cached_property
    def _paths(self) -> Array:
        rows = np.arange(3 * self.coils.branches)
        return up_to(self.coils, rows, np.full(rows.size, self.coils.in_series))

    @cached_property
    def _functions(self) -> Array:
        return winding_functions(self.coils, self._paths)

    @cached_property
    def waves(self) -> Complex:
        """Fundamental of each branch, (3 P,)."""
        return fundamental(self.coils, self._functions)

    @property
    def factors(self) -> Array:
        """Winding factor k_w of each branch: its wave over that of as many coils of full pitch in
        the same slots, (3 P,). [-]"""
        full = 2 * self.coils.in_series / (np.pi * self.coils.pole_pairs)
        return np.asarray(np.abs(self.waves) / full)

    @cached_property
    def gap(self) -> float:
        """What makes pu of a sum of products of winding functions, per pu of X''d - X_l."""
        balanced = np.exp(1j * np.angle(self.waves))
        mutual = (self.waves[0] * self.waves.conj()).real / 2
        forward = max(abs(mutual @ balanced), abs(mutual @ balanced.conj()))
        return float(1 / (forward * 2 * self.coils.slots))

    @property
    def leak(self) -> float:
        """Leakage of a quarter of a coil, per pu of X_l."""
        return 1 / (4 * self.coils.in_series)

    @property
    def sides(self) -> Array:
        """1 for each branch of the first group, -1 for each of the second, (P,)."""
        return np.where(np.arange(self.coils.branches) < self.coils.branches // 2, 1.0, -1.0)

    @cached_property
    def modes(self) -> tuple[Array, Array]:
        """Sums of products (modes,), and the branches' currents in each, orthonormal: (3 P, modes);
        those of a phase sum to 0."""
        phases = np.repeat(np.eye(3), self.coils.branches, axis=0) / np.sqrt(self.coils.branches)
        _, _, rest = np.linalg.svd(phases.T)
        free = rest[3:].T
        each = _products(self._functions, self._functions)
        value, vector = np.linalg.eigh(free.T @ each @ free)
        return value, free @ vector

    def coupling(self, paths: Array, functions: Array) -> tuple[Array, Array]:
        """What links paths with the modes: products of winding functions, and coils in common.

        Parameters
        ----------
        paths : (k, coils, 4) array
        functions : (k, 2, slots) array

        Returns
        -------
        (k, modes) array, (k, modes) array
        """
        _, vector = self.modes
        return (
            _products(functions, self._functions) @ vector,
            _products(paths, self._paths) @ vector,
        )

    def differences(self, reactance_pu: float, leakage_pu: float) -> Array:
        """Difference of the groups where 1 leaves one branch for a fault, without the fault's own
        part of it; and that part, which the star link has.

        Parameters
        ----------
        reactance_pu, leakage_pu : float (pu)
            X''d and X_l.

        Returns
        -------
        (3, P, coils + 1, 4) array (-)
            The faulted phase, its branch, coils from the neutral to the fault; then of L1, L2, L3,
            and half of what leaves the first group less half of what leaves the second.
        """
        count, series = self.coils.branches, self.coils.in_series
        rows = np.repeat(np.arange(3 * count), series + 1)
        paths = up_to(self.coils, rows, np.tile(np.arange(series + 1), 3 * count))
        by_field, by_leakage = self.coupling(paths, winding_functions(self.coils, paths))
        gap, own = self.gap * (reactance_pu - leakage_pu), self.leak * leakage_pu
        value, _ = self.modes
        circulating = (gap * by_field + own * by_leakage) / (gap * value + leakage_pu)
        apart = (-circulating @ self.apart).reshape(3, count, series + 1, 3)
        link = np.broadcast_to(self.sides[:, None, None] / 2, (*apart.shape[:3], 1))
        return np.concatenate([apart, link], axis=-1)

    @property
    def apart(self) -> Array:
        """First half of each phase's branches minus the second, of the modes: (modes, 3)."""
        _, vector = self.modes
        each = vector.reshape(3, self.coils.branches, -1)
        return np.asarray(np.einsum("pbm,b->mp", each, self.sides))


def _products(one: Array, other: Array) -> Array:
    return np.asarray(one.reshape(len(one), -1) @ other.reshape(len(other), -1).T)


# --- faults -------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class FaultCurrents:
    """Over the rated current of a branch, at the machine's EMF; arrays over faults (n,)."""

    fault: Complex  # (n,)
    branches: Complex  # (n, 3, P): at the line end
    difference: Complex  # (n, 3): of the two groups of each phase, even P; at either end
    link: Complex  # (n,): half of what leaves the first group less half of what leaves the second

    @property
    def apart(self) -> Complex:
        """The last four of a machine's ten currents, as of `relays.places`: (n, 4)."""
        return np.concatenate([self.difference, self.link[:, None]], axis=1)


@dataclass(frozen=True, eq=False)
class TurnFaults:
    """The faults of a catalogue on its winding."""

    contacts: Contacts

    @cached_property
    def winding(self) -> Branches:
        """Its branches."""
        return Branches(self.contacts.coils)

    @cached_property
    def _functions(self) -> Array:
        return winding_functions(self.contacts.coils, self.contacts.loops)

    @cached_property
    def _coupling(self) -> tuple[Array, Array]:
        return self.winding.coupling(self.contacts.loops, self._functions)

    @cached_property
    def emf(self) -> Complex:
        """What drives each, the voltage between its two conductors, over the phase EMF; angle from
        that of L1. (contacts,)"""
        waves = fundamental(self.contacts.coils, self._functions)
        return np.asarray(waves / self.winding.waves[0])

    def weights(self, exponent: float) -> Array:
        """How likely each is beside the others: places times a power of the voltage between its two
        conductors.

        Inverse power law of insulation's ageing by voltage; 9 to 12 is often quoted for mica (from
        memory).

        Parameters
        ----------
        exponent : float (-)
            0: every place alike, whatever its voltage.

        Returns
        -------
        (contacts,) array (-)
            Of any sum; 0 without a voltage, unless the exponent is 0.
        """
        if exponent == 0:
            return self.contacts.count.astype(float)
        voltage = np.abs(self.emf)
        ageing = np.where(voltage > NO_VOLTAGE, voltage, 0.0) ** exponent
        return np.asarray(self.contacts.count * ageing)

    @cached_property
    def _own(self) -> tuple[Array, Array, Array]:
        """Sums over a loop: of products, of quarters, of their squares. (contacts,)"""
        share = np.abs(self.contacts.loops)
        squares = (self._functions**2).sum(axis=(1, 2))
        return squares, share.sum(axis=(1, 2)), (share**2).sum(axis=(1, 2))

    def currents(
        self,
        which: Index,
        *,
        reactance_pu: ArrayLike,
        leakage_pu: ArrayLike,
        coupling: ArrayLike = 1.0,
        fault_pu: ArrayLike = 0.0,
    ) -> FaultCurrents:
        """Some contacts as faults, each by itself.

        Parameters
        ----------
        which : (n,) array of int
            Their numbers.
        reactance_pu : (n,) array_like (pu)
            X''d; or Xd, for a gap without shielding.
        leakage_pu : (n,) array_like (pu)
            X_l, below it.
        coupling : (n,) array_like (-)
            Of the leakage of a coil's turns, 0 ... 1.
        fault_pu : (n,) array_like (pu)
            Resistance of the fault, times the rated current of a branch over the phase EMF.

        Returns
        -------
        FaultCurrents
        """
        winding, given = self.winding, (reactance_pu, leakage_pu, coupling, fault_pu)
        reactance, leakage, close, ohm = (
            np.broadcast_to(np.asarray(one, float), which.shape) for one in given
        )
        gap, own = winding.gap * (reactance - leakage), winding.leak * leakage
        value, vector = winding.modes
        by_field, by_leakage = (part[which] for part in self._coupling)
        drive = gap[:, None] * by_field + own[:, None] * by_leakage
        circulating = drive / (gap[:, None] * value + leakage[:, None])
        squares, quarters, quarters_2 = (part[which] for part in self._own)
        seen = gap * squares + own * ((1 - close) * quarters + close * quarters_2)
        seen = seen - (drive * circulating).sum(axis=1)
        fault = self.emf[which] / (ohm + 1j * seen)
        modes = -fault[:, None] * circulating
        coils = self.contacts.coils
        first, second = (
            winding.sides[coils.branch[each[which]]] / 2
            for each in (self.contacts.first, self.contacts.second)
        )
        return FaultCurrents(
            fault,
            (modes @ vector.T).reshape(-1, 3, coils.branches),
            modes @ winding.apart,
            fault * (first - second),
        )
