"""Where a label can stand beside what it names without touching any curve, mark or other label."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from studies.report.look import backing, figure_of, ink, place_axes

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.text import Text

Array = NDArray[np.float64]

LABEL_POINTS = 8.5
# of the plot's width and height, each 100
MARGIN = 2.6  # about a label
EDGE = 1  # from that of the axes
NEAR = 1.5  # within which a point belongs to what the label names
LED = 5.0  # from which distance on a thin line leads from a label to what it names


@dataclass(frozen=True, eq=False)
class Label:
    """A text, and the mark or curve that it names."""

    text: str
    colour: str  # of its series
    at: Any  # (m, 2) of the data: the mark, or points along the curve
    bold: bool = False


def put_labels(ax: Axes, labels: Sequence[Label]) -> list[Text]:
    """Write each label where it lies on nothing; called when all else is drawn, as the axes must
    have their size.

    Parameters
    ----------
    ax : Axes
    labels : sequence of Label

    Returns
    -------
    list of Text
    """
    place_axes(figure_of(ax))
    texts = [
        ax.text(
            0,
            0,
            label.text,
            transform=ax.transAxes,
            va="bottom",
            color=ink(label.colour),
            fontsize=LABEL_POINTS,
            fontweight="bold" if label.bold else "normal",
            bbox=backing(),
            zorder=5,
        )
        for label in labels
    ]
    width, height = ax.bbox.width / 100, ax.bbox.height / 100
    sizes = [(box.width / width, box.height / height) for box in map(_extent, texts)]
    own = [_dense(_in_axes(ax, ax.transData.transform(np.atleast_2d(at.at)))) for at in labels]
    for label, text, place in zip(labels, texts, place_labels(own, _drawn(ax), sizes), strict=True):
        text.set_position((place.left / 100, place.low / 100))
        if place.led:
            ends = np.array(place.line).T / 100
            ax.plot(*ends, transform=ax.transAxes, color=ink(label.colour), linewidth=0.7, zorder=4)
    return texts


def _extent(text: Text) -> Any:
    return text.get_window_extent()


# --- what stands in the axes --------------------------------------------------


def _drawn(ax: Axes) -> Array:
    """Points of every mark and line, on axes of 100 x 100, each square of them once."""
    found = [np.empty((0, 2)), *(_dense(_in_axes(ax, points)) for points in _paths(ax))]
    every = np.concatenate(found)
    inside = every[((every >= 0) & (every <= 100)).all(axis=1)]
    return np.asarray(np.unique(np.round(inside), axis=0), float)


def _paths(ax: Axes) -> Iterator[Array]:
    """Each line, interval and mark [pixels]."""
    from matplotlib.cbook import STEP_LOOKUP_MAP
    from matplotlib.collections import LineCollection, PathCollection

    for line in ax.lines:
        points = np.asarray(line.get_xydata(), float)
        if not len(points):
            continue
        if line.get_linestyle() in ("None", "none", "", " "):
            yield from line.get_transform().transform(points)[:, np.newaxis]
            continue
        steps = STEP_LOOKUP_MAP[line.get_drawstyle()](*points.T)
        yield line.get_transform().transform(np.column_stack(steps))
    for part in ax.collections:
        if isinstance(part, LineCollection):
            for segment in part.get_segments():
                yield part.get_transform().transform(np.asarray(segment))
        elif isinstance(part, PathCollection):
            offsets = np.ma.getdata(part.get_offsets()).astype(float)
            yield from part.get_offset_transform().transform(offsets)[:, np.newaxis]


def _in_axes(ax: Axes, points: Array) -> Array:
    return 100 * np.asarray(ax.transAxes.inverted().transform(points))


def _dense(points: Array) -> Array:
    """The same with points between, none farther apart than one."""
    points = points[np.isfinite(points).all(axis=1)].clip(-10, 110)
    parts = [points[:1]]
    for one, other in pairwise(points):
        count = 1 + int(np.abs(other - one).max())
        parts.append(one + (other - one) * np.linspace(0, 1, count + 1)[1:, np.newaxis])
    return np.concatenate(parts)


# --- where a label stands -----------------------------------------------------


@dataclass(frozen=True)
class Place:
    """Lower left corner of a label, and a line from its edge to what it names; on axes of
    100 x 100."""

    left: float
    low: float
    line: tuple[tuple[float, float], tuple[float, float]]
    led: bool  # whether the line is needed


def place_labels(
    own: Sequence[Array], drawn: Array, sizes: Sequence[tuple[float, float]]
) -> list[Place]:
    """For each label of that (width, height) the free place nearest to the points `own` (m, 2) that
    it names; all of 0 ... 100.

    A place to which something else drawn is nearer is avoided. Where nothing is free, a label
    covers as little of what is drawn (k, 2) as it can, and never another label while there is room.
    """
    every = np.concatenate([drawn, *own])
    taken: list[Array] = []
    places = []
    for line, size in zip(own, sizes, strict=True):
        width, height = (min(math.ceil(side), 100 - 2 * EDGE) for side in size)
        boxes = _boxes(width, height)
        away, covered = _nearest(every, width, height)
        foreign, _ = _nearest(every[_away(every, line) > NEAR], width, height)
        points = _clear(line, [other for other in own if other is not line])
        mine = _gap(boxes, np.tile(points, 2))
        near = mine.min(axis=1)
        cost = near + 3 * np.maximum(near - foreign, 0.0)
        cost += 1e2 * ((away < MARGIN) + covered)
        for box in taken:
            cost += np.where(_gap(boxes, box[np.newaxis])[:, 0] < MARGIN, 1e6, 0.0)
        best = int(np.argmin(cost))
        at = _end(points[:, 0], mine[best], taken)
        taken.append(boxes[best])
        left, low = (float(edge) for edge in boxes[best, :2])
        led = bool(near[best] > min(LED, foreign[best]))
        places.append(Place(left, low, _line(boxes[best], *points[at]), led))
    return places


def _clear(points: Array, others: Sequence[Array]) -> Array:
    """Those at which nothing else that has a label runs; all where that leaves none."""
    clear = np.ones(len(points), bool)
    for other in others:
        clear &= _away(points, other) > NEAR
    return points[clear] if clear.any() else points


def _away(points: Array, others: Array) -> Array:
    """From each of the points (n, 2) to the nearest of the others (m, 2), (n,)."""
    return np.asarray(np.hypot(*(points[:, np.newaxis] - others).transpose(2, 0, 1)).min(axis=1))


def _boxes(width: int, height: int) -> Array:
    """Every place of a label of that size: left, low, right, high; (b, 4)."""
    left, low = np.meshgrid(
        np.arange(EDGE, 101 - width - EDGE), np.arange(EDGE, 101 - height - EDGE), indexing="ij"
    )
    corners = [left, low, left + width, low + height]
    return np.stack([corner.ravel() for corner in corners], axis=1).astype(float)


def _nearest(points: Array, width: int, height: int) -> tuple[Array, Array]:
    """From each box of `_boxes` to the nearest of the points, and how many squares with a point it
    covers; (b,) each."""
    from scipy.ndimage import distance_transform_edt

    free = np.ones((101, 101), bool)
    inside = points[((points >= 0) & (points <= 100)).all(axis=1)]
    free[tuple(np.round(inside).astype(int).T)] = False
    away = distance_transform_edt(free) if len(inside) else np.full(free.shape, 200.0)
    window, kept = (width + 1, height + 1), slice(EDGE, 101 - EDGE)
    near = sliding_window_view(away[kept, kept], window).min(axis=(2, 3))
    covered = sliding_window_view(~free[kept, kept], window).sum(axis=(2, 3))
    return near.ravel(), covered.ravel()


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


# --- texts --------------------------------------------------------------------


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


def spread(
    wanted: Sequence[float],
    heights: Sequence[float],
    bottom: float = -math.inf,
    top: float = math.inf,
) -> list[float]:
    """Middles of texts, one above the other in this order without overlap and nearest to those
    wanted (least squares); pushed back where they would reach below `bottom`, or above `top`.

    Parameters
    ----------
    wanted, heights : sequence of float
        Middles, rising, and heights, in the unit of the axis.
    bottom, top : float

    Returns
    -------
    list of float
    """
    from scipy.optimize import isotonic_regression

    if not len(wanted):
        return []
    gaps = [(one + other) / 2 for one, other in pairwise(heights)]
    above = np.concatenate([[0.0], np.cumsum(gaps)])  # of each over the first when they touch
    middles = isotonic_regression(np.asarray(wanted) - above).x + above
    for k in range(len(middles)):
        middles[k] = max(middles[k], bottom + heights[k] / 2)
        bottom = middles[k] + heights[k] / 2
    for k in reversed(range(len(middles))):
        middles[k] = min(middles[k], top - heights[k] / 2)
        top = middles[k] - heights[k] / 2
    return [float(middle) for middle in middles]
