"""Contours of a cloud of points that hold given shares of it: regions of highest density (Hyndman,
The American Statistician 50, 1996, from memory), by a smoothed histogram of logarithms."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from montecarlo.quantities import Array

CELLS = 60  # each way, margins included
MARGIN = 4  # cells beyond the points, for what smoothing spreads
SHARES = (0.5, 0.9, 0.99)
NARROWEST = 0.2  # decades that a cloud is given at least


@dataclass(frozen=True, eq=False)
class Cloud:
    """x, y (CELLS,): middles of cells; density (y, x); levels: of the density, of a contour that
    holds each of `SHARES` of the points."""

    x: Array
    y: Array
    density: Array
    levels: tuple[float, ...]


def cloud(x: Array, y: Array, weights: Array) -> Cloud:
    """The density of points on logarithmic axes.

    Parameters
    ----------
    x, y : ndarray, (n,)
        Above 0.
    weights : ndarray, (n,)

    Returns
    -------
    Cloud
    """
    edges = [_edges(np.log10(values)) for values in (x, y)]
    counted, _, _ = np.histogram2d(np.log10(y), np.log10(x), edges[::-1], weights=weights)
    density = _smooth(_smooth(counted).T).T
    middles = [(each[1:] + each[:-1]) / 2 for each in edges]
    at_points = _between(density, middles, np.log10(x), np.log10(y))
    levels = tuple(_level(at_points, weights, share) for share in SHARES)
    return Cloud(10 ** middles[0], 10 ** middles[1], density, levels)


def _edges(logs: Array) -> Array:
    """Of cells of equal width over all points and a margin."""
    low, high = float(logs.min()), float(logs.max())
    spare = max(NARROWEST - (high - low), 0.0) / 2
    low, high = low - spare, high + spare
    cell = (high - low) / (CELLS - 2 * MARGIN)
    return np.asarray(low + cell * np.arange(-MARGIN, CELLS - MARGIN + 1), np.float64)


def _smooth(values: Array) -> Array:
    """Along the first axis with a bell whose standard deviation is one cell."""
    away = np.arange(-MARGIN, MARGIN + 1)
    bell = np.exp(-0.5 * away**2)
    bell /= bell.sum()
    padded = np.pad(values, ((MARGIN, MARGIN), (0, 0)))
    rows = len(values)
    return np.asarray(sum(part * padded[k : k + rows] for k, part in enumerate(bell)))


def _between(density: Array, middles: list[Array], x: Array, y: Array) -> Array:
    """The density at points, straight on between middles of cells."""
    places = []
    for each, values in zip(middles, (x, y), strict=True):
        at = np.clip((values - each[0]) / (each[1] - each[0]), 0, CELLS - 1 - 1e-9)
        places.append((at.astype(int), at % 1))
    (i, u), (j, v) = places
    lower = (1 - u) * density[j, i] + u * density[j, i + 1]
    upper = (1 - u) * density[j + 1, i] + u * density[j + 1, i + 1]
    return np.asarray((1 - v) * lower + v * upper)


def _level(at_points: Array, weights: Array, share: float) -> float:
    """The density above which this share of the points lies."""
    densest = np.argsort(-at_points, kind="stable")
    held = np.cumsum(weights[densest]) / weights.sum()
    return float(at_points[densest][min(np.searchsorted(held, share), held.size - 1)])
