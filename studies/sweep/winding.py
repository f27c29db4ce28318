"""Figure of detection along the winding, a curve a candidate."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from studies.report.labels import Label, packed, put_labels
from studies.report.look import figure_of, ink
from studies.report.marks import OUTSIDE, band, make_room

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes


MOST_LABELS = 3  # beside their curves


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
    labels = []
    beside_curves = len(curves) <= MOST_LABELS
    most = 44 if beside_curves else 24
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
        name = textwrap.fill(f"{curve.role}, no.\u00a0{curve.candidate}", most)
        text = f"{name}\n{packed(curve.setting, most)}".strip()
        labels.append(Label(text, curve.colour, np.column_stack([place, p])))
    ax.set(
        xlim=(0, 100),
        ylim=(0, 100),
        xlabel="place of the earth fault, % of the winding from the neutral",
        ylabel="faults detected, % of those at this place",
    )
    if beside_curves:
        put_labels(ax, labels)
    else:
        _legend(ax, labels)


def _legend(ax: Axes, labels: Sequence[Label]) -> None:
    """Beside the axes, of more curves than can be named where they are."""
    legend = figure_of(ax).legend(ax.lines, [label.text for label in labels], **OUTSIDE)
    make_room(figure_of(ax), legend)
    ax.set_xlabel(ax.get_xlabel().replace(", ", ",\n"))
    for text, label in zip(legend.get_texts(), labels, strict=True):
        text.set_color(ink(label.colour))
