"""Options of earthing as pictures: the table of `frames.Options` in, axes out. Draw within
`look.look()`."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import cycle
from typing import TYPE_CHECKING, Any

import numpy as np

from montecarlo.frames.limits import with_limits
from studies.report.look import (
    CHOSEN,
    FAINT,
    FALSE,
    FALSE_TEXT,
    MISSED,
    SCHEMES,
    backing,
    blank,
    decades,
    side_by_side,
)
from studies.report.marks import SHAPES, beside, limit_mark
from studies.sweep.policy import limit_line

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from studies.earthing.frames import Options

TRADE = "protection_against_energy"
CORNERS = ((-1, 1), (1, -1), (1, 1), (-1, -1))  # of a mark, where its label stands: right, up
NEAR = 9.0  # per cent of the winding, within which labels might meet
ENERGY_TEXT = "#444444"
PANELS = (
    ("p_missed", 100.0, "missed faults,\n% of those within reach", MISSED, MISSED),
    ("p_false", 100.0, "false trips,\n% of the external events", FALSE, FALSE_TEXT),
    ("fault_energy_j_mean", 1e-3, "mean energy in\nan earth fault, kJ", ENERGY_TEXT, ENERGY_TEXT),
)


def figures(options: Options) -> dict[str, Figure]:
    """By name."""
    drawn: dict[str, Figure] = {}
    drawn[TRADE], ax = blank()
    protection_against_energy(options.table, ax)
    drawn["earthing_options"], axes = side_by_side(3, 32 + 8 * len(options.table))
    options_side_by_side(options.table, axes, limit=limit_line(options.study)[0])
    return drawn


def protection_against_energy(table: pd.DataFrame, ax: Axes) -> Axes:
    """Part of the winding protected against the energy in the fault, a labelled mark an option.

    Mark: median of the protected part, mean energy; thin bars: 5 to 95 % of the sampled faults;
    thick bar: 95 % limits of the mean. Options without a setting are left out."""
    shown = table.dropna(subset="protected_median").sort_values("fault_energy_j_mean")
    energy, protected = (
        shown.filter(like="fault_energy_j_") / 1e3,
        100 * shown.filter(like="protected_"),
    )
    mean, median = energy["fault_energy_j_mean"], protected["protected_median"]
    colours = [SCHEMES[k % len(SCHEMES)] for k in range(len(shown))]
    thin: dict[str, Any] = {"color": colours, "linewidth": 0.9, "zorder": 2}
    ax.hlines(median, energy["fault_energy_j_p05"], energy["fault_energy_j_p95"], **thin)
    ax.vlines(mean, protected["protected_p05"], protected["protected_p95"], **thin)
    thick = thin | {"linewidth": 3.2, "alpha": 0.6, "zorder": 2.5}
    ends = energy["fault_energy_j_mean_low"], energy["fault_energy_j_mean_high"]
    ax.hlines(median, *ends, **thick)
    marked: dict[str, Any] = {"markersize": 6.5, "markeredgecolor": "white", "markeredgewidth": 0.7}
    for at, colour, shape in zip(zip(mean, median, strict=True), colours, cycle(SHAPES)):
        ax.plot(*at, marker=shape, color=colour, zorder=3, clip_on=False, **marked)
    _labels(mean, median, shown["option"], ax)
    _around(ax, energy.to_numpy())
    ax.set_ylim(-10, 108)
    ax.set_yticks(range(0, 101, 20))
    ax.set_ylabel("winding protected against earth faults, %", color=MISSED)
    ax.set_xlabel(
        "energy in an earth fault, kJ\nmark: mean, with its 95 % limits; thin bars: 5 to 95 % of"
        " the sampled faults",
        color=ENERGY_TEXT,
    )
    return ax


def _labels(mean: Any, median: Any, names: Any, ax: Axes) -> None:
    """Each beside its mark: above it to the left, or where a neighbour at about the same height has
    taken that, in the next corner."""
    taken: list[tuple[float, int]] = []
    for x, y, text in zip(mean, median, names, strict=True):
        used = {corner for height, corner in taken if abs(height - y) < NEAR}
        corner = next((k for k in range(len(CORNERS)) if k not in used), 0)
        taken.append((y, corner))
        right, up = CORNERS[corner]
        beside(ax, text, (x, y), (6 * right, 6 * up), CHOSEN, bbox=backing(), zorder=4)


def _around(ax: Axes, values: Any) -> None:
    """Logarithmic, whole decades around the values above 0, if there are any."""
    above = values[np.isfinite(values) & (values > 0)]
    if above.size:
        ends = np.log10([above.min(), above.max()])
        decades(ax, "x", 10.0 ** np.floor(ends[0]), 10.0 ** np.ceil(ends[1]))


def options_side_by_side(
    table: pd.DataFrame, axes: Sequence[Axes], *, limit: float | None = None
) -> Sequence[Axes]:
    """Three panels with a row an option, in the order of the study: missed faults, false trips,
    mean energy in the fault, each with 95 % limits. A hollow mark: none seen. Options without a
    setting have no marks. `limit`: the policy's, on p_false."""
    place = np.arange(len(table))
    for ax, (name, scale, label, colour, dark) in zip(axes, PANELS, strict=True):
        values = scale * table[[*with_limits(name)]].to_numpy(float)
        value, low, high = values.T
        ax.hlines(place, low, high, color=colour, linewidth=1.8, zorder=2)
        faces = np.where(value > 0, colour, "white")
        ax.scatter(value, place, s=30, facecolors=faces, edgecolors=colour, zorder=3, clip_on=False)
        if name == "fault_energy_j_mean" and not (low <= 0).any():
            _around(ax, values)
        elif np.isfinite(high).any():
            ax.set_xlim(0, 1.08 * float(np.nanmax(high)) or 1.0)
        ax.set_xlabel(label, color=dark)
        ax.grid(visible=False, axis="y")
        for at in range(len(table)):
            ax.axhline(at, color=FAINT, linewidth=0.5, zorder=1)
    if limit is not None:
        limit_mark(axes[1], limit, "policy's limit", ha="right")
        axes[1].set_xlim(0, max(axes[1].get_xlim()[1], 108 * limit))
    axes[0].set_yticks(place, table["option"])
    axes[0].set_ylim(len(table) - 0.5, -0.5)
    return axes
