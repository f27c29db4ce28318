"""What each fault type or event makes of the total: shares with limits."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from montecarlo.estimates.intervals import Estimate, ratio
from montecarlo.quantities import Array


def shares_of_total(weights: ArrayLike, p: ArrayLike, low: ArrayLike, high: ArrayLike) -> Estimate:
    """Share of each type in the sum of w_k p_k. [-]

    The type stands at one end of its own limits, the rest at the ends of theirs combined in squares
    (as in `totals.mover`): l / (l + U) and u / (u + L). Two independent errors do not go so far at
    once: the interval is too wide (derived).

    Parameters
    ----------
    weights : (K,) array_like
    p, low, high : (K, C) array_like (-)

    Returns
    -------
    Estimate
        (K, C); NaN of a total of 0.
    """
    weight = np.asarray(weights, float)[:, None]
    part, least, most = (weight * np.asarray(values, float) for values in (p, low, high))
    rest = part.sum(axis=0) - part
    below = _others(part - least)
    above = _others(most - part)
    return Estimate(
        _share(part, rest), _share(least, rest + above), _share(most, np.maximum(rest - below, 0.0))
    )


def _others(distance: Array) -> Array:
    squares = distance**2
    return np.asarray(np.sqrt(np.maximum(squares.sum(axis=0) - squares, 0.0)))


def _share(part: Array, rest: Array) -> Array:
    return np.clip(ratio(part, part + rest), 0.0, 1.0)
