"""What several figures draw alike: texts beside marks, bands, the policy's limit, axes of per cent,
and how a scheme looks."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from studies.report.look import FALSE, FALSE_TEXT, SCHEMES
from studies.report.numbers import bare

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes
    from matplotlib.lines import Line2D
    from matplotlib.text import Annotation

DASHES: tuple[Any, ...] = ("-", (0, (5, 2)), (0, (1.5, 1.2)), (0, (6, 1.5, 1.5, 1.5)))
SHAPES = "osD^vPX*"
LABEL_POINTS = 8.5
MOST_DECADES = 7  # with numbers that do not meet on the axis
ASIDE = {1: "left", 0: "center", -1: "right"}
ABOVE = {1: "bottom", 0: "center", -1: "top"}


def beside(
    ax: Axes,
    text: str,
    at: tuple[float, float],
    offset: tuple[float, float],
    colour: str,
    *,
    of: Any = "data",
    **style: Any,
) -> Annotation:
    """A text that stands beside a place, on the side to which it is moved.

    Parameters
    ----------
    at : pair of float
        The place, in the coordinates `of`, as `xycoords` of an annotation.
    offset : pair of float
        From there (points); the sign says the side, 0 puts it in the middle.
    """
    right, up = np.sign(offset)
    placed = {"ha": ASIDE[right], "va": ABOVE[up], "color": colour} | style
    return ax.annotate(text, at, xycoords=of, xytext=offset, textcoords="offset points", **placed)


def band(ax: Axes, x: pd.Series, low: pd.Series, high: pd.Series, colour: str) -> None:
    """The limits of a curve."""
    ax.fill_between(x, low, high, color=colour, alpha=0.18, linewidth=0)


def limit_mark(ax: Axes, limit: float, text: str, **style: Any) -> None:
    """The policy's limit on p_false as an upright line, named above the axes."""
    ax.axvline(100 * limit, color=FALSE, linestyle=(0, (6, 3)), linewidth=1.2, zorder=1.5)
    at = 100 * limit, 1.0
    beside(ax, text, at, (0, 3), FALSE_TEXT, of=("data", "axes fraction"), **style)


def percent_ticks(ax: Axes, start: float) -> None:
    """Decades of per cent as plain numbers, from `start` on; of many, every other one has its
    number, and the highest always."""
    low, high = ax.get_xlim()
    first = math.ceil(math.log10(start) - 1e-9)
    ticks = 10.0 ** np.arange(first, math.floor(math.log10(high) + 1e-9) + 1)
    if not ticks.size:  # all within one
        ticks = 10.0 ** (first - 1) * np.arange(1, 10)
        ticks = ticks[(start <= ticks) & (ticks <= high)]
    if not ticks.size:
        ticks = np.array([high])
    every = 1 + (ticks.size - 1) // MOST_DECADES
    labels = [
        bare(tick / 100) if k % every == 0 else ""
        for k, tick in zip(reversed(range(ticks.size)), ticks, strict=True)
    ]
    ax.set_xticks(ticks, labels)
    ax.minorticks_off()
    ax.set_xlim(low, high)


def legend_mark(label: str, colour: str = "none", **style: Any) -> Line2D:
    """A line or mark of a legend."""
    from matplotlib.lines import Line2D

    return Line2D([], [], label=label, color=colour, **style)


@dataclass(frozen=True)
class SchemeStyle:
    """How a scheme is drawn."""

    colour: str
    face: str  # of its mark: its colour or white
    dashes: Any
    mark: str


def scheme_styles(schemes: Iterable[str]) -> dict[str, SchemeStyle]:
    """Of each scheme, in the order of the study's schemes; a colour that comes again is filled the
    other way."""
    found = {}
    for place, scheme in enumerate(dict.fromkeys(schemes)):
        again, colour = divmod(place, len(SCHEMES))
        found[scheme] = SchemeStyle(
            SCHEMES[colour],
            "white" if (place + again) % 2 else SCHEMES[colour],
            DASHES[place % len(DASHES)],
            SHAPES[place % len(SHAPES)],
        )
    return found
