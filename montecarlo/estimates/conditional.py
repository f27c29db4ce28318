"""Earth faults, exact in the position: where along the winding each setting would only just operate.

For an unbiased element the currents below a setting form a stretch of the winding that begins at the neutral, so a
sampled earth fault has one critical position x* a setting, and P(missed | the rest) = F_x(x*). With several
elements the missed stretch is the shortest of theirs.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from montecarlo.quantities import Array


def winding_nodes(intervals: int) -> Array:
    """Places along the winding, closer together near the neutral: (k/intervals)²."""
    return (np.arange(intervals + 1) / intervals) ** 2


def critical_position(nodes: Array, currents: Array, thresholds: ArrayLike) -> tuple[Array, NDArray[np.bool_]]:
    """Where |I| last rises through each threshold, and whether it had been above before.

    nodes (m,) increasing; currents (n, m) at the nodes; thresholds (s,). Returns x* (n, s): 0 where the current is
    never below, 1 where it is below at the last node; and re-entries (n, s) bool, where the missed part is not one
    stretch from the neutral (x* then overstates it). Between nodes the inverse is the cubic through the four nearest
    points, or the chord where these do not rise. NaN currents give NaN."""
    level = np.asarray(thresholds, float)
    below = currents[:, :, None] < level                                      # (n, m, s)
    m = nodes.size
    last = np.asarray(m - 1 - np.argmax(below[:, ::-1], axis=1))               # last node below
    never = ~below.any(axis=1)
    again = (np.cumsum(~below, axis=1) > 0) & below
    re_entry = again.any(axis=1) & below[:, 0]             # operating at the neutral on load alone is no re-entry
    left = np.clip(last, 0, m - 2)
    x = _inverse(nodes, currents, level, left)
    x = np.where(never, 0.0, np.where(last >= m - 1, 1.0, x))
    lost = np.isnan(currents).any(axis=1, keepdims=True)
    return np.where(lost, np.nan, x), re_entry


def _inverse(nodes: Array, currents: Array, level: Array, left: NDArray[np.int64]) -> Array:
    """x at the level between nodes left and left + 1, (n, s)."""
    m = nodes.size
    start = np.clip(left - 1, 0, m - 4)
    around = start[..., None] + np.arange(4)                                   # (n, s, 4)
    i = np.take_along_axis(currents[:, None, :], around, axis=2)
    x = nodes[around]
    cubic = np.zeros_like(left, dtype=float)
    with np.errstate(divide="ignore", invalid="ignore"):
        for j in range(4):
            others = [k for k in range(4) if k != j]
            weight = np.prod([(level - i[..., k]) / (i[..., j] - i[..., k]) for k in others], axis=0)
            cubic += weight * x[..., j]
        i0, i1 = (np.take_along_axis(currents, left + k, axis=1) for k in (0, 1))
        share = np.clip((level - i0) / (i1 - i0), 0.0, 1.0)
    x0, x1 = nodes[left], nodes[left + 1]
    chord = x0 + np.where(np.isfinite(share), share, 1.0) * (x1 - x0)
    rising = (np.diff(i, axis=-1) > 0).all(axis=-1)
    inside = rising & (cubic >= x0) & (cubic <= x1)
    return np.asarray(np.where(inside, cubic, chord))
