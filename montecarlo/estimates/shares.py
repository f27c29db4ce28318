"""What each fault type or event makes of the total: shares with limits."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from montecarlo.estimates.intervals import Estimate
from montecarlo.quantities import Array

__all__ = ["shares_of_total"]


def shares_of_total(weights: ArrayLike, p: ArrayLike, low: ArrayLike, high: ArrayLike) -> Estimate:
    """Share of each type in the sum of w_k p_k, (K, C) with limits; NaN of a total of 0.

    weights (K,); p and its limits (K, C). The type stands at one end of its own limits, the rest at
    the ends of theirs combined in squares (as in `totals.mover`): l / (l + U) and u / (u + L).
    Two independent errors do not go so far at once: the interval is too wide (derived)."""
    weight = np.asarray(weights, float)[:, None]
    part, least, most = (weight * np.asarray(values, float) for values in (p, low, high))
    rest = part.sum(axis=0) - part
    below, above = (
        np.sqrt(np.maximum(squares.sum(axis=0) - squares, 0.0))
        for squares in ((part - least) ** 2, (most - part) ** 2)
    )
    return Estimate(
        _share(part, rest), _share(least, rest + above), _share(most, np.maximum(rest - below, 0.0))
    )


def _share(part: Array, rest: Array) -> Array:
    total = part + rest
    return np.asarray(
        np.clip(np.divide(part, total, out=np.full(total.shape, np.nan), where=total > 0), 0.0, 1.0)
    )
