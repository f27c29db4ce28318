"""Damage of a stator earth fault as an integral of its current. Numbers or arrays.

    D_k = integral of |i|^k dt        k = 1 ... 2, i RMS

k = 1 is the heat of an arc of constant voltage, k = 2 that of a resistance; 1.5 is usual for arcs.
After the breaker has opened the machine still feeds the fault while its EMF decays. Source: Powell,
The impact of system grounding practices on generator fault damage, IEEE Trans. IA 34, 1998,
923-927; IEEE/IAS working group, Grounding and ground fault protection of multiple generator
installations on medium-voltage industrial and commercial power systems, parts 1-4, 2003-04; both
from memory, also k and a decay of about 1 s.

Of the wave itself the integral is 2^(k/2) Gamma((k+1)/2)/(sqrt(pi) Gamma(k/2+1)) of that by RMS:
0.90 for k = 1, 0.94 for 1.5, 1 for 2 (derived)."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from montecarlo.quantities import Array

# 7.87 g/cm3, heated by 1,515 K at 0.69 J/gK and molten at 247 J/g: 10.2 kJ/cm3 (derived from
# handbook constants, from memory)
IRON_J_PER_CM3 = 7.87 * (0.69 * 1515 + 247)


def piece_damage(
    start_a: ArrayLike, lasts_s: ArrayLike, decay_s: ArrayLike, exponent: ArrayLike
) -> Array:
    """D_k while one current decays, I^k T/k (1 - e^(-ks/T)), derived. [A^k s]

    Parameters
    ----------
    start_a : array_like (A)
        I, RMS as the piece begins.
    lasts_s : array_like (s)
        s; inf: until all has decayed.
    decay_s : array_like (s)
        T; inf: the current stays, 0: it is gone at once.
    exponent : array_like (-)
        k, 1 to 2.

    Returns
    -------
    array (A^k s)
        0 without a current, however long.

    Examples
    --------
    >>> piece_damage([400.0, 10.0], [0.1, np.inf], [np.inf, 1.0], 1.5).round(1)
    array([800. ,  21.1])
    """
    power, lasts = np.asarray(exponent, float), np.asarray(lasts_s, float)
    start = np.asarray(start_a, float)
    with np.errstate(divide="ignore", invalid="ignore"):
        rate = power / np.asarray(decay_s, float)
        fading = -np.expm1(-rate * lasts) / rate
        area = np.where(rate == 0, lasts, np.where(np.isinf(rate), 0.0, fading))
        return np.asarray(np.where(start == 0, 0.0, start**power * area))


def damage(
    current_a: ArrayLike,
    time_s: ArrayLike,
    after_a: ArrayLike,
    decay_s: ArrayLike,
    exponent: ArrayLike,
) -> Array:
    """D_k of a fault, I^k t + I_a^k T/k. [A^k s]

    Parameters
    ----------
    current_a : array_like (A)
        I, RMS until the breaker is open.
    time_s : array_like (s)
        t, of the element and of the breaker.
    after_a : array_like (A)
        I_a, of the machine alone as the breaker opens.
    decay_s : array_like (s)
        T, of the current after that; 0: nothing comes after.
    exponent : array_like (-)
        k.

    Returns
    -------
    array (A^k s)

    Examples
    --------
    >>> float(damage(400.0, 0.1, 400.0, 1.0, exponent=1.5).round())
    6133.0
    """
    before = piece_damage(current_a, time_s, np.inf, exponent)
    return np.asarray(before + piece_damage(after_a, np.inf, decay_s, exponent))


def share_after_opening(
    current_a: ArrayLike,
    time_s: ArrayLike,
    after_a: ArrayLike,
    decay_s: ArrayLike,
    exponent: ArrayLike,
) -> Array:
    """Part of D_k that comes after the breaker has opened, whatever the protection does. [-]

    Parameters
    ----------
    current_a, time_s, after_a, decay_s, exponent
        As of `damage`.

    Returns
    -------
    array (-)
        0 without damage.

    Examples
    --------
    >>> share_after_opening(400.0, 0.1, 400.0, 1.0, exponent=[1.0, 1.5, 2.0]).round(2)
    array([0.91, 0.87, 0.83])
    """
    whole = damage(current_a, time_s, after_a, decay_s, exponent)
    after = piece_damage(after_a, np.inf, decay_s, exponent)
    return np.asarray(after / np.where(whole == 0, 1.0, whole))


class FaultCurrents(NamedTuple):
    """Of an earth fault with one state of the neutral; RMS, without the decay of the EMF."""

    closed_a: ArrayLike  # while the breaker is closed
    open_a: ArrayLike  # of the machine alone


def hybrid_damage(
    trip_s: ArrayLike,
    breaker_s: ArrayLike,
    switch_s: ArrayLike,
    low: FaultCurrents,
    high: FaultCurrents,
    decay_s: ArrayLike,
    exponent: ArrayLike,
) -> Array:
    """D_k where a low resistance in the neutral is opened and a high one stays. [A^k s]

    Derived. If the breaker opens at t and the low branch s later, three pieces follow each other:
    I; then I_a, of the machine alone, which decays with the EMF; then I_h, which would have been
    there from t on and has decayed by e^(-s/T):

        D_k = I^k t + I_a^k T/k (1 - e^(-ks/T)) + I_h^k T/k e^(-ks/T)

    If the low branch opens first, the piece between has the high resistance's steady current.

    Parameters
    ----------
    trip_s : array_like (s)
        From inception to the trip.
    breaker_s, switch_s : array_like (s)
        From the trip until the machine's breaker, and the low branch, is open. `switch_s` inf: it
        stays closed, and the result is that of `damage`.
    low, high : FaultCurrents
        With the low branch closed: I and I_a; and open.
    decay_s : array_like (s)
        T, finite; 0: nothing comes after the breaker's opening.
    exponent : array_like (-)
        k.

    Returns
    -------
    array (A^k s)

    Examples
    --------
    >>> low, high = FaultCurrents(400.0, 400.0), FaultCurrents(10.0, 10.0)
    >>> hybrid_damage(0.02, 0.08, [0.08, np.inf], low, high, 1.0, exponent=1.5).round()
    array([ 821., 6133.])
    """
    breaker, switch = np.asarray(breaker_s, float), np.asarray(switch_s, float)
    before = np.asarray(trip_s, float) + np.minimum(breaker, switch)
    alone = np.maximum(switch - breaker, 0.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        decayed = np.exp(-alone / np.asarray(decay_s, float))
    last_a = np.asarray(high.open_a, float) * np.where(alone == 0, 1.0, decayed)
    return np.asarray(
        piece_damage(low.closed_a, before, np.inf, exponent)
        + piece_damage(low.open_a, alone, decay_s, exponent)
        + piece_damage(high.closed_a, np.maximum(breaker - switch, 0.0), np.inf, exponent)
        + piece_damage(last_a, np.inf, decay_s, exponent)
    )


def iron_volume_cm3(damage_as: ArrayLike, arc_v: ArrayLike, efficiency: ArrayLike = 1.0) -> Array:
    """Upper bound of the iron that an arc melts, eta U D_1/(10.2 kJ/cm3). [cm3]

    Derived: all of that part of the heat melts iron, and none of it is led away.

    Parameters
    ----------
    damage_as : array_like (A s)
        D_1, for k = 1.
    arc_v : array_like (V)
        U, of the arc; constant.
    efficiency : array_like (-)
        eta, part of the arc's heat that reaches the core, 0 to 1.

    Returns
    -------
    array (cm3)

    Examples
    --------
    >>> float(iron_volume_cm3(200.0 * 0.5, arc_v=100.0).round(2))  # of 10 kJ
    0.98
    """
    heat_j = np.asarray(efficiency, float) * np.asarray(arc_v, float) * np.asarray(damage_as)
    return np.asarray(heat_j / IRON_J_PER_CM3)
