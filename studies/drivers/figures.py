"""Figures of a study of drivers, from its tables: nothing is estimated here. Draw within
`look.look()`."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import partial
from textwrap import fill
from typing import TYPE_CHECKING

from montecarlo.engine.winding import POSITION
from montecarlo.frames.limits import with_limits
from montecarlo.frames.result import Result
from studies.drivers.samples import CENTRE, HALVED
from studies.report.intervals import interval_rows, series_legend
from studies.report.look import CHOSEN, FALSE, FALSE_TEXT, MISSED, panels
from studies.report.words import input_name
from studies.sweep.figures import tradeoff_figure

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.figure import Figure

    from studies.protocol import Recipe

MOST_ROWS = 12
ROW_MM, FRAME_MM = 6.5, 34.0
QUANTITIES = (
    ("p_missed", "missed faults", MISSED, MISSED),
    ("p_false", "false trips", FALSE, FALSE_TEXT),
)
OF_EVENT = "event's "
EFFECTS = {  # column, and what it is
    "first": "first effect: alone",
    "total": "total effect: with all it acts through together with others",
}
VALUE = [*with_limits("value")]
MOST_ABREAST = 4  # panels


def figures(result: Result, frames: Mapping[str, pd.DataFrame]) -> dict[str, Recipe]:
    """By name."""
    recipes: dict[str, Recipe] = {
        "drivers": partial(effect_marks, that_vary(frames["drivers"])),
        "elasticities": partial(elasticity_marks, frames["elasticities"]),
    }
    if len(frames["what_if"]):
        recipes["what_if"] = partial(what_if_marks, frames["what_if"])
    return recipes | tradeoff_figure(result)


def that_vary(frame: pd.DataFrame) -> pd.DataFrame:
    """Rows of the outputs that vary; all where none does.

    Parameters
    ----------
    frame : DataFrame
        drivers.csv.

    Returns
    -------
    DataFrame
    """
    largest = frame.groupby(["side", "type", "output"])["total"].transform("max")
    varying = frame[largest > 0]
    return varying if len(varying) else frame


def effect_marks(frame: pd.DataFrame) -> Figure:
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
    import pandas as pd

    named = frame.assign(row=frame["input"].map(input_name))
    top = named.groupby("row")["total"].max().sort_values(ascending=False)
    names = list(top[top > 0].index[:MOST_ROWS])
    outputs = list(named[named["row"].isin(names)].groupby(["type", "output"], sort=False))
    figure, axes = panels(len(outputs), FRAME_MM + ROW_MM * len(names), MOST_ABREAST)
    for ax, ((kind, output), rows) in zip(axes, outputs, strict=True):
        parts = [
            rows[["row", *with_limits(effect)]].set_axis(["row", *VALUE], axis=1)
            for effect in EFFECTS
        ]
        both = pd.concat(parts, keys=EFFECTS.values(), names=["series"]).reset_index("series")
        interval_rows(ax, both, "value", names, [*EFFECTS.values()], MISSED)
        ax.set_title(f"{fill(kind.replace('_', ' '), 14)}:\n{output}", fontsize=8)
        ax.set(xlabel="", xlim=(-0.05, max(1.0, 1.02 * float(both["value_high"].max()))))
        ax.set_xticks([0, 0.5, 1], ["0", "0.5", "1"])
    figure.supxlabel("share of the output's variance, 95 % limits", fontsize=9)
    series_legend(figure, [*EFFECTS.values()], MISSED)
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
    """A panel a probability, a row an input, two marks each with limits. marks: by the words of the
    legend, quantity, input, value, lower and upper limit."""
    import pandas as pd

    both = pd.concat(
        [
            frame.set_axis(["quantity", "input", *VALUE], axis=1).assign(series=words)
            for words, frame in marks.items()
        ]
    )
    both = both[both["input"].isin(keys)].assign(row=lambda rows: rows["input"].map(_with_event))
    rows = [_with_event(key) for key in keys]
    lines = max([1 + row.count("\n") for row in rows], default=1)
    figure, axes = panels(2, FRAME_MM + max(ROW_MM, 4.2 * lines) * len(rows), MOST_ABREAST)
    for ax, (quantity, title, colour, dark) in zip(axes, QUANTITIES, strict=True):
        own = both[both["quantity"] == quantity]
        interval_rows(ax, own, "value", rows, [*marks], colour)
        ax.axvline(0, color=CHOSEN, linewidth=0.9, zorder=1.5)
        if not own[VALUE].to_numpy().any():
            ax.set_xlim(-1, 1)
        ax.locator_params(axis="x", nbins=4)
        ax.set_xlabel("")
        ax.set_title(f"{of}{title}", color=dark)
    figure.supxlabel(label, fontsize=9)
    series_legend(figure, [*marks], CHOSEN)
    return figure


def _with_event(key: str) -> str:
    """The name of an input, of an event's with the event."""
    if not key.startswith("external_events."):
        return input_name(key)
    event = key.split(".")[1].replace("_", " ")
    return f"{input_name(key).removeprefix(OF_EVENT)},\n{event}"
