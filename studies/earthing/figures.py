"""Options of earthing as pictures: the table of `report.earthing.Options` in, axes out. Draw within
`look.look()`."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from studies.report.look import (
    CHOSEN,
    FAINT,
    FALSE,
    FALSE_TEXT,
    MISSED,
    SCHEMES,
    backing,
    decades,
)

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes

__all__ = ["coverage_against_energy", "options_side_by_side"]

SHAPES = "osD^vP"
CORNERS = ((-1, 1), (1, -1), (1, 1), (-1, -1))  # of a mark, where its label stands: right, up
NEAR = 9.0  # per cent of the winding, within which labels might meet
ENERGY_TEXT = "#444444"
PANELS = (
    ("p_missed", 100.0, "missed faults,\n% of those within reach", MISSED, MISSED),
    ("p_false", 100.0, "false trips,\n% of the external events", FALSE, FALSE_TEXT),
    ("fault_energy_j_mean", 1e-3, "mean energy in\nan earth fault, kJ", ENERGY_TEXT, ENERGY_TEXT),
)


def coverage_against_energy(table: pd.DataFrame, ax: Axes) -> Axes:
    """Part of the winding covered against the energy in the fault, a labelled mark an option.

    Mark: median of the covered part, mean energy; thin bars: 5 to 95 % of the sampled faults; thick
    bar: 95 % limits of the mean. Options without a setting are left out."""
    shown = table[table["covered_median"].notna()].sort_values(
        "fault_energy_j_mean", ignore_index=True
    )
    for k, row in shown.iterrows():
        colour = SCHEMES[int(k) % len(SCHEMES)]
        x, y = row["fault_energy_j_mean"] / 1e3, 100 * row["covered_median"]
        spread = [row[f"fault_energy_j_{end}"] / 1e3 for end in ("p05", "p95")]
        limits = [row[f"fault_energy_j_mean_{end}"] / 1e3 for end in ("low", "high")]
        ax.hlines(y, *spread, color=colour, linewidth=0.9, zorder=2)
        ax.vlines(
            x,
            100 * row["covered_p05"],
            100 * row["covered_p95"],
            color=colour,
            linewidth=0.9,
            zorder=2,
        )
        ax.hlines(y, *limits, color=colour, linewidth=3.2, alpha=0.6, zorder=2.5)
        ax.plot(
            [x],
            [y],
            marker=SHAPES[int(k) % len(SHAPES)],
            color=colour,
            markersize=6.5,
            markeredgecolor="white",
            markeredgewidth=0.7,
            zorder=3,
            clip_on=False,
        )
    _labels(shown, ax)
    _energy_axis(shown, ax)
    ax.set_ylim(-10, 108)
    ax.set_yticks(range(0, 101, 20))
    ax.set_ylabel("winding covered against earth faults, %", color=MISSED)
    ax.set_xlabel(
        "energy in an earth fault, kJ\nmark: mean, with its 95 % limits; thin bars: 5 to 95 % of"
        " the sampled faults",
        color=ENERGY_TEXT,
    )
    return ax


def _labels(shown: pd.DataFrame, ax: Axes) -> None:
    """Each beside its mark: above it to the left, or where a neighbour at about the same height has
    taken that, in the next corner."""
    taken: list[tuple[float, int]] = []
    for x, y, text in zip(
        shown["fault_energy_j_mean"] / 1e3,
        100 * shown["covered_median"],
        shown["option"],
        strict=True,
    ):
        used = {corner for height, corner in taken if abs(height - y) < NEAR}
        corner = next((k for k in range(len(CORNERS)) if k not in used), 0)
        taken.append((y, corner))
        right, up = CORNERS[corner]
        ax.annotate(
            text,
            (x, y),
            xytext=(6 * right, 6 * up),
            textcoords="offset points",
            color=CHOSEN,
            ha="left" if right > 0 else "right",
            va="bottom" if up > 0 else "top",
            bbox=backing(),
            zorder=4,
        )


def _energy_axis(shown: pd.DataFrame, ax: Axes) -> None:
    """Logarithmic where there are energies above 0; whole decades around the sampled faults."""
    values = (
        shown[["fault_energy_j_p05", "fault_energy_j_p95", "fault_energy_j_mean"]].to_numpy() / 1e3
    )
    above = values[np.isfinite(values) & (values > 0)]
    if not above.size:
        return
    decades(
        ax, "x", 10.0 ** np.floor(np.log10(above.min())), 10.0 ** np.ceil(np.log10(above.max()))
    )


def options_side_by_side(
    table: pd.DataFrame, axes: Sequence[Axes], *, limit: float | None = None
) -> Sequence[Axes]:
    """Three panels with a row an option, in the order of the study: missed faults, false trips,
    mean energy in the fault, each with 95 % limits. A hollow mark: none seen. Options without a
    setting have no marks. `limit`: the policy's, on p_false."""
    place = np.arange(len(table))
    for ax, (name, scale, label, colour, dark) in zip(axes, PANELS, strict=True):
        value, low, high = (
            scale * table[f"{name}{end}"].to_numpy(float) for end in ("", "_low", "_high")
        )
        ax.hlines(place, low, high, color=colour, linewidth=1.8, zorder=2)
        ax.scatter(
            value,
            place,
            s=30,
            facecolors=np.where(value > 0, colour, "white"),
            edgecolors=colour,
            zorder=3,
            clip_on=False,
        )
        _from_zero(value, low, high, ax, log=name == "fault_energy_j_mean")
        ax.set_xlabel(label, color=dark)
        ax.grid(visible=False, axis="y")
        for at in range(len(table)):
            ax.axhline(at, color=FAINT, linewidth=0.5, zorder=1)
    if limit is not None:
        axes[1].axvline(100 * limit, color=FALSE, linestyle=(0, (6, 3)), linewidth=1.2, zorder=1.5)
        axes[1].set_xlim(0, max(axes[1].get_xlim()[1], 108 * limit))
        axes[1].set_title("dashed: policy's limit", color=FALSE_TEXT)
    axes[0].set_yticks(place, table["option"])
    axes[0].set_ylim(len(table) - 0.5, -0.5)
    return axes


def _from_zero(value: Any, low: Any, high: Any, ax: Axes, *, log: bool) -> None:
    known = np.isfinite(high)
    if log and known.any() and (low[known] > 0).all():
        decades(
            ax,
            "x",
            10.0 ** np.floor(np.log10(low[known].min())),
            10.0 ** np.ceil(np.log10(high[known].max())),
        )
    elif known.any():
        ax.set_xlim(0, 1.08 * float(high[known].max()) or 1.0)
