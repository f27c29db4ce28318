"""Figure of detection along the winding, a curve a candidate."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from studies.report.labels import packed, place_labels, text_size
from studies.report.look import backing
from studies.report.marks import LABEL_POINTS, band

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes


@dataclass(frozen=True)
class Curve:
    """A candidate whose curve is drawn: what it is, its number, its setting, and how it looks."""

    role: str
    candidate: int
    setting: str
    colour: str
    dashes: Any
    mark: str


def detection(protected_winding: pd.DataFrame, curves: Sequence[Curve], ax: Axes) -> None:
    """Probability that an earth fault at x is detected, for a few candidates, with bands and
    labelled curves.

    Parameters
    ----------
    protected_winding : DataFrame
        As `Result.protected_winding` has it.
    curves : sequence of Curve
    """
    fine, heights = np.linspace(0.0, 100.0, 401), []
    for k, curve in enumerate(curves):
        rows = protected_winding[protected_winding["candidate"] == curve.candidate]
        place, p, low, high = (100 * rows[name] for name in ("x", "p_detected", "low", "high"))
        band(ax, place, low, high, curve.colour)
        ax.plot(
            place,
            p,
            color=curve.colour,
            linestyle=curve.dashes,
            marker=curve.mark,
            markevery=(k, 5),
            markersize=4.5,
            markeredgewidth=0,
            clip_on=False,
        )
        heights.append(np.interp(fine, place, p))
    ax.set(
        xlim=(0, 100),
        ylim=(0, 100),
        xlabel="place of the earth fault, % of the winding from the neutral",
        ylabel="faults detected, % of those at this place",
    )
    texts = [f"{each.role}, no. {each.candidate}\n{packed(each.setting)}" for each in curves]
    sizes = [text_size(text, LABEL_POINTS, axes_points(ax)) for text in texts]
    places = place_labels(fine, heights, sizes)
    for curve, text, place in zip(curves, texts, places, strict=True):
        ax.plot(*zip(*place.line, strict=True), color=curve.colour, linewidth=0.7)
        style: dict[str, Any] = {"va": "bottom", "fontsize": LABEL_POINTS, "bbox": backing()}
        ax.text(place.left, place.low, text, color=curve.colour, **style)


def axes_points(ax: Axes) -> tuple[float, float]:
    """About how large the axes will be once their own labels have taken their room."""
    width, height = ax.figure.get_size_inches()  # type: ignore[union-attr]
    return 72 * width - 50, 72 * height - 45
