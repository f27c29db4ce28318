"""Alternatives of a study as a picture: missed faults and false trips of each one's best setting,
with intervals."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from montecarlo.estimates.verdicts import Verdict
from montecarlo.frames.limits import with_limits
from montecarlo.quantities import Array
from studies.alternatives.frames import SideBySide
from studies.report.labels import packed
from studies.report.look import CHOSEN, FAINT, FALSE, FALSE_TEXT, MISSED, backing, side_by_side
from studies.report.marks import beside, limit_mark, percent_ticks
from studies.report.words import scheme_name, setting_text
from studies.sweep.policy import limit_line

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

PANELS = (
    ("p_missed", MISSED, MISSED, "o", "missed faults,\n% of those within reach"),
    ("p_false", FALSE, FALSE_TEXT, "s", "false trips,\n% of the external events"),
)
LOGARITHMIC = 5.0  # ratio of the largest to the smallest mark from which on
SMALL = 8.0  # points


def figures(compared: SideBySide) -> dict[str, Figure]:
    """By name."""
    limits = {limit_line(result.study)[0] for result in compared.results.values()}
    limit = limits.pop() if len(limits) == 1 else None
    figure, axes = side_by_side(2, height_mm(len(compared.table)))
    side_by_side_figure(compared.table, compared.differences, axes, limit)
    return {"alternatives": figure}


def height_mm(rows: int) -> float:
    """Of a figure with so many alternatives."""
    return 32.0 + 12.5 * rows


def side_by_side_figure(
    table: pd.DataFrame, differences: pd.DataFrame, axes: Sequence[Axes], limit: float | None = None
) -> Sequence[Axes]:
    """One row an alternative, as stated first, on two axes that share the vertical one.

    A filled mark is distinguishable from the study as stated, a hollow one is not; an arrow is an
    upper limit where none was seen.

    Parameters
    ----------
    table, differences : DataFrame
        alternatives.csv and alternative_differences.csv.
    axes : two Axes
    limit : float, optional
        The policy's on false trips, if all have one.

    Returns
    -------
    sequence of Axes
    """
    alike = differences[differences["verdict"] == Verdict.ALIKE]
    for ax, (name, colour, text_colour, marker, label) in zip(axes, PANELS, strict=True):
        hollow = table["alternative"].isin(alike.loc[alike["quantity"] == name, "alternative"])
        faces = np.where(hollow, "white", colour)
        values = 100 * table[[*with_limits(name)]].to_numpy(float)
        _marks(ax, values, faces, colour, marker)
        _scale(ax, values, limit if name == "p_false" else None)
        if values[0, 0] > 0:
            ax.axvline(values[0, 0], color=FAINT, linewidth=0.9, zorder=0)
        ax.set_xlabel(label, color=text_colour)
        ax.grid(False, axis="y")
    if limit is not None:
        limit_mark(axes[1], limit, "policy's limit", fontsize=SMALL, ha="right")
    several = table.loc[table["scheme"] != "", "scheme"].nunique() > 1
    rows = table.to_dict("records")
    axes[0].set_yticks(range(len(rows)), [_words(row, several) for row in rows])
    axes[0].set_ylim(len(rows) - 0.5, -0.5)
    axes[0].figure.supxlabel(
        "bars: 95 % limits; hollow: not distinguishable from the study as stated",
        fontsize=SMALL,
        color=CHOSEN,
    )
    return axes


def _words(row: dict[str, Any], several: bool) -> str:
    """The alternative, its scheme where they have several, its setting."""
    if not row["scheme"]:
        return f"{row['alternative']}\nno setting is allowed"
    scheme = f"{packed(scheme_name(row['scheme']), 28)}\n" if several else ""
    return f"{row['alternative']}\n{scheme}{packed(setting_text(row), 28)}"


def _marks(ax: Axes, values: Array, faces: Any, colour: str, marker: str) -> None:
    """values (alternatives, 3): estimates with their limits, in per cent."""
    for place, ((p, low, high), face) in enumerate(zip(values, faces, strict=True)):
        at, shape = (p, marker) if p > 0 else (high, "<")
        style: dict[str, Any] = {"color": colour, "markersize": 5.0 if place else 6.0}
        if np.isfinite(p):
            ax.plot([at], [place], marker=shape, markerfacecolor=face, linestyle="", **style)
        if p > 0:
            ax.hlines(place, low, high, color=colour, linewidth=1.4, zorder=1.8)
        elif p == 0:
            ground = {"fontsize": SMALL, "bbox": backing()}
            beside(ax, "none seen", (at, place), (-6, 0), CHOSEN, **ground).set_in_layout(False)


def _scale(ax: Axes, values: Array, limit: float | None) -> None:
    """Logarithmic where the marks differ by a large ratio, else from 0 on."""
    none = (values[:, 0] == 0).any()  # its words stand left of its mark
    shown = np.append(values, np.nan if limit is None else 100 * limit)
    shown = shown[shown > 0]
    if shown.size and shown.max() > LOGARITHMIC * shown.min():
        ax.set_xscale("log")
        ax.set_xlim(shown.min() / (8 if none else 1.6), shown.max() * 1.6)
        percent_ticks(ax, ax.get_xlim()[0])
    elif shown.size:
        ax.set_xlim(0, 1.08 * shown.max())
