"""What a fault between two conductors of the winding carries, and what the branches carry with it.

The healthy winding and the loop that the fault closes, by superposition. Unit: rated current of a
branch, phase EMF.

    branch k:  E_k - V = j sum_m X_km I_m + j X_kf I_f
    loop:      E_f = j sum_m X_fm I_m + (j X_ff + R_F) I_f
    V = j X_g times the phase's current; without a network the branches of a phase sum to 0

The loop runs from the neutral to the first conductor and back from the second. Only what the fault
adds: E_k is the open machine's, which the network's voltage equals, so a sound winding carries
nothing. The three phases have no sum: faults to earth are another model's.

Reactances from winding functions on a uniform air gap, one for each half of the stator's length:
X_km = K mean(N_k N_m) + leakage, K so that the forward fundamental field of balanced currents gives
X''d - X_l. Every harmonic in space is
shielded alike (multi-loop method: Gao, Wang, Li, 1993; Wang et al., IEE Proc. EPA 149, 2002,
143-151; from memory). Without shielding K gives Xd - X_l: the other bound. Saliency, winding
resistance and saturation are left out. Leakage: X_l/coils of each coil with itself; n of its t
turns have (n/t)((1 - c) + c n/t) of it, c the coupling (c = 1 derived, no measurement found)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from montecarlo.plant.turns.catalogue import Contacts
from montecarlo.plant.turns.layout import Coils
from montecarlo.quantities import Array, Complex


# quarters of a turn in each half of the length: of the first side, of the second
HALVES = ((0, 3), (1, 2))


@dataclass(frozen=True, eq=False)
class FaultCurrents:
    """What each contact carries as a fault of its own, over the rated current of a branch."""

    fault: Complex  # (c,)
    line_end: Complex  # (c, 3, P): every branch of every phase
    neutral_end: Complex

    @staticmethod
    def difference(branches: Complex) -> Complex:
        """Of the two groups of each phase: its first half of the branches minus the second.

        Parameters
        ----------
        branches : (c, 3, P) complex array
            At either end, P even.

        Returns
        -------
        (c, 3) complex array
        """
        half = branches.shape[2] // 2
        return np.asarray(branches[..., :half].sum(axis=2) - branches[..., half:].sum(axis=2))


def winding_functions(coils: Coils, paths: Array) -> Array:
    """Winding functions of paths through the winding, turns of a coil = 1. [-]

    Parameters
    ----------
    coils : Coils
    paths : (paths, coils, 4) array
        How often, and in which direction, a path runs through the quarters of each coil; closed.

    Returns
    -------
    (paths, 2, slots) array
        In each half of the length, between one slot and the next; without its mean: no flux
        through the gap as a whole.
    """
    conductors = np.zeros((len(paths), 2, coils.slots))
    for half, quarters in enumerate(HALVES):
        for slots, quarter, sign in zip(
            (coils.first, coils.second), quarters, (1, -1), strict=True
        ):
            np.add.at(conductors[:, half].T, slots, sign * paths[..., quarter].T)
    found = np.cumsum(conductors, axis=2)
    return np.asarray(found - found.mean(axis=2, keepdims=True))


def fundamental(coils: Coils, functions: Array) -> Complex:
    """Peak phasor of a winding function's wave of as many pole pairs as the machine, mean over the
    length: (paths,)."""
    per_slot = coils.pole_pairs / coils.slots
    turned = np.exp(-2j * np.pi * per_slot * np.arange(coils.slots))
    stair = np.sinc(per_slot)  # of a wave with one step a slot
    return np.asarray(2 * functions.mean(axis=1) @ turned * stair / coils.slots)


def fault_currents(
    found: Contacts,
    *,
    reactance_pu: float,
    leakage_pu: float,
    coupling: float = 1.0,
    network_pu: float = np.inf,
    fault_pu: Array | float = 0.0,
) -> FaultCurrents:
    """Currents of every contact as a fault of its own.

    Parameters
    ----------
    found : Contacts
    reactance_pu : float (pu)
        X''d; or Xd, for a gap without shielding.
    leakage_pu : float (pu)
        X_l, below it.
    coupling : float (-)
        Of the leakage of a coil's turns, 0 ... 1.
    network_pu : float (pu)
        Behind the terminals, on the machine's rating; np.inf with the breaker open.
    fault_pu : (c,) array or float (pu)
        Resistance of the fault over E/(rated current of a branch).

    Returns
    -------
    FaultCurrents
    """
    coils, loops = found.coils, found.loops
    branch = np.asarray(coils.row == np.arange(3 * coils.branches)[:, None], float)
    whole = np.repeat(branch[..., None], 4, axis=2)
    n_branch, n_loop = (winding_functions(coils, paths) for paths in (whole, loops))
    wave, wave_f = (fundamental(coils, functions) for functions in (n_branch, n_loop))
    gap = _gap_scale(wave, reactance_pu - leakage_pu) / (2 * coils.slots)
    own, share = leakage_pu / (4 * coils.in_series), np.abs(loops)
    x_branch = gap * _products(n_branch, n_branch) + own * _products(whole, whole)
    x_loop = gap * _products(n_loop, n_branch) + own * _products(loops, whole)
    leakage = (share * (1 - coupling + coupling * share)).sum(axis=(1, 2))
    x_self = gap * (n_loop**2).sum(axis=(1, 2)) + own * leakage

    response = x_loop @ _admittance(x_branch, coils.branches, network_pu)
    seen = x_self - (response * x_loop).sum(axis=1)
    fault = wave_f / wave[0] / (fault_pu + 1j * seen)
    line = -response * fault[:, None]
    starts = branch.T[found.first] - branch.T[found.second]
    neutral = line + starts * fault[:, None]
    shape = (-1, 3, coils.branches)
    return FaultCurrents(fault, line.reshape(shape), neutral.reshape(shape))


def _products(one: Array, other: Array) -> Array:
    return np.asarray(one.reshape(len(one), -1) @ other.reshape(len(other), -1).T)


def _gap_scale(wave: Complex, reactance_pu: float) -> float:
    """K: with it the field of balanced currents has this reactance in every branch. [pu]"""
    balanced = np.exp(1j * np.angle(wave))
    mutual = (wave[:, None] * wave.conj()).real / 2
    forward = max(abs(mutual[0] @ balanced), abs(mutual[0] @ balanced.conj()))
    return float(reactance_pu / forward)


def _admittance(x_branch: Array, branches: int, network_pu: float) -> Array:
    """What a voltage in each branch drives, over -j: the phases have no sum; without a network none
    has a current of its own."""
    phase = np.repeat(np.eye(3), branches, axis=0)
    if np.isinf(network_pu):
        none = phase
    else:
        x_branch = x_branch + network_pu / branches * phase @ phase.T
        none = np.ones((len(phase), 1))
    free = np.linalg.inv(x_branch)
    held = free @ none
    return np.asarray(free - held @ np.linalg.solve(none.T @ held, held.T))
