"""Variants of a study as a picture: missed faults and false trips of each one's best setting, with intervals."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from montecarlo.report.choosing import SAME
from montecarlo.report.labels import packed
from montecarlo.report.look import CHOSEN, FAINT, FALSE, FALSE_TEXT, MISSED, backing
from montecarlo.report.words import setting_text
from montecarlo.study.scenarios import AS_STATED

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes

__all__ = ["height_mm", "side_by_side_figure"]

PANELS = (("p_missed", MISSED, MISSED, "o", "missed faults, % of those within reach"),
          ("p_false", FALSE, FALSE_TEXT, "s", "false trips, % of the external events"))
DECADE = 5.0                                               # ratio of the largest to the smallest from which on logs


def height_mm(rows: int) -> float:
    """Of a figure with so many variants."""
    return 34.0 + 11.5 * rows


def side_by_side_figure(table: pd.DataFrame, differences: pd.DataFrame, axes: Sequence[Axes],
                        limit: float | None = None) -> Sequence[Axes]:
    """One row a variant, as stated first, on two axes that share the vertical one. A filled mark is distinguishable
    from the study as stated, a hollow one is not; an arrow is an upper limit where none was seen. `limit`: the
    policy's on false trips, if all have one."""
    rows = table.to_dict("records")
    same = differences[differences["verdict"] == SAME]
    for ax, (name, colour, text_colour, marker, label) in zip(axes, PANELS, strict=True):
        hollow = set(same.loc[same["quantity"] == name, "variant"])
        for place, row in enumerate(rows):
            _mark(ax, place, row, name, colour, marker, hollow=row["variant"] in hollow)
        _scale(ax, table, name, limit if name == "p_false" else None)
        stated = rows[0][name]
        if np.isfinite(stated) and stated > 0:
            ax.axvline(100 * stated, color=FAINT, linewidth=0.9, zorder=0)
        ax.set_xlabel(label, color=text_colour)
        ax.grid(False, axis="y")
    if limit is not None:
        axes[1].axvline(100 * limit, color=CHOSEN, linewidth=0.9, linestyle=(0, (4, 2)), zorder=0)
        axes[1].annotate("policy's limit", (100 * limit, 1.0), xycoords=("data", "axes fraction"), xytext=(0, 2),
                         textcoords="offset points", ha="center", va="bottom", fontsize=8.0, color=CHOSEN)
    axes[0].set_yticks(range(len(rows)), [_words(row) for row in rows])
    axes[0].set_ylim(len(rows) - 0.5, -0.5)
    axes[0].annotate("hollow: not distinguishable from the study as stated", (0.0, 1.0), xycoords="axes fraction",
                     xytext=(0, 2), textcoords="offset points", ha="left", va="bottom", fontsize=8.0, color=CHOSEN)
    return axes


def _words(row: dict[str, Any]) -> str:
    if not row["scheme"]:
        return f"{row['variant']}\nno setting is allowed"
    return f"{row['variant']}\n{packed(setting_text(row))}"


def _mark(ax: Axes, place: int, row: dict[str, Any], name: str, colour: str, marker: str, *, hollow: bool) -> None:
    p, low, high = (100 * row[f"{name}{end}"] for end in ("", "_low", "_high"))
    if not np.isfinite(p):
        ax.annotate("-", (0.02, place), xycoords=("axes fraction", "data"), va="center", color=CHOSEN)
        return
    if p == 0:
        ax.plot([high], [place], marker="<", color=colour, markerfacecolor="white", linestyle="")
        ax.annotate("none seen", (high, place), xytext=(5, 0), textcoords="offset points", va="center", fontsize=8.0,
                    color=CHOSEN, bbox=backing())
        return
    ax.plot([low, high], [place, place], color=colour, linewidth=1.4, solid_capstyle="butt")
    ax.plot([p], [place], marker=marker, color=colour, markersize=6.0 if row["variant"] == AS_STATED else 5.0,
            markerfacecolor="white" if hollow else colour, linestyle="")


def _scale(ax: Axes, table: pd.DataFrame, name: str, limit: float | None) -> None:
    """Logarithmic where the marks differ by a large ratio; from 0 on otherwise, where that leaves them apart."""
    shown = 100 * np.concatenate([table[name].where(table[name] > 0, table[f"{name}_high"]), table[f"{name}_low"].where(
        table[name] > 0), table[f"{name}_high"], [np.nan if limit is None else limit]]).astype(float)
    shown = shown[np.isfinite(shown) & (shown > 0)]
    if shown.size and shown.max() > DECADE * shown.min():
        ax.set_xscale("log")
        ax.set_xlim(shown.min() / 1.6, shown.max() * 1.6)
        ax.xaxis.set_major_formatter("{x:g}")
