"""Earth faults, exact in the position: where along the winding each setting would only just
operate.

For an unbiased element the currents below a setting form a stretch of the winding that begins at
the neutral, so a sampled earth fault has one critical position x* a setting, and P(missed | the
rest) = F_x(x*). With several elements the missed stretch is the shortest of theirs."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from montecarlo.quantities import Array, Flags, Index

HALVINGS = 45  # of an interval between nodes


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
    level = np.asarray(thresholds, float)
    currents = np.where(np.isfinite(currents), currents, np.nan)
    below = currents[:, :, None] < level  # (n, m, s)
    m = nodes.size
    last = m - 1 - np.argmax(below[:, ::-1], axis=1)  # last node below
    never = ~below.any(axis=1)
    again = (np.cumsum(~below, axis=1) > 0) & below
    re_entry = again.any(axis=1) & below[:, 0]  # not where load alone operates it at the neutral
    left = np.clip(last, 0, m - 2)
    if signed:
        x = _between(nodes, currents, level, left)
    else:
        x = _between(nodes, currents**2, level**2, left)
    x = np.where(never, 0.0, np.where(last >= m - 1, 1.0, x))
    lost = np.isnan(currents).any(axis=1, keepdims=True)
    return np.where(lost, np.nan, x), re_entry


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
    left = np.clip(np.searchsorted(nodes, x, side="right") - 1, 0, nodes.size - 2)[:, None]
    value = _cubic(x[:, None], *_nearest(nodes, values, left))[:, 0]
    if not signed:
        value = np.sqrt(np.maximum(value, 0.0))
    return np.where(np.isnan(currents).any(axis=1), np.nan, value)


def _between(nodes: Array, values: Array, level: Array, left: Index) -> Array:
    """x between nodes left and left + 1 where the cubic through the four nearest values is at the
    level, (n, s)."""
    place, weight = _nearest(nodes, values, left)
    low = nodes[left]
    high = nodes[left + 1]
    for _ in range(HALVINGS):  # scipy.optimize.elementwise does it too, from scipy 1.15 on only
        middle = 0.5 * (low + high)
        below = _cubic(middle, place, weight) < level
        low = np.where(below, middle, low)
        high = np.where(below, high, middle)
    return 0.5 * (low + high)


def _nearest(nodes: Array, values: Array, left: Index) -> tuple[Array, Array]:
    """The four nodes nearest to the interval from each `left` (n, s) on, and the weights of their
    values in the form of Lagrange: (4, n, s) each."""
    around = np.clip(left - 1, 0, nodes.size - 4)[..., None] + np.arange(4)  # (n, s, 4)
    place = nodes[around]
    value = np.take_along_axis(values[:, None, :], around, axis=2)
    gap = place[..., :, None] - place[..., None, :] + np.eye(4)
    return np.moveaxis(place, -1, 0), np.moveaxis(value / gap.prod(axis=-1), -1, 0)


def _cubic(x: Array, place: Array, weight: Array) -> Array:
    d0, d1, d2, d3 = x - place
    return np.asarray(
        (weight[0] * d1 + weight[1] * d0) * d2 * d3 + (weight[2] * d3 + weight[3] * d2) * d0 * d1
    )
