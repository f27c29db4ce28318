"""What several figures draw alike: texts beside marks, bands, the policy's limit, axes of per cent,
and how a scheme looks."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from studies.report.look import FALSE, FALSE_TEXT, SCHEMES, pale
from studies.report.numbers import bare

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.artist import Artist
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from matplotlib.legend import Legend
    from matplotlib.lines import Line2D
    from matplotlib.text import Annotation

DASHES: tuple[Any, ...] = ("-", (0, (5, 2)), (0, (1.5, 1.2)), (0, (6, 1.5, 1.5, 1.5)))
SHAPES = "osD^vPX*"

# of axes
MISSED_LABEL = "missed faults, %\nof those in scope"
FALSE_LABEL = "false trips, %\nof the external events"
OUTSIDE: dict[str, Any] = {  # of a legend
    "loc": "outside right upper",
    "frameon": False,
    "handlelength": 1.6,
    "labelspacing": 0.45,
    "borderaxespad": 0.0,
}
# of a map whose cells of one tone shall show no line between them
SEAMLESS: dict[str, Any] = {"linewidths": 0.3, "linecolor": "face"}
MOST_DECADES = 6  # with numbers that do not meet on the axis
BESIDE_END = 0.2  # of the axes, about their middle, within which a text stands over its place
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
    """The policy's limit on p_false as an upright line, named above the axes; called when these
    have their limits."""
    ax.axvline(100 * limit, color=FALSE, linestyle=(0, (6, 3)), linewidth=1.2, zorder=1.5)
    at = 100 * limit, 1.0
    along = ax.transAxes.inverted().transform(ax.transData.transform(at))[0]
    side = "center"
    if abs(along - 0.5) > BESIDE_END:  # its words end at the line, else they would leave the axes
        side = "left" if along < 0.5 else "right"
    beside(ax, text, at, (0, 3), FALSE_TEXT, of=("data", "axes fraction"), ha=side, **style)


def false_trips_axis(ax: Axes, limit: float | None) -> None:
    """An axis of false trips in per cent, in decades; the policy's limit is in sight, however far
    it lies from every candidate."""
    ax.set_xscale("log")
    if limit is not None:
        low, high = ax.get_xlim()
        ax.set_xlim(min(low, 90 * limit), max(high, 110 * limit))
    percent_ticks(ax, ax.get_xlim()[0])


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


def legend_mark(label: str, color: str = "none", **style: Any) -> Line2D:
    """A line or mark of a legend."""
    from matplotlib.lines import Line2D

    return Line2D([], [], label=label, color=color, **style)


def make_room(figure: Figure, legend: Legend) -> None:
    """The figure as high as a legend beside its axes needs."""
    texts = legend.get_texts()
    lines = sum(1.35 + 1.25 * text.get_text().count("\n") for text in texts)
    points = texts[0].get_fontsize() * (lines + OUTSIDE["labelspacing"] * len(texts) + 2)
    figure.set_figheight(max(figure.get_figheight(), points / 72))


def grouped_legend(figure: Figure, groups: Mapping[str, Sequence[Artist]]) -> None:
    """A legend beside the axes, with the name of each group in bold above its marks."""
    handles = [each for name, marks in groups.items() for each in (legend_mark(name), *marks)]
    legend = figure.legend(handles=handles, **OUTSIDE)
    make_room(figure, legend)
    heads = np.cumsum([0, *(1 + len(marks) for marks in groups.values())])[:-1]
    for head in heads:
        legend.get_texts()[head].set(fontweight="bold", x=-20)


@dataclass(frozen=True)
class SchemeStyle:
    """How a scheme is drawn."""

    colour: str
    dashes: Any
    mark: str


def scheme_styles(schemes: Iterable[str]) -> dict[str, SchemeStyle]:
    """Of each scheme, in the order of the study's schemes; a colour that comes again is
    pale."""
    found = {}
    for place, scheme in enumerate(dict.fromkeys(schemes)):
        again, number = divmod(place, len(SCHEMES))
        found[scheme] = SchemeStyle(
            pale(SCHEMES[number]) if again else SCHEMES[number],
            DASHES[place % len(DASHES)],
            SHAPES[place % len(SHAPES)],
        )
    return found


def semantics(styles: Mapping[str, SchemeStyle]) -> dict[str, Any]:
    """The same as seaborn takes them, of `hue` and `style`."""
    return {
        "palette": {name: style.colour for name, style in styles.items()},
        "dashes": {
            name: "" if style.dashes == "-" else style.dashes[1] for name, style in styles.items()
        },
        "markers": {name: style.mark for name, style in styles.items()},
    }
