"""Figure of how often an external event drives the elements beyond a pick-up. Draw within
`look.look()`."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from montecarlo.study.axes import BIAS, CIRCUIT
from studies.report.look import CHOSEN, FAINT
from studies.report.marks import band, beside, legend_mark, scheme_styles
from studies.report.words import scheme_name

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes

LOWEST, MAGNITUDE = 1e-7, 1e-6
DASHES: dict[str, Any] = {"phase": "-", "earth": (0, (5, 2))}
WIDEST = 3.0  # high over low limit: a wider curve is not drawn on


def exceedance(frame: pd.DataFrame, event: str, ax: Axes) -> Axes:
    """One event's curves at the shortest delay, p over pick-up, both logarithmic, with 95 % bands.

    Colour: scheme; dashes: earth element; a curve ends where its limits are a factor of three
    apart, and at 1e-7. Its stabilising resistance stands at its end."""
    shown = frame[(frame["event"] == event) & (frame["delay_s"] == frame["delay_s"].min())]
    styles = scheme_styles(shown["scheme"])
    keys = ["scheme", "element", *CIRCUIT, *BIAS]
    for (scheme, element, ohm, *_), curve in shown.groupby(keys, dropna=False, sort=False):
        sure = (curve["p"] >= LOWEST) & (curve["p_high"] <= WIDEST * curve["p_low"])
        curve = curve[sure.cumprod().astype(bool)]  # up to the first that is not
        if len(curve) < 2:
            continue
        pickup, colour = curve["pickup_a"], styles[scheme].colour
        ax.plot(pickup, curve["p"], color=colour, linestyle=DASHES[element], zorder=3)
        band(ax, pickup, curve["p_low"], curve["p_high"], colour)
        at = pickup.iloc[-1], curve["p"].iloc[-1]
        beside(ax, f"{ohm:g} ohm", at, (3, 0), CHOSEN, fontsize=7.5, zorder=4)
    ax.axhspan(LOWEST, MAGNITUDE, color=FAINT, alpha=0.3, linewidth=0, zorder=0)
    ax.set(
        xscale="log",
        yscale="log",
        ylim=(LOWEST, 1.5),
        xlabel="pick-up, A secondary",
        ylabel=f"probability that it is exceeded, {event.replace('_', ' ')}",
    )
    ax.xaxis.set_major_formatter(lambda value, _: f"{value:g}")
    ax.xaxis.set_minor_formatter(lambda value, _: f"{value:g}" if f"{value:e}"[0] in "25" else "")
    ax.set_yticks(10.0 ** np.arange(-7, 1))
    ax.yaxis.set_major_formatter(lambda value, _: f"{value:.0e}" if value < 1e-3 else f"{value:g}")
    ax.set_xlim(right=1.25 * shown["pickup_a"].max())  # room for the last label
    lines = [legend_mark(scheme_name(scheme), style.colour) for scheme, style in styles.items()]
    for axis in shown["element"].unique():
        words = "phase elements" if axis == "phase" else f"{axis} element"
        lines.append(legend_mark(words, CHOSEN, linestyle=DASHES[axis]))
    lines.append(legend_mark("order of magnitude", FAINT, linewidth=6, alpha=0.5))
    under: dict[str, Any] = {"loc": "upper center", "bbox_to_anchor": (0.5, -0.14)}
    ax.legend(handles=lines, ncol=3, fontsize=7.5, frameon=False, **under)
    return ax
