"""Figures of a study of drivers, from its tables: nothing is estimated here. Draw within
`look.look()`."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from textwrap import fill
from typing import TYPE_CHECKING, Any

import numpy as np

from montecarlo.engine.winding import POSITION
from montecarlo.frames.limits import with_limits
from montecarlo.frames.result import Result
from studies.drivers.samples import CENTRE, HALVED
from studies.report.look import CHOSEN, FALSE, FALSE_TEXT, MISSED, blank, side_by_side
from studies.report.words import input_name
from studies.sweep.policy import limit_line
from studies.sweep.tradeoff import tradeoff

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

MOST_ROWS = 12
ROW_MM, FRAME_MM = 6.5, 34.0
QUANTITIES = (
    ("p_missed", "missed faults", MISSED, MISSED),
    ("p_false", "false trips", FALSE, FALSE_TEXT),
)
PALE, OF_EVENT = "#9ecbe8", "event's "
EFFECTS = (  # column, what it is, and how its bar is drawn
    ("total", "total effect: with all it acts through together with others", 0.72, PALE, 0.26),
    ("first", "first effect: alone", 0.34, MISSED, 0.0),
)


def figures(result: Result, frames: Mapping[str, pd.DataFrame]) -> dict[str, Figure]:
    """By name."""
    drawn = {
        "drivers": effect_bars(frames["drivers"]),
        "elasticities": elasticity_marks(frames["elasticities"]),
    }
    if len(frames["what_if"]):
        drawn["what_if"] = what_if_marks(frames["what_if"])
    limit, words = limit_line(result.study)
    drawn["tradeoff"], ax = blank()
    tradeoff(result.candidates, ax, limit=limit, limit_text=words)
    return drawn


def _name_rows(ax: Axes, names: Sequence[str]) -> None:
    ax.set_yticks(range(len(names)), names)
    ax.set_ylim(len(names) - 0.5, -0.5)


def _whiskers(value: Any, low: Any, high: Any) -> Any:
    """Of an error bar; by chance a limit lies on the wrong side of its value."""
    return np.abs([value - low, high - value])


def _legend(figure: Figure, ax: Axes) -> None:
    figure.legend(
        *ax.get_legend_handles_labels(), loc="outside upper center", ncols=2, frameon=False
    )


def effect_bars(frame: pd.DataFrame) -> Figure:
    """First and total effects with 95 % limits: a panel an output, a row an input, those with the
    largest totals.

    Parameters
    ----------
    frame : DataFrame
        drivers.csv.

    Returns
    -------
    Figure
    """
    named = frame.assign(name=frame["input"].map(input_name))
    top = named.groupby("name")["total"].max().sort_values(ascending=False)
    names = list(top[top > 0].index[:MOST_ROWS])
    outputs = list(named.groupby(["type", "output"], sort=False))
    figure, axes = side_by_side(len(outputs), FRAME_MM + ROW_MM * len(names))
    y = np.arange(len(names))
    for ax, ((kind, output), rows) in zip(axes, outputs, strict=True):
        own = rows.set_index("name").reindex(names)
        for order, (name, label, height, colour, offset) in enumerate(EFFECTS, 2):
            value, low, high = (own[column] for column in with_limits(name))
            bar: dict[str, Any] = {"height": height, "color": colour, "zorder": order}
            ax.barh(y, value.clip(lower=0), linewidth=0, label=label, **bar)
            line: dict[str, Any] = {"ecolor": CHOSEN, "elinewidth": 0.8, "capsize": 1.5}
            ends = _whiskers(value, low, high)
            ax.errorbar(value, y + offset, xerr=ends, fmt="none", zorder=4, **line)
        ax.set_title(f"{fill(kind.replace('_', ' '), 12)}:\n{output}", fontsize=8)
        ax.set_xlim(-0.05, max(1.0, 1.02 * float(own["total_high"].max())))
        ax.set_xticks([0, 0.5, 1], ["0", "0.5", "1"])
        ax.grid(visible=False, axis="y")
    _name_rows(axes[0], names)
    figure.supxlabel("share of the output's variance, 95 % limits", fontsize=9)
    _legend(figure, axes[0])
    return figure


def elasticity_marks(frame: pd.DataFrame) -> Figure:
    """How ln p of missed faults and of false trips answers to centre and spread of the inputs that
    move them most.

    The fault's place along the winding, which nobody can measure or specify, is left to the table.

    Parameters
    ----------
    frame : DataFrame
        elasticities.csv.

    Returns
    -------
    Figure
    """
    frame = frame[frame["input"] != POSITION]
    strength = frame[["by_centre", "by_spread"]].abs().max(axis=1)
    ranked = frame.assign(strength=strength).sort_values("strength", ascending=False)
    halves = ranked.dropna(subset="strength").groupby("quantity").head(MOST_ROWS // 2)
    keys = list(halves.sort_values("quantity", ascending=False, kind="stable")["input"].unique())
    marks = {
        "centre moved by one standard deviation": frame[_columns("by_centre")],
        "spread widened, per unit of its logarithm": frame[_columns("by_spread")],
    }
    return _two_panels(marks, keys, "ln p of ", "change of ln p, 95 % limits")


def what_if_marks(frame: pd.DataFrame) -> Figure:
    """What each probability would be with one input at its centre, or half as uncertain: paired
    differences.

    Parameters
    ----------
    frame : DataFrame
        what_if.csv.

    Returns
    -------
    Figure
    """
    points = frame[_columns("difference")].set_index(["quantity", "input"]) * 100
    marks = {
        f"{'input ' if change == CENTRE else ''}{change}": points.reset_index()[
            frame["change"].to_numpy() == change
        ]
        for change in (CENTRE, HALVED)
    }
    label = "change of the probability, percentage points, 95 % limits"
    return _two_panels(marks, list(frame["input"].unique()), "", label)


def _columns(name: str) -> list[str]:
    return ["quantity", "input", *with_limits(name)]


def _two_panels(
    marks: Mapping[str, pd.DataFrame], keys: Sequence[str], of: str, label: str
) -> Figure:
    """A panel a probability, a row an input, two marks each: filled circle and open square, with
    limits. marks: by the words of the legend, quantity, input, value, lower and upper limit."""
    figure, axes = side_by_side(2, FRAME_MM + ROW_MM * len(keys))
    place = {key: k for k, key in enumerate(keys)}
    for ax, (quantity, title, colour, dark) in zip(axes, QUANTITIES, strict=True):
        styles = zip(marks.items(), "os", (colour, "white"), (-0.17, 0.17), strict=True)
        for (words, frame), shape, face, offset in styles:
            known = frame[frame["input"].isin(place) & (frame["quantity"] == quantity)].dropna()
            value, low, high = (known[name] for name in known.columns[2:])
            line: dict[str, Any] = {"elinewidth": 1.1, "capsize": 2, "markersize": 4.5}
            ax.errorbar(
                value,
                [place[key] + offset for key in known["input"]],
                xerr=_whiskers(value, low, high),
                fmt=shape,
                color=colour,
                markerfacecolor=face,
                zorder=3,
                label=words,
                **line,
            )
        ax.axvline(0, color=CHOSEN, linewidth=0.9, zorder=2)
        ax.grid(visible=False, axis="y")
        ax.set_title(f"{of}{title}", color=dark)
    _name_rows(axes[0], [_with_event(key) for key in keys])
    figure.supxlabel(label, fontsize=9)
    _legend(figure, axes[0])
    return figure


def _with_event(key: str) -> str:
    """The name of an input, of an event's with the event."""
    if not key.startswith("external_events."):
        return input_name(key)
    event = key.split(".")[1].replace("_", " ")
    return f"{input_name(key).removeprefix(OF_EVENT)},\n{event}"
