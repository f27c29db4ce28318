"""The figures of a comparison of schemes, from its tables: each scheme at its own best setting."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Sequence
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np

from montecarlo.frames.result import Result
from studies.report.labels import LABEL_POINTS, packed
from studies.report.look import (
    CHOSEN,
    FAINT,
    FALSE,
    FALSE_TEXT,
    MISSED,
    backing,
    on_blank,
    side_by_side,
)
from studies.report.marks import FALSE_LABEL, MISSED_LABEL, beside, limit_mark, scheme_styles
from studies.report.numbers import bare, limits_of, percent
from studies.report.words import scheme_name, setting_text
from studies.schemes.frames import ALL_TYPES
from studies.sweep.policy import limit_line
from studies.sweep.winding import Curve, detection

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from studies.protocol import Recipe

NAME_WIDTH = 30  # characters of a row's label
CELL_WIDTH = 14  # and of a column's
WHITE_FROM = 0.65  # of the darkest tone, from which text on it is white


def figures(result: Result, schemes: pd.DataFrame, caught: pd.DataFrame) -> dict[str, Recipe]:
    """By name; none where no scheme has a setting to stand for it."""
    standing = schemes[schemes["has_best"]]
    if not len(standing):
        return {}
    recipes: dict[str, Recipe] = {
        "schemes": partial(_missed_and_false, schemes, *limit_line(result.study))
    }
    if len(caught):
        shown = caught[caught["type"] == ALL_TYPES]
        height = 30.0 + 15 * len(standing)
        recipes["caught_by_other"] = partial(on_blank, height, caught_matrix, shown)
    if len(winding := result.protected_winding):
        curves = _curves(schemes, standing)
        recipes["schemes_protected_winding"] = partial(on_blank, 110, detection, winding, curves)
    return recipes


def _missed_and_false(schemes: pd.DataFrame, limit: float | None, words: str) -> Figure:
    figure, axes = side_by_side(2, height_mm(schemes))
    missed_and_false(schemes, axes, limit=limit, limit_text=words)
    return figure


def _curves(schemes: pd.DataFrame, standing: pd.DataFrame) -> list[Curve]:
    """Of the best setting of each scheme."""
    styles = scheme_styles(schemes["scheme"])
    curves = []
    for row in standing.to_dict("records"):
        style = styles[row["scheme"]]
        look = style.colour, style.dashes, style.mark
        name = textwrap.fill(scheme_name(row["scheme"]), 18)  # the setting: in the rows above
        curves.append(Curve(name, row["candidate"], "", *look))
    return curves


def height_mm(schemes: pd.DataFrame) -> float:
    """Of the figure with these rows."""
    lines = max(1 + _row_label(row).count("\n") for row in schemes.to_dict("records"))
    return 35.0 + max(17.0, 2.0 + 4.0 * lines) * len(schemes)


def missed_and_false(
    schemes: pd.DataFrame, axes: Sequence[Axes], *, limit: float | None = None, limit_text: str = ""
) -> None:
    """Two panels, a row a scheme, best above: missed faults with 95 % limits (hollow: with the
    back-up), and false trips with theirs, a bar's end at the one-sided bound that the policy uses.
    `limit`: the policy's, on p_false."""
    rows = schemes.sort_values("p_missed", kind="stable", na_position="last").reset_index(drop=True)
    shown = rows.select_dtypes("number").mul(100).assign(y=np.arange(len(rows))[::-1])
    _missed(shown, axes[0])
    _false(shown, axes[1], None if limit is None else 100 * limit)
    if limit is not None:
        limit_mark(axes[1], limit, textwrap.fill(limit_text, NAME_WIDTH), fontsize=LABEL_POINTS)
    for ax in axes:
        ax.set_ylim(-0.6, len(rows) - 0.4)
        ax.grid(visible=False, axis="y")
    axes[0].set_yticks(shown["y"], [_row_label(row) for row in rows.to_dict("records")])


def _row_label(row: dict[str, Any]) -> str:
    setting = "no setting can be chosen"
    if row["has_best"]:
        setting = packed(f"no. {row['candidate']}, {setting_text(row)}", NAME_WIDTH)
    return f"{textwrap.fill(scheme_name(row['scheme']), NAME_WIDTH)}\n{setting}"


def _missed(shown: pd.DataFrame, ax: Axes) -> None:
    """shown: of each scheme its figures in per cent, and the height `y` of its row."""
    p, high, y = shown["p_missed"], shown["p_missed_high"], shown["y"]
    ax.hlines(y, shown["p_missed_low"], high, color=MISSED, linewidth=2.2)
    ax.plot(p, y, linestyle="", marker="o", color=MISSED, markersize=5)
    for at, height in zip(p.dropna(), y, strict=False):
        text = percent(at / 100, 3)
        beside(ax, text, (at, height), (0, 6), MISSED, fontsize=LABEL_POINTS)
    label = MISSED_LABEL
    if "p_nobody" in shown:
        label += "\nhollow: by the back-up too"
        ax.hlines(y - 0.18, shown["p_nobody_low"], shown["p_nobody_high"], color=CHOSEN, lw=1)
        hollow: dict[str, Any] = {"marker": "D", "markerfacecolor": "white", "markersize": 4.5}
        ax.plot(shown["p_nobody"], y - 0.18, linestyle="", color=CHOSEN, **hollow)
    most = float(high.max())
    ax.set_xlim(0, min(1.25 * most, 110.0) if most > 0 else 100.0)
    ax.set_xlabel(label, color=MISSED)


def _false(shown: pd.DataFrame, ax: Axes, limit: float | None) -> None:
    p, bound, y, seen = shown["p_false"], shown["p_false_bound"], shown["y"], shown["p_false"] > 0
    values = np.concatenate([p, bound, shown["p_false_high"], [limit or np.nan]])
    least = np.concatenate([p, bound, [limit or np.nan]])
    least = least[least > 0]
    # a decade at or below all; of what was not seen the bar begins there
    left = 10.0 ** math.floor(math.log10(least.min() if least.size else 0.1) - 0.3)
    low = shown["p_false_low"].clip(lower=left).where(seen, left)
    high = shown[["p_false_bound", "p_false_high"]].max(axis=1)
    ax.hlines(y, low, high, color=FALSE, linewidth=np.where(seen, 2.2, 1.0))
    mark: dict[str, Any] = {"linestyle": "", "color": FALSE}
    ax.plot(p.where(seen), y, marker="o", markersize=5, **mark)
    ax.plot(bound, y, marker="|", markersize=9, markeredgewidth=1.4, **mark)
    for row in shown[p.notna()].to_dict("records"):
        at, side, text = row["p_false"], "center", percent(row["p_false"] / 100)
        if at == 0:
            at, side, text = left, "left", f"none seen, < {percent(row['p_false_high'] / 100)}"
        style = {"ha": side, "fontsize": LABEL_POINTS, "bbox": backing()}
        beside(ax, text, (at, row["y"]), (0, 6), FALSE_TEXT, **style)
    ax.set_xscale("log")
    ax.set_xlim(left / 2, 2.5 * max(np.nanmax(values), 2 * left))
    ax.xaxis.set_major_formatter(lambda value, _: bare(value / 100))
    ax.set_xlabel(f"{FALSE_LABEL}\nbar: limits; tick: bound", color=FALSE_TEXT)


# --- missed by one, caught by another -----------------------------------------


def caught_matrix(caught: pd.DataFrame, ax: Axes) -> None:
    """A row the scheme that misses, a column the one that catches; in each cell the share of the
    faults with its limits, darker where it is larger. `caught`: rows of one type."""
    import seaborn as sns

    schemes = caught["missed_by"].unique()
    table = caught.pivot(index="missed_by", columns="caught_by", values="p")
    shares = table.loc[schemes, schemes].to_numpy(float)
    most = 1.15 * (float(np.nanmax(shares)) or 1.0)
    ax.set_facecolor(FAINT)
    sns.heatmap(shares, ax=ax, cmap="Blues", vmin=0, vmax=most, linewidths=1.5, cbar=False)
    at = {scheme: k + 0.5 for k, scheme in enumerate(schemes)}
    for row in caught.to_dict("records"):
        x, y = at[row["caught_by"]], at[row["missed_by"]]
        style: dict[str, Any] = {
            "ha": "center",
            "color": "white" if row["p"] > WHITE_FROM * most else CHOSEN,
        }
        ax.text(x, y, percent(row["p"], 3), va="bottom", fontweight="bold", **style)
        _, low, high = limits_of(row, "p", 3)
        limits = f"{low} to {high}" if row["p"] else f"< {high} %"
        ax.text(x, y + 0.08, limits, va="top", fontsize=7.5, **style)
    middles = [*at.values()]
    ax.set_yticks(middles, [textwrap.fill(scheme_name(scheme), 18) for scheme in at], rotation=0)
    ax.set_xticks(middles, [textwrap.fill(scheme_name(scheme), CELL_WIDTH) for scheme in at])
    ax.grid(visible=False)
    ax.set(xlabel="caught by", ylabel="missed by")
    title = "% of the faults within the scope of the schemes, with 95 % limits"
    ax.set_title(title, loc="left", color=CHOSEN)
