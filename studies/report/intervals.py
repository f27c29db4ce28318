"""Estimates with their limits as marks and bars, a row each. Draw within `look.look()`."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from montecarlo.frames.limits import with_limits
from studies.report.look import pale
from studies.report.marks import SHAPES, legend_mark

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

APART = 0.34  # of a row, between the first mark in it and the last


def interval_rows(
    ax: Axes,
    frame: pd.DataFrame,
    name: str,
    rows: Sequence[str],
    series: Sequence[str],
    colour: str,
    *,
    apart: float = APART,
) -> None:
    """A row each of column `row`, from the top; a mark each of column `series`, the first in the
    colour, the others pale, with its limits; `apart`: how far they are moved apart in a row.

    Parameters
    ----------
    ax : Axes
    frame : DataFrame
        row, series, and the value by `name` with its limits.
    name : str
    rows, series : sequence of str
    colour : str
    apart : float
    """
    import seaborn as sns

    ax.set_yticks(range(len(rows)), rows)
    ax.set_ylim(len(rows) - 0.5, -0.5)
    ax.grid(visible=False, axis="y")
    ax.set(xlabel="", ylabel="")
    known = frame.dropna(subset=[name])
    if not len(known):
        return
    moved = np.linspace(-apart / 2, apart / 2, len(series)) if len(series) > 1 else [0.0]
    y = known["row"].map({row: k for k, row in enumerate(rows)})
    y = y + known["series"].map(dict(zip(series, moved, strict=True)))
    palette = looks(series, colour)["palette"]
    # limits that are known: seaborn would estimate them
    low, high = (known[end] for end in with_limits(name)[1:])
    ax.hlines(y, low, high, colors=known["series"].map(palette), linewidth=1.5, zorder=2)
    sns.scatterplot(
        known.assign(y=y),
        x=name,
        y="y",
        hue="series",
        style="series",
        **looks(series, colour),
        s=24,
        linewidth=0.6,
        legend=False,
        zorder=3,
        ax=ax,
    )
    ax.set(xlabel="", ylabel="")


def series_legend(figure: Figure, series: Sequence[str], colour: str) -> None:
    """What the marks are, above the panels."""
    look = looks(series, colour)
    marks = [
        legend_mark(name, look["palette"][name], marker=look["markers"][name], markersize=5.5)
        for name in series
    ]
    figure.legend(handles=marks, loc="outside upper center", ncols=2, frameon=False)


def looks(series: Sequence[str], colour: str) -> dict[str, Any]:
    """Colours and shapes of the series, as seaborn takes them."""
    return {
        "palette": {name: pale(colour) if k else colour for k, name in enumerate(series)},
        "markers": dict(zip(series, SHAPES, strict=False)),
        "hue_order": [*series],
        "style_order": [*series],
    }
