"""Schemes side by side, each at its own best setting: frames of `scheme_tables` in, axes out. Draw
within `look.look()`."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from studies.report.look import CHOSEN, FAINT, FALSE, FALSE_TEXT, MISSED, backing
from studies.report.numbers import bare, limits_of, percent
from studies.report.words import scheme_name, setting_text

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes

__all__ = ["caught_matrix", "missed_and_false"]

LABEL_POINTS = 8.5
NAME_WIDTH = 30  # characters of a row's label
CELL_WIDTH = 14  # and of a column's
WHITE_FROM = 0.65  # of the darkest tone, from which text on it is white


def missed_and_false(
    schemes: pd.DataFrame, axes: Sequence[Axes], *, limit: float | None = None, limit_text: str = ""
) -> None:
    """Two panels, a row a scheme, best above: missed faults with 95 % limits (hollow: with the
    back-up), and false trips with theirs, a bar's end at the one-sided bound that the policy uses.
    `limit`: the policy's, on p_false."""
    rows = schemes.sort_values("p_missed", kind="stable", na_position="last").reset_index(drop=True)
    heights = np.arange(len(rows))[::-1]
    _missed(rows, heights, axes[0])
    _false(rows, heights, axes[1], limit, limit_text)
    for ax in axes:
        ax.set_ylim(-0.6, len(rows) - 0.4)
        ax.grid(visible=False, axis="y")
    axes[0].set_yticks(heights, [_row_label(row) for row in rows.to_dict("records")])


def _row_label(row: dict[str, Any]) -> str:
    name = textwrap.fill(scheme_name(row["scheme"]), NAME_WIDTH)
    if not row["has_best"]:
        return f"{name}\nno setting can be chosen"
    setting = textwrap.fill(f"no. {row['candidate']}, {setting_text(row)}", NAME_WIDTH)
    return f"{name}\n{setting}"


def _missed(rows: pd.DataFrame, heights: np.ndarray[Any, Any], ax: Axes) -> None:
    ax.hlines(
        heights,
        100 * rows["p_missed_low"],
        100 * rows["p_missed_high"],
        color=MISSED,
        linewidth=2.2,
    )
    ax.plot(100 * rows["p_missed"], heights, linestyle="", marker="o", color=MISSED, markersize=5)
    for row, height in zip(rows.to_dict("records"), heights, strict=True):
        if row["has_best"]:
            ax.annotate(
                percent(row["p_missed"], 3),
                (100 * row["p_missed"], height),
                xytext=(0, 6),
                textcoords="offset points",
                ha="center",
                va="bottom",
                color=MISSED,
                fontsize=LABEL_POINTS,
            )
    if "p_nobody" in rows:
        below = heights - 0.18
        ax.hlines(
            below,
            100 * rows["p_nobody_low"],
            100 * rows["p_nobody_high"],
            color=CHOSEN,
            linewidth=1.0,
        )
        ax.plot(
            100 * rows["p_nobody"],
            below,
            linestyle="",
            marker="D",
            color=CHOSEN,
            markerfacecolor="white",
            markersize=4.5,
        )
    high = float(rows["p_missed_high"].max())
    ax.set_xlim(0, 100 * min(1.25 * high, 1.1) if high > 0 else 1.0)
    ax.set_xlabel(
        "missed faults,\n% of those within reach"
        + ("\n(hollow: by the back-up too)" if "p_nobody" in rows else ""),
        color=MISSED,
    )


def _false(
    rows: pd.DataFrame,
    heights: np.ndarray[Any, Any],
    ax: Axes,
    limit: float | None,
    limit_text: str,
) -> None:
    seen = rows["p_false"] > 0
    left = _left_end(rows, limit)  # of what was not seen the bar begins there
    low = (100 * rows["p_false_low"]).clip(lower=100 * left).where(seen, 100 * left)
    high = 100 * rows[["p_false_bound", "p_false_high"]].max(axis=1)
    ax.hlines(heights, low, high, color=FALSE, linewidth=np.where(seen, 2.2, 1.0))
    ax.plot(
        100 * rows["p_false"].where(seen),
        heights,
        linestyle="",
        marker="o",
        color=FALSE,
        markersize=5,
    )
    ax.plot(
        100 * rows["p_false_bound"],
        heights,
        linestyle="",
        marker="|",
        color=FALSE,
        markersize=9,
        markeredgewidth=1.4,
    )
    for row, height in zip(rows.to_dict("records"), heights, strict=True):
        if row["has_best"]:
            text, at, side = percent(row["p_false"]), 100 * row["p_false"], "center"
            if row["p_false"] == 0:
                text, at, side = f"none seen, < {percent(row['p_false_high'])}", 100 * left, "left"
            ax.annotate(
                text,
                (at, height),
                xytext=(0, 6),
                textcoords="offset points",
                ha=side,
                va="bottom",
                color=FALSE_TEXT,
                fontsize=LABEL_POINTS,
                bbox=backing(),
            )
    ax.set_xscale("log")
    ax.set_xlim(
        100 * left / 2, 2.5 * max(float(np.nanmax([*high, 100 * (limit or 0.0)])), 200 * left)
    )
    ax.xaxis.set_major_formatter(lambda value, _: bare(value / 100))
    ax.set_xlabel(
        "false trips,\n% of the external events\n(bar: limits; tick: bound)", color=FALSE_TEXT
    )
    if limit is not None:
        ax.axvline(100 * limit, color=FALSE, linestyle=(0, (6, 3)), linewidth=1.2, zorder=1.5)
        ax.annotate(
            textwrap.fill(limit_text or f"limit {percent(limit)}", NAME_WIDTH),
            (100 * limit, 1.0),
            xycoords=("data", "axes fraction"),
            xytext=(0, 3),
            textcoords="offset points",
            ha="center",
            va="bottom",
            color=FALSE_TEXT,
            fontsize=LABEL_POINTS,
        )


def _left_end(rows: pd.DataFrame, limit: float | None) -> float:
    """A decade at or below everything that is shown."""
    shown = [value for name in ("p_false", "p_false_bound") for value in rows[name] if value > 0]
    return 10.0 ** math.floor(
        math.log10(min([*shown, *([limit] if limit else [])], default=1e-3)) - 0.3
    )


# --- missed by one, caught by another -----------------------------------------


def caught_matrix(caught: pd.DataFrame, ax: Axes) -> Axes:
    """A row the scheme that misses, a column the one that catches; in each cell the share of the
    faults with its limits, darker where it is larger. `caught`: rows of one type."""
    import matplotlib as mpl

    schemes = list(dict.fromkeys(caught["missed_by"]))
    at = {scheme: k for k, scheme in enumerate(schemes)}
    values = np.full((len(schemes), len(schemes)), np.nan)
    for one, other, p in caught[["missed_by", "caught_by", "p"]].itertuples(index=False):
        values[at[one], at[other]] = 100 * p
    tones = mpl.colormaps["Blues"].with_extremes(bad=FAINT)
    most = float(np.nanmax(values)) or 1.0
    ax.pcolormesh(
        np.ma.masked_invalid(values),
        cmap=tones,
        vmin=0,
        vmax=1.15 * most,
        edgecolors="white",
        linewidth=1.5,
    )
    for row in caught.to_dict("records"):
        x, y = at[row["caught_by"]] + 0.5, at[row["missed_by"]] + 0.5
        colour = "white" if 100 * row["p"] > WHITE_FROM * 1.15 * most else CHOSEN
        ax.text(
            x, y, percent(row["p"], 3), ha="center", va="bottom", color=colour, fontweight="bold"
        )
        _, low, high = limits_of(row, "p", 3)
        limits = f"{low} to {high}" if row["p"] else f"< {high} %"
        ax.text(x, y + 0.08, limits, ha="center", va="top", color=colour, fontsize=7.5)
    middles = np.arange(len(schemes)) + 0.5
    ax.set_yticks(middles, [textwrap.fill(scheme_name(scheme), 18) for scheme in schemes])
    ax.set_xticks(middles, [textwrap.fill(scheme_name(scheme), CELL_WIDTH) for scheme in schemes])
    ax.invert_yaxis()
    ax.grid(visible=False)
    ax.tick_params(length=0)
    ax.set_xlabel("caught by")
    ax.set_ylabel("missed by")
    ax.set_title(
        "% of the internal faults within reach, with 95 % limits", loc="left", color=CHOSEN
    )
    return ax
