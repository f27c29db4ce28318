"""Variants of a study as a picture: missed faults and false trips of each one's best setting, with
intervals."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from montecarlo.estimates.verdicts import Verdict
from montecarlo.study.scenarios import AS_STATED
from studies.report.labels import packed
from studies.report.look import CHOSEN, FAINT, FALSE, FALSE_TEXT, MISSED, backing
from studies.report.marks import percent_ticks
from studies.report.words import scheme_name, setting_text

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes
    from matplotlib.text import Annotation

__all__ = ["height_mm", "side_by_side_figure"]

PANELS = (
    ("p_missed", MISSED, MISSED, "o", "missed faults,\n% of those within reach"),
    ("p_false", FALSE, FALSE_TEXT, "s", "false trips,\n% of the external events"),
)
LOGARITHMIC = 5.0  # ratio of the largest to the smallest mark from which on
SMALL = 8.0  # points


def height_mm(rows: int) -> float:
    """Of a figure with so many variants."""
    return 32.0 + 12.5 * rows


def side_by_side_figure(
    table: pd.DataFrame, differences: pd.DataFrame, axes: Sequence[Axes], limit: float | None = None
) -> Sequence[Axes]:
    """One row a variant, as stated first, on two axes that share the vertical one. A filled mark is
    distinguishable from the study as stated, a hollow one is not; an arrow is an upper limit where
    none was seen. `limit`: the policy's on false trips, if all have one."""
    rows = table.to_dict("records")
    same = differences[differences["verdict"] == Verdict.ALIKE]
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
        _text(
            axes[1],
            "policy's limit",
            (100 * limit, 1.0),
            (0, 2),
            coordinates=("data", "axes fraction"),
            ha="right",
            va="bottom",
        ).set_in_layout(True)  # it wants a line above the axes
    several = table.loc[table["scheme"] != "", "scheme"].nunique() > 1
    axes[0].set_yticks(range(len(rows)), [_words(row, several) for row in rows])
    axes[0].set_ylim(len(rows) - 0.5, -0.5)
    axes[0].figure.supxlabel(
        "bars: 95 % limits; hollow: not distinguishable from the study as stated",
        fontsize=SMALL,
        color=CHOSEN,
    )
    return axes


def _text(
    ax: Axes,
    text: str,
    at: tuple[float, float],
    offset: tuple[float, float],
    *,
    coordinates: Any = "data",
    **style: Any,
) -> Annotation:
    """A small text that takes no room from the axes."""
    drawn = ax.annotate(
        text,
        at,
        xycoords=coordinates,
        xytext=offset,
        textcoords="offset points",
        fontsize=SMALL,
        color=CHOSEN,
        **style,
    )
    drawn.set_in_layout(False)
    return drawn


def _words(row: dict[str, Any], several: bool) -> str:
    """The variant, its scheme where they have several, its setting."""
    if not row["scheme"]:
        return f"{row['variant']}\nno setting is allowed"
    scheme = f"{packed(scheme_name(row['scheme']), 28)}\n" if several else ""
    return f"{row['variant']}\n{scheme}{packed(setting_text(row), 28)}"


def _mark(
    ax: Axes, place: int, row: dict[str, Any], name: str, colour: str, marker: str, *, hollow: bool
) -> None:
    p, low, high = (100 * row[f"{name}{end}"] for end in ("", "_low", "_high"))
    if not np.isfinite(p):
        return
    if p == 0:
        ax.plot(
            [high],
            [place],
            marker="<",
            color=colour,
            markerfacecolor="white" if hollow else colour,
            linestyle="",
        )
        _text(ax, "none seen", (high, place), (-6, 0), ha="right", va="center", bbox=backing())
        return
    ax.plot([low, high], [place, place], color=colour, linewidth=1.4, solid_capstyle="butt")
    ax.plot(
        [p],
        [place],
        marker=marker,
        color=colour,
        markersize=6.0 if row["variant"] == AS_STATED else 5.0,
        markerfacecolor="white" if hollow else colour,
        linestyle="",
    )


def _scale(ax: Axes, table: pd.DataFrame, name: str, limit: float | None) -> None:
    """Logarithmic where the marks differ by a large ratio, else from 0 on."""
    shown = 100 * np.concatenate(
        [
            table[name].where(table[name] > 0, table[f"{name}_high"]),
            table[f"{name}_low"].where(table[name] > 0),
            table[f"{name}_high"],
            [np.nan if limit is None else limit],
        ]
    ).astype(float)
    shown = shown[np.isfinite(shown) & (shown > 0)]
    none = (table[name] == 0).any()  # its words stand left of its mark
    if shown.size and shown.max() > LOGARITHMIC * shown.min():
        ax.set_xscale("log")
        ax.set_xlim(shown.min() / (8 if none else 1.6), shown.max() * 1.6)
        percent_ticks(ax, ax.get_xlim()[0])
    elif shown.size:
        ax.set_xlim(0, 1.08 * shown.max())
