"""Earth faults, exact in the position: where along the winding each setting would only just
operate.

For an unbiased element the currents below a setting form a stretch of the winding that begins at
the neutral, so a sampled earth fault has one critical position x* a setting, and P(missed | the
rest) = F_x(x*). With several elements the missed stretch is the shortest of theirs."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from montecarlo.quantities import Array, Flags, Index
from montecarlo.quantities.compiled import njit

HALVINGS = 45  # of an interval between nodes
ABREAST = 128  # positions


def winding_nodes(intervals: int) -> Array:
    """Places along the winding, closer together near the neutral: (k/intervals)². [-]

    Parameters
    ----------
    intervals : int

    Returns
    -------
    (intervals + 1,) array
    """
    return (np.arange(intervals + 1) / intervals) ** 2


def critical_position(
    nodes: Array, currents: Array, thresholds: ArrayLike, *, signed: bool = False
) -> tuple[Array, Flags]:
    """Where |I| last rises through each threshold, and whether it had been above before. [-]

    Between nodes the square of a magnitude is the cubic through the four nearest points: |a·x +
    b|², fault and load together, is a parabola where |a·x + b| itself has a corner.

    Parameters
    ----------
    nodes : (m,) array (-)
        Increasing.
    currents : (n, m) array
        At the nodes; NaN comes of what is not finite.
    thresholds : (s,) array_like
        In the unit of the currents.
    signed : bool
        What is no magnitude (a margin above a bias) is interpolated itself.

    Returns
    -------
    x : (n, s) array
        0 where the current is never below, 1 where it is below at the last node.
    re_entry : (n, s) array of bool
        The missed part is not one stretch from the neutral; x then overstates it.
    """
    level = np.array(thresholds, float)
    currents = np.ascontiguousarray(np.where(np.isfinite(currents), currents, np.nan))
    values, wanted = (currents, level) if signed else (currents**2, level**2)
    x, re_entry = _found(nodes, _gaps(nodes), currents, values, level, wanted)
    x[np.isnan(currents).any(axis=1)] = np.nan
    return x, re_entry


def at_place(nodes: Array, currents: Array, x: Array, *, signed: bool = False) -> Array:
    """|I| at a place of each sample's own, by the same interpolation, in its unit.

    Parameters
    ----------
    nodes, currents, signed
        As of `critical_position`.
    x : (n,) array (-)
        In [0, 1].

    Returns
    -------
    (n,) array
        NaN where currents are not finite.
    """
    currents = np.where(np.isfinite(currents), currents, np.nan)
    values = currents if signed else currents**2
    left = np.clip(np.searchsorted(nodes, x, side="right") - 1, 0, nodes.size - 2)
    value = _cubic(x, *_nearest(nodes, values, left))
    if not signed:
        value = np.sqrt(np.maximum(value, 0.0))
    return np.where(np.isnan(currents).any(axis=1), np.nan, value)


def _nearest(nodes: Array, values: Array, left: Index) -> tuple[Array, Array]:
    """The four nodes nearest to the interval from each `left` (n,) on, and the weights of their
    values in the form of Lagrange: (4, n) each."""
    first = np.clip(left - 1, 0, nodes.size - 4)
    around = first + np.arange(4)[:, None]
    value = np.take_along_axis(values, around.T, axis=1).T
    return nodes[around], value / _gaps(nodes)[first].T


def _gaps(nodes: Array) -> Array:
    """What the values at four nodes from each on are divided by in the form of Lagrange,
    (m - 3, 4)."""
    place = nodes[np.arange(nodes.size - 3)[:, None] + np.arange(4)]
    return np.asarray((place[:, :, None] - place[:, None, :] + np.eye(4)).prod(axis=-1))


def _cubic(x: Any, place: Any, weight: Any) -> Any:
    """Through four places, by the weights of `_nearest`: numbers or arrays."""
    p0, p1, p2, p3 = place
    w0, w1, w2, w3 = weight
    d0, d1, d2, d3 = x - p0, x - p1, x - p2, x - p3
    return (w0 * d1 + w1 * d0) * d2 * d3 + (w2 * d3 + w3 * d2) * d0 * d1


_compiled_cubic = njit(nogil=True, error_model="numpy")(_cubic)


@njit(nogil=True, error_model="numpy", entry=True)
def _found(
    nodes: Array, gaps: Array, currents: Array, values: Array, level: Array, wanted: Array
) -> tuple[Array, Flags]:
    """x where values (n, m) pass what is wanted (s,), as the currents pass the level, and whether
    they do so again."""
    n, m = currents.shape
    x, re_entry = np.empty((n, level.size)), np.empty((n, level.size), np.bool_)
    last = np.empty((n, level.size), np.int64)
    for i in range(n):
        for s in range(level.size):
            last[i, s], re_entry[i, s] = _last_below(currents[i], level[s])
    _between(nodes, gaps, values, wanted, last, x)
    for i in range(n):
        for s in range(level.size):
            if last[i, s] < 0:
                x[i, s] = 0.0
            elif last[i, s] >= m - 1:
                x[i, s] = 1.0
    return x, re_entry


@njit(nogil=True, error_model="numpy")
def _last_below(currents: Array, level: float) -> tuple[int, bool]:
    """The last node below the level, -1 where none is; and whether nodes are below, then not, then
    below once more. Not where load alone operates it at the neutral."""
    last, left, again = -1, False, False
    for k in range(currents.size):
        if currents[k] < level:
            last, again = k, again or left
        else:
            left = True
    return last, again and currents[0] < level


@njit(nogil=True, error_model="numpy")
def _between(
    nodes: Array, gaps: Array, values: Array, wanted: Array, last: Index, x: Array
) -> None:
    """x between nodes `last` and `last` + 1 (n, s) where the cubic through the four nearest values
    is at what is wanted (s,). Many side by side: the processor then works on several at once."""
    low, high, level = np.empty(ABREAST), np.empty(ABREAST), np.empty(ABREAST)
    p0, p1, p2, p3 = (np.empty(ABREAST), np.empty(ABREAST), np.empty(ABREAST), np.empty(ABREAST))
    w0, w1, w2, w3 = (np.empty(ABREAST), np.empty(ABREAST), np.empty(ABREAST), np.empty(ABREAST))
    for first in range(0, x.size, ABREAST):
        some = min(ABREAST, x.size - first)
        for j in range(some):
            i, s = divmod(first + j, wanted.size)
            left = min(max(last[i, s], 0), nodes.size - 2)
            k = min(max(left - 1, 0), nodes.size - 4)
            low[j], high[j], level[j] = nodes[left], nodes[left + 1], wanted[s]
            p0[j], p1[j], p2[j], p3[j] = nodes[k], nodes[k + 1], nodes[k + 2], nodes[k + 3]
            w0[j], w1[j] = values[i, k] / gaps[k, 0], values[i, k + 1] / gaps[k, 1]
            w2[j], w3[j] = values[i, k + 2] / gaps[k, 2], values[i, k + 3] / gaps[k, 3]
        for _ in range(HALVINGS):
            for j in range(some):
                middle = 0.5 * (low[j] + high[j])
                place, weight = (p0[j], p1[j], p2[j], p3[j]), (w0[j], w1[j], w2[j], w3[j])
                below = _compiled_cubic(middle, place, weight) < level[j]
                low[j], high[j] = (middle, high[j]) if below else (low[j], middle)
        for j in range(some):
            i, s = divmod(first + j, wanted.size)
            x[i, s] = 0.5 * (low[j] + high[j])
