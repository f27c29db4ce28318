"""Where a label can stand beside its curve without touching any curve or another label."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

MARGIN, STEP = 2.5, 1.0  # of the plot's width and height, each 100


@dataclass(frozen=True)
class Place:
    """Lower left corner of a label, and a line from its edge to its curve; on axes of 100 x 100."""

    left: float
    low: float
    line: tuple[tuple[float, float], tuple[float, float]]  # from the label to the curve


def place_labels(
    x: Array, curves: Sequence[Array], sizes: Sequence[tuple[float, float]]
) -> list[Place]:
    """For each curve y (m,) over x (m,) and each label's (width, height), all of 0 ... 100: the
    free place nearest to its curve. A place between which and the curve another curve passes is
    avoided; where nothing is free, a label covers as little of the curves as it can, and never
    another label while there is room."""
    taken: list[Array] = []
    places = []
    for own, (width, height) in zip(curves, sizes, strict=True):
        left, low = np.meshgrid(
            np.arange(MARGIN, 100 - width, STEP), np.arange(MARGIN, 100 - height, STEP)
        )
        boxes = np.stack(
            [left.ravel(), low.ravel(), left.ravel() + width, low.ravel() + height], axis=1
        )
        away = [_gap(boxes, np.stack([x, y, x, y], axis=1)) for y in curves]
        mine = _gap(boxes, np.stack([x, own, x, own], axis=1))
        near = mine.min(axis=1)
        cost = near + 3 * np.maximum(
            near - np.min(away, axis=(0, 2)), 0.0
        )  # another curve lies between
        cost += 1e2 * np.sum([(d < MARGIN).sum(axis=1) for d in away], axis=0)
        for box in taken:
            cost += np.where(_gap(boxes, box[np.newaxis])[:, 0] < MARGIN, 1e6, 0.0)
        best = int(np.argmin(cost))
        at = _end(x, mine[best], taken)
        taken.append(boxes[best])
        places.append(
            Place(float(boxes[best, 0]), float(boxes[best, 1]), _line(boxes[best], x[at], own[at]))
        )
    return places


def packed(text: str, most: int = 44) -> str:
    """The text in lines of at most so many characters, broken after commas."""
    lines = [""]
    for part in text.split(", "):
        longer = f"{lines[-1]}, {part}" if lines[-1] else part
        if len(longer) <= most or not lines[-1]:
            lines[-1] = longer
        else:
            lines[-1] += ","
            lines.append(part)
    return "\n".join(lines)


def spread(wanted: Sequence[float], heights: Sequence[float]) -> list[float]:
    """Middles of texts, one above the other in this order without overlap and nearest to those
    wanted (least squares).

    Parameters
    ----------
    wanted, heights : sequence of float
        Middles, rising, and heights, in the unit of the axis.

    Returns
    -------
    list of float
    """
    from scipy.optimize import isotonic_regression

    if not len(wanted):
        return []
    gaps = [(one + other) / 2 for one, other in pairwise(heights)]
    above = np.concatenate([[0.0], np.cumsum(gaps)])  # of each over the first when they touch
    return [float(middle) for middle in isotonic_regression(np.asarray(wanted) - above).x + above]


def text_size(text: str, points: float, axes_points: tuple[float, float]) -> tuple[float, float]:
    """Width and height of a text on axes of that size [points], each axis counted as 100."""
    from matplotlib.textpath import TextPath

    lines = text.splitlines()
    width = max(float(TextPath((0, 0), line, size=points).get_extents().width) for line in lines)
    return 100 * width / axes_points[0], 100 * 1.25 * points * len(lines) / axes_points[1]


def _end(x: Array, away: Array, taken: Sequence[Array]) -> int:
    """Of the points nearest to a label the first that has no other label above or below."""
    near = np.flatnonzero(away <= away.min() + 1e-9)
    free = [k for k in near if all(not box[0] - MARGIN < x[k] < box[2] + MARGIN for box in taken)]
    return int(free[0] if free else near[0])


def _gap(boxes: Array, others: Array) -> Array:
    """From each box (b, 4) to each other (m, 4), a point being one without size: (b, m), 0 where
    they overlap."""
    aside = np.maximum(boxes[:, :1] - others[:, 2], others[:, 0] - boxes[:, 2:3])
    above = np.maximum(boxes[:, 1:2] - others[:, 3], others[:, 1] - boxes[:, 3:])
    return np.asarray(np.hypot(np.maximum(aside, 0.0), np.maximum(above, 0.0)))


def _line(box: Array, x: Any, y: Any) -> tuple[tuple[float, float], tuple[float, float]]:
    edge = float(np.clip(x, box[0], box[2])), float(np.clip(y, box[1], box[3]))
    return edge, (float(x), float(y))
