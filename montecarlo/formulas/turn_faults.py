"""What a fault between turns of one branch carries, in closed form. Numbers or arrays.

Derived: a coil's field on a uniform gap against that of the whole winding, every harmonic shielded
as the fundamental is. X''d - X_l of the winding makes Lambda (X''d - X_l)/N_c of one coil,

    Lambda = beta pi^2 (1 - beta/2p) / (12 q k_w^2)    beta = pitch/pole pitch, k_w = k_d k_p

Unit: rated current of a branch, phase EMF. n of the t turns of a coil short themselves; they are
mu = n/(t N_c) of the branch's and make the groups of branches differ by mu I_f. Beside winding
functions I_f is within 5 %, mu I_f within 10 % where branches meet (measured)."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from montecarlo.quantities import Array


def pitch_factor(beta: ArrayLike) -> Array:
    """k_p = sin(beta pi/2), textbook. [-]

    Parameters
    ----------
    beta : array_like (-)
        Pitch of a coil over the pole pitch, above 0 and at most 1.

    Returns
    -------
    array (-)

    Examples
    --------
    >>> float(pitch_factor(5 / 6).round(4))
    0.9659
    """
    return np.asarray(np.sin(np.asarray(beta, float) * np.pi / 2))


def coil_share(
    belt_slots: ArrayLike, beta: ArrayLike, poles: ArrayLike, factor: ArrayLike
) -> Array:
    """Lambda of the head: reactance of a coil's field by that of a winding's share. [-]

    Parameters
    ----------
    belt_slots : array_like (-)
        q, slots a pole and phase.
    beta : array_like (-)
    poles : array_like (-)
        2p.
    factor : array_like (-)
        k_w.

    Returns
    -------
    array (-)

    Examples
    --------
    >>> coil_share([2, 3], [5 / 6, 8 / 9], [60, 24], [0.933, 0.945]).round(3)
    array([0.388, 0.263])
    """
    q, width = np.asarray(belt_slots, float), np.asarray(beta, float)
    whole = 1 - width / np.asarray(poles, float)
    return np.asarray(np.pi**2 * width * whole / (12 * q * np.asarray(factor, float) ** 2))


def turn_fault(
    turns: ArrayLike,
    coil_turns: ArrayLike,
    spread: ArrayLike,
    share: ArrayLike,
    *,
    reactance_pu: ArrayLike,
    leakage_pu: ArrayLike,
    coupling: ArrayLike = 1.0,
) -> Array:
    """Current in shorted turns of one coil over a branch's rated current, bolted, without winding
    resistance: t/(n k_d (x_l (c + (1 - c) t/n) + (x''d - x_l) Lambda)). [-]

    Parameters
    ----------
    turns : array_like (-)
        n, those that are shorted.
    coil_turns : array_like (-)
        t.
    spread : array_like (-)
        k_d, the distribution factor.
    share : array_like (-)
        Lambda, as of `coil_share`.
    reactance_pu : array_like (pu)
        X''d.
    leakage_pu : array_like (pu)
        X_l, below it.
    coupling : array_like (-)
        c: leakage of n turns goes with n squared (1) or with n (0).

    Returns
    -------
    array (-)

    Examples
    --------
    >>> found = turn_fault(1, 1, 0.966, 0.388, reactance_pu=0.20, leakage_pu=0.13)
    >>> float(found.round(2))
    6.59
    """
    of_coil = np.asarray(coil_turns, float) / np.asarray(turns, float)
    own, close = np.asarray(leakage_pu, float), np.asarray(coupling, float)
    leakage = own * (close + (1 - close) * of_coil)
    field = (np.asarray(reactance_pu, float) - own) * np.asarray(share, float)
    return np.asarray(of_coil / (np.asarray(spread, float) * (leakage + field)))


def through_resistance(current: ArrayLike, emf: ArrayLike, fault_pu: ArrayLike) -> Array:
    """The same through a resistance, |E_s/(R_F + j E_s/I_f0)|. [-]

    Parameters
    ----------
    current : array_like (-)
        I_f0, bolted.
    emf : array_like (-)
        E_s of the shorted turns over that of a phase, n/(t N_c k_d).
    fault_pu : array_like (pu)
        R_F, times a branch's rated current over the phase EMF.

    Returns
    -------
    array (-)

    Examples
    --------
    >>> through_resistance(6.59, 0.0259, [0.0, 0.0039]).round(2)
    array([6.59, 4.68])
    """
    drive = np.asarray(emf, float)
    own = drive / np.asarray(current, float)
    return np.asarray(drive / np.hypot(np.asarray(fault_pu, float), own))
