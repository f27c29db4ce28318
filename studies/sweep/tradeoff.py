"""Figure of missed faults against false trips of every candidate."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from studies.report.labels import Label, put_labels
from studies.report.look import CHOSEN, EXISTING, FAINT, FALSE_TEXT, MISSED, figure_of
from studies.report.marks import (
    FALSE_LABEL,
    MISSED_LABEL,
    SHAPES,
    grouped_legend,
    legend_mark,
    limit_mark,
    percent_ticks,
    scheme_styles,
)
from studies.report.words import scheme_name

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.artist import Artist
    from matplotlib.axes import Axes

MOST_VECTORS = 2000  # marks in an SVG; above, they are drawn as an image
GREY = "#444444"
NAME_WIDTH = 22  # characters of a scheme's name in a line
OHM = "stabilising resistance"
GROUPS = ("scheme", OHM, "setting")  # of the legend


def front(candidates: pd.DataFrame) -> np.ndarray[Any, np.dtype[np.bool_]]:
    """Which usable candidates no other beats in both p_missed and p_false; of equal ones the first.

    Returns
    -------
    array of bool, shape (candidates,)
    """
    missed, false = candidates["p_missed"].to_numpy(), candidates["p_false"].to_numpy()
    best, on = math.inf, np.zeros(len(candidates), bool)
    for i in np.lexsort((np.arange(len(missed)), missed, false)):
        if candidates["usable"].iloc[i] and missed[i] < best:
            best, on[i] = missed[i], True
    return on


def tradeoff(
    candidates: pd.DataFrame, ax: Axes, *, limit: float | None = None, limit_text: str = ""
) -> None:
    """p_missed against p_false of every candidate, in per cent.

    Shape: stabilising resistance, or none; colour: scheme. Intervals on the front, the chosen and
    the existing candidate only. Where no false trip was seen the mark stands in a column
    of its own, its bar up to the limit that the samples show.

    Parameters
    ----------
    candidates : DataFrame
        As `Result.candidates` has them.
    limit, limit_text : float, str
        The policy's, on p_false, and its words.
    """
    span = _Span.of(candidates, limit)
    x = 100 * candidates["p_false"].where(candidates["p_false"] > 0, span.none)
    shown = candidates.assign(x=x, y=100 * candidates["p_missed"], front=front(candidates))
    _marks(shown, ax)
    edge = shown[shown["front"]].sort_values("x")
    ax.step(edge["x"], edge["y"], where="post", color=CHOSEN, linewidth=0.9, zorder=1.9)
    _bars(shown[shown["front"] | shown["chosen"] | shown["existing"]], 100 * span.left, ax)
    rings = [
        *_rings(shown, "chosen", CHOSEN, "o", ax),
        *_rings(shown, "existing", EXISTING, "s", ax),
    ]
    _axes(ax, span, 100 * float(shown["p_missed_high"].max()) or 1.0)
    if limit is not None:
        limit_mark(ax, limit, limit_text)
    put_labels(ax, rings)


@dataclass(frozen=True)
class _Span:
    """The logarithmic axis from the decade `start` to `right`, and left of it the column "none
    seen" from `left`."""

    left: float
    none: float
    start: float
    right: float

    @classmethod
    def of(cls, candidates: pd.DataFrame, limit: float | None) -> _Span:
        false = candidates["p_false"]
        positive = [*false[false > 0], *([limit] if limit else [])] or [1e-3]
        start = 10.0 ** math.floor(math.log10(min(positive)) - 1e-9)
        right = min(1.0, max(float(candidates["p_false_high"].max()), *positive, 10 * start)) * 1.3
        if not (false == 0).any():
            return cls(start, start, start, right)
        column = (right / start) ** 0.30  # wide enough for its own tick label
        return cls(start / column, start / math.sqrt(column), start, right)


def _marks(shown: pd.DataFrame, ax: Axes) -> None:
    """Every candidate; those of the front larger and above the others."""
    import seaborn as sns

    few = len(shown) <= 40
    off, kept = shown[~shown["usable"]], shown[shown["usable"]].sort_values("front", kind="stable")
    style: dict[str, Any] = {"linewidth": 0.5, "rasterized": len(shown) > MOST_VECTORS}
    words = {True: "best trade-offs, with limits", False: "other"}
    styles = scheme_styles(shown["scheme"])
    ohms = np.sort(shown["stabilising_resistance_ohm"].unique())  # NaN, without any, comes last
    shapes = {_ohm_text(ohm): SHAPES[k % len(SHAPES)] for k, ohm in enumerate(ohms)}
    if len(kept):
        sns.scatterplot(
            x=kept["x"],
            y=kept["y"],
            hue=kept["scheme"].map(_name).rename("scheme"),
            hue_order=[*map(_name, styles)],
            palette={_name(scheme): each.colour for scheme, each in styles.items()},
            style=kept["stabilising_resistance_ohm"].map(_ohm_text).rename(OHM),
            style_order=[*shapes],
            markers=shapes,
            size=kept["front"].map(words).rename("setting"),
            size_order=[*words.values()],
            sizes=dict(zip(words.values(), (44, 26 if few else 14), strict=True)),
            alpha=1.0 if few else 0.75,
            zorder=2,
            ax=ax,
            **style,
        )
    ax.scatter(off["x"], off["y"], marker="x", color=FAINT, s=20, zorder=1.8, **style)
    _legend(ax, with_off=len(off) > 0)


def _name(scheme: str) -> str:
    return textwrap.fill(scheme_name(scheme), NAME_WIDTH)


def _ohm_text(ohm: float) -> str:
    return "none in the scheme" if math.isnan(ohm) else f"{ohm:g} Ω"


def _legend(ax: Axes, *, with_off: bool) -> None:
    """seaborn's legend, by its groups, beside the axes; one mark more."""
    groups: dict[str, list[Artist]] = {}
    for handle, text in zip(*ax.get_legend_handles_labels(), strict=True):
        if text in GROUPS:
            marks = groups.setdefault(text, [])
        else:
            marks.append(handle)
    if (drawn := ax.get_legend()) is not None:  # some are usable
        drawn.remove()
    if with_off:
        off = legend_mark("not usable", FAINT, marker="x", linestyle="", markersize=5)
        groups.setdefault("setting", []).append(off)
    grouped_legend(figure_of(ax), groups)


def _bars(rows: pd.DataFrame, left: float, ax: Axes) -> None:
    """Intervals as thin crosses; p_false from 0 begins at the left edge, none seen ends in a
    cap."""
    style: dict[str, Any] = {"color": GREY, "linewidth": 0.7, "zorder": 1.9}
    ax.vlines(rows["x"], 100 * rows["p_missed_low"], 100 * rows["p_missed_high"], **style)
    seen = rows["p_false"] > 0
    low = (100 * rows["p_false_low"]).clip(lower=left).where(seen, rows["x"])
    ax.hlines(rows["y"], low, 100 * rows["p_false_high"], **style)
    none = rows[~seen]
    ax.scatter(100 * none["p_false_high"], none["y"], marker="|", s=18, **style)


def _rings(shown: pd.DataFrame, role: str, colour: str, mark: str, ax: Axes) -> Iterator[Label]:
    """Of the candidates in this role: a ring, and its label."""
    style: dict[str, Any] = {"facecolors": "none", "edgecolors": colour, "linewidth": 1.5}
    for x, y in shown.loc[shown[role], ["x", "y"]].to_numpy():
        ax.scatter(x, y, marker=mark, s=95, zorder=4, **style)
        yield Label(role, colour, [[x, y]], bold=True)


def _axes(ax: Axes, span: _Span, high: float) -> None:
    ax.set_xscale("log")
    ax.set_xlim(100 * span.left, 100 * span.right)
    percent_ticks(ax, 100 * span.start)
    if span.left < span.start:
        ax.axvspan(100 * span.left, 100 * span.start, color="#f3f3f3", zorder=0, linewidth=0)
        labels = [text.get_text() for text in ax.get_xticklabels()]
        ax.set_xticks([100 * span.none, *ax.get_xticks()], ["none\nseen", *labels])
    ax.set_ylim(-0.10 * high, 1.06 * high)
    ax.set_yticks([tick for tick in ax.get_yticks() if 0 <= tick <= 1.06 * high])
    ax.set_xlabel(FALSE_LABEL.replace("\n", " "), color=FALSE_TEXT)
    ax.set_ylabel(MISSED_LABEL, color=MISSED)
