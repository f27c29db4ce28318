"""Figures of a study of drivers, from its tables: nothing is estimated here. Draw within
`look.look()`."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from montecarlo.engine.winding import POSITION
from studies.report.look import CHOSEN, FALSE, FALSE_TEXT, MISSED, side_by_side
from studies.report.words import input_name

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ["effect_bars", "elasticity_marks", "what_if_marks"]

MOST_ROWS = 12
ROW_MM, FRAME_MM = 6.5, 34.0
QUANTITIES = (
    ("p_missed", "missed faults", MISSED, MISSED),
    ("p_false", "false trips", FALSE, FALSE_TEXT),
)
PALE = "#9ecbe8"
OF_EVENT = "event's "


def _panels(count: int, rows: int) -> tuple[Figure, list[Axes]]:
    """As high as the rows need."""
    return side_by_side(count, FRAME_MM + ROW_MM * rows)


def _name_rows(ax: Axes, names: Sequence[str]) -> None:
    ax.set_yticks(range(len(names)), names)
    ax.set_ylim(len(names) - 0.5, -0.5)


def effect_bars(frame: pd.DataFrame) -> Figure:
    """First and total effects with 95 % limits: a panel an output, a row an input, those with the
    largest totals."""
    named = frame.assign(name=frame["input"].map(input_name))
    top = named.groupby("name")["total"].max().sort_values(ascending=False)
    names = list(top[top > 0].index[:MOST_ROWS])
    outputs = list(named.groupby(["type", "output"], sort=False))
    figure, axes = _panels(len(outputs), len(names))
    for ax, ((kind, output), rows) in zip(axes, outputs, strict=True):
        own = rows.set_index("name").reindex(names)
        y = np.arange(len(names))
        for name, height, colour, zorder in (("total", 0.72, PALE, 2), ("first", 0.34, MISSED, 3)):
            value = own[name].clip(lower=0)
            ends = np.abs([own[name] - own[f"{name}_low"], own[f"{name}_high"] - own[name]])
            ax.barh(y, value, height=height, color=colour, linewidth=0, zorder=zorder, label=name)
            ax.errorbar(
                own[name],
                y + (0.26 if name == "total" else 0.0),
                xerr=ends,
                fmt="none",
                ecolor=CHOSEN,
                elinewidth=0.8,
                capsize=1.5,
                zorder=4,
            )
        ax.set_title(
            (
                f"{kind.replace('_', ' ')}:\n{output}"
                if len(kind) < 18
                else f"{_broken(kind)}:\n{output}"
            ),
            fontsize=8,
        )
        ax.set_xlim(-0.05, max(1.0, 1.02 * float(own["total_high"].max())))
        ax.set_xticks([0, 0.5, 1], ["0", "0.5", "1"])
        ax.grid(visible=False, axis="y")
    _name_rows(axes[0], names)
    figure.supxlabel("share of the output's variance, 95 % limits", fontsize=9)
    handles, labels = axes[0].get_legend_handles_labels()
    figure.legend(
        handles,
        [
            {
                "total": "total effect: with all it acts through together with others",
                "first": "first effect: alone",
            }[label]
            for label in labels
        ],
        loc="outside upper center",
        ncols=2,
        frameon=False,
    )
    return figure


def _broken(kind: str) -> str:
    """A name of several words in two lines."""
    words = kind.split("_")
    half = (len(words) + 1) // 2
    return " ".join(words[:half]) + "\n" + " ".join(words[half:])


def elasticity_marks(frame: pd.DataFrame) -> Figure:
    """How ln p of missed faults and of false trips answers to centre and spread of the inputs that
    move them most; the fault's place along the winding, which nobody can measure or specify, is
    left to the table."""
    frame = frame[frame["input"] != POSITION]
    strength = frame[["by_centre", "by_spread"]].abs().max(axis=1)
    named = frame.assign(name=frame["input"], strength=strength)
    half = MOST_ROWS // 2
    tops = [
        list(rows.sort_values("strength", ascending=False)["name"].drop_duplicates().head(half))
        for _, rows in named[strength.notna()].groupby("quantity", sort=False)
    ]
    names = list(dict.fromkeys(name for top in tops for name in top))
    figure, axes = _panels(2, len(names))
    for ax, (quantity, title, colour, dark) in zip(axes, QUANTITIES, strict=True):
        rows = named[named["quantity"] == quantity]
        _marks(ax, rows, names, ("by_centre", "by_spread"), colour)
        ax.set_title(f"ln p of {title}", color=dark)
    _name_rows(axes[0], _with_events(names))
    figure.supxlabel("change of ln p, 95 % limits", fontsize=9)
    _legend(
        figure,
        axes,
        ("centre moved by one standard deviation", "spread widened, per unit of its logarithm"),
    )
    return figure


def what_if_marks(frame: pd.DataFrame) -> Figure:
    """What each probability would be with one input at its centre, or half as uncertain: paired
    differences."""
    wide = frame.assign(name=frame["input"])
    parts = []
    for change, column in (("at its centre", "centre"), ("half as uncertain", "half")):
        part = wide[wide["change"] == change].rename(
            columns={
                "difference": column,
                "difference_low": f"{column}_low",
                "difference_high": f"{column}_high",
            }
        )
        parts.append(part[["name", "quantity", column, f"{column}_low", f"{column}_high"]])
    both = parts[0].merge(parts[1], on=["name", "quantity"], how="left")
    keys = list(dict.fromkeys(both["name"]))
    figure, axes = _panels(2, len(keys))
    for ax, (quantity, title, colour, dark) in zip(axes, QUANTITIES, strict=True):
        rows = both[both["quantity"] == quantity]
        scaled = rows.assign(
            **{name: 100 * rows[name] for name in rows.columns if name not in ("name", "quantity")}
        )
        _marks(ax, scaled, keys, ("centre", "half"), colour)
        ax.set_title(title, color=dark)
    _name_rows(axes[0], _with_events(keys))
    figure.supxlabel("change of the probability, percentage points, 95 % limits", fontsize=9)
    _legend(figure, axes, ("input at its centre", "half as uncertain"))
    return figure


def _with_events(keys: Sequence[str]) -> list[str]:
    """Names of inputs, those of events with the event's."""
    return [
        (
            f"{input_name(key).removeprefix(OF_EVENT)},\n{key.split('.')[1].replace('_', ' ')}"
            if key.startswith("external_events.")
            else input_name(key)
        )
        for key in keys
    ]


def _marks(
    ax: Axes, rows: pd.DataFrame, names: Sequence[str], columns: tuple[str, str], colour: str
) -> None:
    """Two marks a row, filled circle and open square, with limits."""
    place = {name: k for k, name in enumerate(names)}
    styles: tuple[dict[str, Any], dict[str, Any]] = (
        {"marker": "o", "markerfacecolor": colour},
        {"marker": "s", "markerfacecolor": "white"},
    )
    for column, offset, style in zip(columns, (-0.17, 0.17), styles, strict=True):
        known = rows[rows["name"].isin(place) & rows[column].notna()]
        value = known[column]
        ends = np.abs([value - known[f"{column}_low"], known[f"{column}_high"] - value])
        ax.errorbar(
            value,
            [place[name] + offset for name in known["name"]],
            xerr=ends,
            fmt="none",
            ecolor=colour,
            elinewidth=1.1,
            capsize=2,
            zorder=3,
        )
        ax.plot(
            value,
            [place[name] + offset for name in known["name"]],
            linestyle="none",
            color=colour,
            markersize=4.5,
            zorder=4,
            label=column,
            **style,
        )
    ax.axvline(0, color=CHOSEN, linewidth=0.9, zorder=2)
    ax.grid(visible=False, axis="y")


def _legend(figure: Figure, axes: Sequence[Axes], words: tuple[str, str]) -> None:
    handles, _ = axes[0].get_legend_handles_labels()
    figure.legend(handles, words, loc="outside upper center", ncols=2, frameon=False)
