"""Figure of missed faults against false trips of every candidate."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from studies.report.look import CHOSEN, EXISTING, FAINT, FALSE_TEXT, MISSED, backing
from studies.report.marks import (
    SHAPES,
    SchemeStyle,
    beside,
    legend_mark,
    limit_mark,
    percent_ticks,
    scheme_styles,
)
from studies.report.words import scheme_name

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes

MOST_VECTORS = 2000  # marks in an SVG; above, they are drawn as an image
GREY = "#444444"


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

    Shape: stabilising resistance, or none; colour and filling: scheme. Intervals on the front, the
    chosen and the existing candidate only. Where no false trip was seen the mark stands in a column
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
    styles, shapes = scheme_styles(shown["scheme"]), _shapes(shown)
    _marks(shown, styles, shapes, ax)
    edge = shown[shown["front"]].sort_values("x")
    ax.step(edge["x"], edge["y"], where="post", color=CHOSEN, linewidth=0.9, alpha=0.7, zorder=2.5)
    _bars(shown[shown["front"] | shown["chosen"] | shown["existing"]], 100 * span.left, ax)
    top = 100 * float(shown["p_missed_high"].max())
    for row in shown[shown["chosen"]].to_dict("records"):
        _ring(row, "chosen", CHOSEN, "o", -8, ax)
    for row in shown[shown["existing"]].to_dict("records"):
        up = 8 if row["chosen"] or row["y"] < 0.92 * top else -8  # else it leaves the axes
        _ring(row, "existing", EXISTING, "s", up, ax)
    _axes(ax, span, top or 1.0)
    if limit is not None:
        limit_mark(ax, limit, limit_text)
    _legend(shown, styles, shapes, ax)


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


def _shapes(shown: pd.DataFrame) -> dict[str, str]:
    """A mark for each stabilising resistance, by its words."""
    ohms = np.sort(shown["stabilising_resistance_ohm"].unique())  # NaN, without any, comes last
    return {_ohm_text(ohm): SHAPES[k % len(SHAPES)] for k, ohm in enumerate(ohms)}


def _ohm_text(ohm: float) -> str:
    return "none in the scheme" if math.isnan(ohm) else f"{ohm:g} ohm"


def _marks(
    shown: pd.DataFrame, styles: dict[str, SchemeStyle], shapes: dict[str, str], ax: Axes
) -> None:
    few = len(shown) <= 40
    style: dict[str, Any] = {
        "s": 26 if few else 15,
        "linewidth": 0.8,
        "rasterized": len(shown) > MOST_VECTORS,
    }
    off, kept = shown[~shown["usable"]], shown[shown["usable"]]
    ax.scatter(off["x"], off["y"], marker="x", color=FAINT, zorder=1.8, **style)
    alike = ["front", "scheme", "stabilising_resistance_ohm"]
    for (on, scheme, ohm), part in kept.groupby(alike, sort=False, dropna=False):
        ax.scatter(
            part["x"],
            part["y"],
            marker=shapes[_ohm_text(ohm)],
            alpha=1.0 if on or few else 0.55,
            zorder=3 if on else 2,
            facecolors=styles[scheme].face,
            edgecolors="black" if on else styles[scheme].colour,
            **style,
        )


def _bars(rows: pd.DataFrame, left: float, ax: Axes) -> None:
    """Intervals as thin crosses; p_false from 0 begins at the left edge, none seen ends in a
    cap."""
    style: dict[str, Any] = {"color": GREY, "linewidth": 0.7, "zorder": 2.4}
    ax.vlines(rows["x"], 100 * rows["p_missed_low"], 100 * rows["p_missed_high"], **style)
    seen = rows["p_false"] > 0
    low = (100 * rows["p_false_low"]).clip(lower=left).where(seen, rows["x"])
    ax.hlines(rows["y"], low, 100 * rows["p_false_high"], **style)
    none = rows[~seen]
    ax.scatter(100 * none["p_false_high"], none["y"], marker="|", s=18, **style)


def _ring(row: dict[str, Any], role: str, colour: str, mark: str, up: float, ax: Axes) -> None:
    at = row["x"], row["y"]
    style: dict[str, Any] = {"facecolors": "none", "edgecolors": colour, "linewidth": 1.5}
    ax.scatter(*at, marker=mark, s=95, zorder=4, **style)
    beside(ax, role, at, (0, up), colour, fontweight="bold", bbox=backing(), zorder=5)


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
    ax.set_xlabel("false trips, % of the external events", color=FALSE_TEXT)
    ax.set_ylabel("missed faults, % of those within reach", color=MISSED)


def _legend(
    shown: pd.DataFrame, styles: dict[str, SchemeStyle], shapes: dict[str, str], ax: Axes
) -> None:
    mark: dict[str, Any] = {"linestyle": "", "markersize": 5}
    groups = {
        "scheme": [
            legend_mark(
                scheme_name(scheme).replace(", ", ",\n"),
                style.colour,
                marker="o",
                markerfacecolor=style.face,
                **mark,
            )
            for scheme, style in styles.items()
        ],
        "stabilising resistance": [
            legend_mark(text, GREY, marker=shape, **mark) for text, shape in shapes.items()
        ],
        "also": [legend_mark("front, with intervals", CHOSEN, linewidth=0.9)],
    }
    if shown["stabilising_resistance_ohm"].isna().all():
        del groups["stabilising resistance"]
    if not shown["usable"].all():
        groups["also"].append(legend_mark("not usable", FAINT, marker="x", **mark))
    handles = [each for name, marks in groups.items() for each in (legend_mark(name), *marks)]
    legend = ax.figure.legend(
        handles=handles,
        loc="outside right upper",
        frameon=False,
        handlelength=1.4,
        labelspacing=0.45,
        borderaxespad=0.0,
    )
    for handle, text in zip(handles, legend.get_texts(), strict=True):
        if handle.get_color() == "none":  # the name of a group
            text.set(fontweight="bold", x=-20)
