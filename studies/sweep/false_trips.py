"""Where false trips come from, a row an event: figure. Draw within `look.look()`."""

from __future__ import annotations

from textwrap import fill
from typing import TYPE_CHECKING, Any

from montecarlo.quantities.wording import listed
from studies.report.labels import LABEL_POINTS
from studies.report.letters import together
from studies.report.look import CHOSEN, EXISTING, blank, say
from studies.report.marks import beside, legend_mark
from studies.report.numbers import percent, with_limits
from studies.report.words import counted

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

COLOURS = {"chosen": CHOSEN, "closest": CHOSEN, "existing": EXISTING}
WORDS = {"chosen": "chosen", "closest": "closest to the limit", "existing": "existing"}
FACES = 0.55  # how dense a bar is
OF_EVENTS = "#000000"
MOST = 12  # events that are drawn
LETTERS = 60  # of a line of the title
NAME = 24  # of a line of an event's name
BAR_MM, LINE_MM, FRAME_MM = 5.5, 4.0, 40.0


def false_trip_sources(frame: pd.DataFrame, of: str = "") -> Figure:
    """A row an event, a bar a setting: the event's share of the setting's false trips, with 95 %
    limits; a mark at its share of all external events. The caption names events that have no row.

    Parameters
    ----------
    frame : DataFrame
        false_trip_sources.csv.
    of : str
        What the title begins with.

    Returns
    -------
    Figure
    """
    import seaborn as sns

    roles = list(frame["role"].unique())
    order = _order(frame)
    rows = frame[frame["event"].isin(order)]
    names = [fill(name.replace("_", " "), NAME) for name in order]
    lines = max(1 + name.count("\n") for name in names)
    row_mm = max(BAR_MM * (0.4 + len(roles)), LINE_MM * (lines + 0.4))
    figure, ax = blank(FRAME_MM + row_mm * len(order))
    sns.barplot(
        rows.assign(share=100 * rows["share_of_false_trips"]),
        y="event",
        x="share",
        hue="role",
        order=order,
        hue_order=roles,
        palette=COLOURS,
        alpha=FACES,
        saturation=1.0,
        errorbar=None,
        legend=False,
        ax=ax,
    )
    for role, bars in zip(roles, list(ax.containers), strict=True):
        own = rows[rows["role"] == role].set_index("event")
        for event, bar in zip(order, bars, strict=True):
            if event in own.index:
                _limits(ax, own.loc[event], bar.get_y() + bar.get_height() / 2, COLOURS[role])
    of_events = 100 * rows.drop_duplicates("event").set_index("event")["share_of_events"]
    mark: dict[str, Any] = {"marker": "|", "linestyle": "none", "markeredgewidth": 2.2}
    size = 2.4 * BAR_MM * len(roles)
    halo = mark | {"markeredgewidth": 4.2, "color": "white"}
    ax.plot(of_events.loc[order], range(len(order)), markersize=size, **halo)
    ax.plot(of_events.loc[order], range(len(order)), markersize=size, color=OF_EVENTS, **mark)
    ax.set(xlim=(0, 100), xlabel="share, % (95 % limits)", ylabel="")
    ax.set_yticks(range(len(order)), names)
    ax.grid(visible=False, axis="y")
    ax.set_title(fill(together(f"{of}{_finding(frame)}"), LETTERS), loc="left", color=CHOSEN)
    _legend(figure, frame, roles, mark)
    say(figure, _left_out(frame, order))
    return figure


def _order(frame: pd.DataFrame) -> list[str]:
    """Events that make most of some setting's false trips; by their share of the first one's, most
    first."""
    most = {"ascending": False, "kind": "stable"}
    of_any = frame.groupby("event", sort=False)["share_of_false_trips"].max().sort_values(**most)
    first = frame[frame["role"] == frame["role"].iloc[0]]
    names = first.sort_values("share_of_false_trips", **most)["event"]
    drawn = set(of_any.index[:MOST])
    return [name for name in dict.fromkeys([*names, *frame["event"]]) if name in drawn]


def _left_out(frame: pd.DataFrame, order: list[str]) -> str:
    """The events without a row, and what they make of each setting's false trips together."""
    rest = frame[~frame["event"].isin(order)]
    if not len(rest):
        return ""
    names = [name.replace("_", " ") for name in dict.fromkeys(rest["event"])]
    sums = rest.groupby("role", sort=False)["share_of_false_trips"].sum()
    parts = [f"{percent(share)} ({WORDS[str(role)]} setting)" for role, share in sums.items()]
    return (
        f"Not drawn: {counted(len(names), 'event')} with {listed(parts)} of the false trips."
        f" Events not drawn: {listed(names)}."
    )


def _limits(ax: Axes, row: pd.Series[float], y: float, colour: str) -> None:
    """Of one bar, and its number right of all bars."""
    p, low, high = (100 * row[f"share_of_false_trips{end}"] for end in ("", "_low", "_high"))
    line: dict[str, Any] = {"ecolor": colour, "elinewidth": 1.0, "capsize": 2.0, "zorder": 4}
    ax.errorbar(p, y, xerr=[[max(p - low, 0)], [max(high - p, 0)]], fmt="none", **line)
    text = percent(row["share_of_false_trips"], 3) if p else "none"
    of: Any = ("axes fraction", "data")
    beside(ax, text, (1.0, y), (4, 0), colour, of=of, fontsize=LABEL_POINTS, annotation_clip=False)


def _finding(frame: pd.DataFrame) -> str:
    """The largest share of the first setting's false trips."""
    first = frame[frame["role"] == frame["role"].iloc[0]]
    row = first.loc[first["share_of_false_trips"].idxmax()]
    share, event = with_limits(row, "share_of_false_trips", 3), row["event"].replace("_", " ")
    return f"{share} of the false trips of the {_whose(row)} setting come from {event}"


def _whose(row: pd.Series[float]) -> str:
    return WORDS[str(row["role"])]


def _legend(figure: Figure, frame: pd.DataFrame, roles: list[str], mark: dict[str, Any]) -> None:
    numbers = frame.drop_duplicates("role").set_index("role")["candidate"]
    bars = [
        legend_mark(
            f"false trips, {WORDS[role]} setting, no. {numbers[role]}",
            COLOURS[role],
            linewidth=6,
            alpha=FACES,
        )
        for role in roles
    ]
    share = legend_mark("external events", OF_EVENTS, markersize=9, **mark)
    figure.legend(handles=[*bars, share], loc="outside lower center", ncols=2, frameon=False)
