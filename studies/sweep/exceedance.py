"""Figure of how often external events drive the elements beyond a pick-up: the events and circuits
that matter to the choice. Draw within `look.look()`."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from montecarlo.frames.limits import with_limits
from montecarlo.study.axes import BIAS, CIRCUIT
from studies.report.look import CHOSEN, FAINT, decades, panels
from studies.report.marks import grouped_legend, legend_mark, scheme_styles
from studies.report.words import scheme_name, slope_text

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

LOWEST, MAGNITUDE = 1e-7, 1e-6
WIDEST = 3.0  # high over low limit: a wider curve is not drawn on
MOST_OF = 0.9  # of the false trips, which the events drawn make together
MOST_EVENTS = 4
NAME_WIDTH = 20  # characters of a scheme's name in a line
KEYS = ["scheme", *CIRCUIT, *BIAS]
CIRCUITS: tuple[Any, ...] = ("", (5, 2), (1.5, 1.2), (6, 1.5, 1.5, 1.5), (9, 2), (3, 1, 1, 1, 1, 1))
PICKUP: dict[str, Any] = {"color": CHOSEN, "linewidth": 1.0, "linestyle": (0, (1, 1.2))}
ORDER: dict[str, Any] = {"color": FAINT, "alpha": 0.3}


@dataclass(frozen=True)
class Shown:
    """What of the table is drawn, and what not."""

    events: list[str]
    curves: pd.DataFrame
    rare_events: list[str]  # those that make few of the false trips
    rare_elements: list[str]  # those that are hardly ever driven so far


def worth_showing(frame: pd.DataFrame, by_type: pd.DataFrame, settings: pd.DataFrame) -> Shown:
    """The events that make most of the false trips of these settings, the first of which is the one
    of interest; the curves of their circuits, at its delay.

    Parameters
    ----------
    frame : DataFrame
        exceedance.csv.
    by_type : DataFrame
        by_type.csv.
    settings : DataFrame
        Rows of candidates.csv.

    Returns
    -------
    Shown
    """
    known = list(dict.fromkeys(frame["event"]))
    of_these = by_type["candidate"].isin(settings["candidate"]) & by_type["type"].isin(known)
    share = by_type[of_these].groupby("type", sort=False)["share_of_total"].mean().fillna(0.0)
    if not share.any():  # none was seen: by how far they reach
        seen = frame[frame["p"] > 0]
        share = np.log(seen["p"]).groupby(seen["event"], sort=False).mean().rank(pct=True)
    share = (share / share.sum()).sort_values(ascending=False, kind="stable")
    before = share.cumsum() - share
    events = [str(name) for name in share[before < MOST_OF].index[:MOST_EVENTS]]
    first = settings["delay_s"].iloc[0]
    delay = first if (frame["delay_s"] == first).any() else frame["delay_s"].min()
    judged = frame[frame["event"].isin(events) & (frame["delay_s"] == delay)]
    judged = judged.merge(settings[KEYS].drop_duplicates(), on=KEYS)
    curves = _sure(judged)
    rare = set(judged["element"]) - set(curves["element"])
    others = [name for name in known if name not in events]
    return Shown(events, curves, others, sorted(rare))


def exceedance(shown: Shown, setting: Mapping[str, Any]) -> Figure:
    """A row of panels an event, a panel an element: p over pick-up, both logarithmic, with 95 %
    bands. A curve ends where its limits are a factor of three apart, and at 1e-7; upright: the
    pick-up of the setting of interest.

    Parameters
    ----------
    shown : Shown
    setting : mapping
        Of the candidate of interest, as candidates.csv has it.

    Returns
    -------
    Figure
    """
    elements = list(dict.fromkeys(shown.curves["element"]))
    places = [(event, element) for event in shown.events for element in elements]
    abreast = min(max(len(elements), 2), len(places))
    figure, axes = panels(len(places), 66 if len(places) > abreast else 85, abreast)
    curves = shown.curves.assign(
        circuit=lambda rows: [_circuit(row) for row in rows.to_dict("records")]
    )
    for ax, (event, element) in zip(axes, places, strict=True):
        own = curves[(curves["event"] == event) & (curves["element"] == element)]
        _curves(own, curves, ax)
        if (pickup := setting[f"{element}_pickup_a"]) > 0:
            ax.axvline(pickup, **PICKUP)
        words = "phase elements" if element == "phase" else f"{element} element"
        name = textwrap.fill(event.replace("_", " "), 60 // abreast)
        ax.set_title(f"{name}:\n{words}", fontsize=8.5)
        _axes(ax, shown.curves.loc[shown.curves["element"] == element, "pickup_a"])
    figure.supxlabel("pick-up, A secondary", fontsize=9)
    figure.supylabel("probability that it is exceeded in an event", fontsize=9)
    _legend(figure, curves)
    return figure


def _sure(curves: pd.DataFrame) -> pd.DataFrame:
    """Each curve up to its first point that is not sure, none of a single point."""
    import pandas as pd

    kept = []
    for _, curve in curves.groupby(["event", "element", *KEYS], dropna=False, sort=False):
        sure = (curve["p"] >= LOWEST) & (curve["p_high"] <= WIDEST * curve["p_low"])
        part = curve[sure.cumprod().astype(bool)]
        if len(part) > 1:
            kept.append(part)
    return pd.concat(kept) if kept else curves.iloc[:0]


def _circuit(row: dict[str, Any]) -> str:
    ohm = row["stabilising_resistance_ohm"]
    slope = slope_text(row)
    return f"slope {slope}" if slope else "no resistance" if math.isnan(ohm) else f"{ohm:g} Ω"


def _curves(own: pd.DataFrame, every: pd.DataFrame, ax: Axes) -> None:
    """Those of one panel, alike in all panels."""
    import seaborn as sns

    if not len(own):
        return
    # estimate and limits as three values, so that the median is the estimate and the range the band
    values = own.melt(["pickup_a", "scheme", "circuit"], [*with_limits("p")], value_name="value")
    sns.lineplot(
        values,
        x="pickup_a",
        y="value",
        **_looks(every),
        estimator="median",
        errorbar=("pi", 100),
        err_kws={"alpha": 0.18, "linewidth": 0},
        legend=False,
        ax=ax,
    )


def _looks(every: pd.DataFrame) -> dict[str, Any]:
    styles = scheme_styles(every["scheme"])
    circuits = list(dict.fromkeys(every["circuit"]))
    return {
        "hue": "scheme",
        "palette": {name: style.colour for name, style in styles.items()},
        "style": "circuit",
        "style_order": circuits,
        "dashes": {name: CIRCUITS[k % len(CIRCUITS)] for k, name in enumerate(circuits)},
    }


def _axes(ax: Axes, pickup: pd.Series) -> None:
    from matplotlib.ticker import LogLocator, NullLocator

    ax.axhspan(LOWEST, MAGNITUDE, zorder=0, linewidth=0, **ORDER)
    decades(ax, "y", LOWEST, 1.5)
    ax.set_yticks(10.0 ** np.arange(-7, 1))
    ax.yaxis.set_major_formatter(lambda value, _: f"{value:.0e}" if value < 1e-3 else f"{value:g}")
    ax.set(xscale="log", xlim=(pickup.min() / 1.1, 1.1 * pickup.max()), xlabel="", ylabel="")
    ax.xaxis.set_major_locator(LogLocator(subs=(1, 2, 5), numticks=12))
    ax.xaxis.set_major_formatter(lambda value, _: f"{value:g}")
    ax.xaxis.set_minor_locator(NullLocator())


def _legend(figure: Figure, curves: pd.DataFrame) -> None:
    looks = _looks(curves)
    circuits = looks["dashes"].items()
    groups = {
        "scheme": [
            legend_mark(textwrap.fill(scheme_name(name), NAME_WIDTH), colour)
            for name, colour in looks["palette"].items()
        ],
        "relay circuit": [
            legend_mark(name, CHOSEN, linestyle=(0, dash) if dash else "-", linewidth=1.3)
            for name, dash in circuits
        ],
        "also": [
            legend_mark("pick-up of\nthe setting", **PICKUP),
            legend_mark("order of\nmagnitude only", linewidth=6, **ORDER),
        ],
    }
    grouped_legend(figure, groups)
