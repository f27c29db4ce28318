"""Two runs as pictures: the choices of both with their limits, and every setting that both have."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np

from montecarlo.estimates.verdicts import Verdict
from montecarlo.frames.limits import with_limits
from montecarlo.quantities.wording import listed
from studies.compare.estimates import FALSE, MISSED, PROTECTED, Compared
from studies.report.labels import packed
from studies.report.look import CHOSEN, FAINT, say, side_by_side
from studies.report.look import FALSE as FALSE_COLOUR
from studies.report.look import MISSED as MISSED_COLOUR
from studies.report.marks import legend_mark, percent_ticks
from studies.report.words import VERDICTS

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from studies.protocol import Recipe

RUNS = {"A": (MISSED_COLOUR, "o"), "B": (FALSE_COLOUR, "s")}
APART = 0.16  # of a row, from its middle to the mark of each run
LABELS = {
    MISSED: "missed faults,\n% of the faults in scope",
    FALSE: "false trips,\n% of the external events",
    PROTECTED: "protected part of the\nwinding, median, %",
}
LOGARITHMIC = 5.0  # ratio of the largest to the smallest value from which on
MOST_CHOICES = 24  # rows that a page holds
MOST_DECADES = 5  # with numbers that do not meet on an axis of half a page
MARKS = {
    Verdict.APART: (FALSE_COLOUR, "D"),
    Verdict.ALIKE: (MISSED_COLOUR, "o"),
    Verdict.ITSELF: (CHOSEN, "o"),
}
EQUAL: dict[str, Any] = {"linestyle": "--", "linewidth": 1.0, "zorder": 1}
CHOICES, SETTINGS = "compared_choices", "compared_settings"


def figures(found: Compared) -> dict[str, Recipe]:
    """By name; without choices or shared settings the other one alone."""
    recipes: dict[str, Recipe] = {}
    if len(found.choices):
        recipes[CHOICES] = partial(choices_figure, found.choices)
    if len(found.settings):
        recipes[SETTINGS] = partial(settings_figure, found.settings)
    return recipes


# --- choices ------------------------------------------------------------------


def choices_figure(choices: pd.DataFrame) -> Figure:
    """A row a choice, a mark a run, with 95 % limits. The caption names choices without a row."""
    every = list(dict.fromkeys(choices["name"]))
    names, others = every[:MOST_CHOICES], every[MOST_CHOICES:]
    some = choices[choices["name"].isin(names)]
    known = set(some.loc[some[["a", "b"]].notna().any(axis=1), "quantity"])
    shown = [quantity for quantity in LABELS if quantity in known]
    figure, axes = side_by_side(len(shown), 42.0 + 11.0 * len(names))
    for ax, quantity in zip(axes, shown, strict=True):
        _marks(ax, _long(some[some["quantity"] == quantity], names))
        ax.set_xlabel(LABELS[quantity])
        ax.grid(False, axis="y")
    axes[0].set_yticks(range(len(names)), [packed(name or "choice", 24) for name in names])
    axes[0].set_ylim(len(names) - 0.5, -0.5)
    handles = [
        legend_mark(f"run {run}, 95 % limits", colour, marker=mark)
        for run, (colour, mark) in RUNS.items()
    ]
    figure.legend(handles=handles, loc="outside upper center", ncols=2, frameon=False)
    if others:
        say(figure, f"Not drawn: {listed(others)}.")
    return figure


def _long(rows: pd.DataFrame, names: Sequence[str]) -> pd.DataFrame:
    """A row a run and choice, in per cent."""
    import pandas as pd

    sides = []
    for place, run in enumerate(RUNS):
        side = 100 * rows[[*with_limits(run.lower())]].set_axis(["p", "low", "high"], axis=1)
        at = rows["name"].map(names.index) + (2 * place - 1) * APART
        sides.append(side.assign(run=run, row=at))
    return pd.concat(sides, ignore_index=True)


def _marks(ax: Axes, marks: pd.DataFrame) -> None:
    import seaborn as sns

    palette = {run: colour for run, (colour, _) in RUNS.items()}
    shapes = {run: mark for run, (_, mark) in RUNS.items()}
    style: dict[str, Any] = {"palette": palette, "markers": shapes, "legend": False, "s": 34}
    sns.scatterplot(marks, x="p", y="row", hue="run", style="run", ax=ax, zorder=3, **style)
    for run, own in marks.groupby("run"):
        ax.hlines(own["row"], own["low"], own["high"], color=palette[str(run)], linewidth=1.4)
    ax.set(ylabel="")
    _scale(ax, marks[["p", "low", "high"]].to_numpy(float))


def _scale(ax: Axes, values: Any) -> None:
    """Logarithmic where estimates above 0 differ by a large ratio and none is 0."""
    known = values[np.isfinite(values)]
    p = values[np.isfinite(values[:, 0]), 0]
    if p.size and p.min() > 0 and p.max() > LOGARITHMIC * p.min():
        ax.set_xscale("log")
        ax.set_xlim(known[known > 0].min() / 1.6, known.max() * 1.6)
        percent_ticks(ax, ax.get_xlim()[0])
    elif known.size:
        room = 0.15 * (known.max() - known.min()) or 1.0
        ax.set_xlim(max(known.min() - room, 0) - 0.2 * room, known.max() + room)


# --- settings -----------------------------------------------------------------


def settings_figure(settings: pd.DataFrame) -> Figure:
    """Every shared setting: missed faults as B minus A, false trips as B against A, since they
    spread over decades."""
    figure, (left, right) = side_by_side(2, 88.0, shared=False)
    missed, false = (settings[settings["quantity"] == quantity] for quantity in (MISSED, FALSE))
    rows = _percent(missed, ("difference", "low", "high"))
    _pairs(left, _percent(missed, with_limits("a")), rows, missed["verdict"])
    left.axhline(0, color=FAINT, **EQUAL)
    left.set(xlabel=f"{LABELS[MISSED]}, run A", ylabel="B minus A, percentage points")
    x, y = (_percent(false, with_limits(side)) for side in ("a", "b"))
    _pairs(right, x, y, false["verdict"])
    _both_scales(right, np.concatenate([x[0], y[0]]))
    right.set(xlabel=f"{LABELS[FALSE]}, run A", ylabel=f"{LABELS[FALSE]}, run B")
    handles = [
        legend_mark(VERDICTS[verdict], colour, marker=shape, linestyle="", markersize=5)
        for verdict, (colour, shape) in MARKS.items()
        if (settings["verdict"] == verdict).any()
    ]
    handles.append(legend_mark("equal in both runs", FAINT, **EQUAL))
    figure.legend(handles=handles, loc="outside upper center", ncols=3, frameon=False)
    return figure


def _percent(rows: pd.DataFrame, names: Sequence[str]) -> Any:
    """Values and limits (3, rows)."""
    return 100 * rows[[*names]].to_numpy(float).T


def _pairs(ax: Axes, across: Any, up: Any, verdicts: pd.Series) -> None:
    """Marks with limits both ways; `across`, `up` (3, rows)."""
    import pandas as pd
    import seaborn as sns

    bars: dict[str, Any] = {"color": FAINT, "linewidth": 0.6, "zorder": 1.5}
    ax.hlines(up[0], across[1], across[2], **bars)
    ax.vlines(across[0], up[1], up[2], **bars)
    frame = pd.DataFrame({"x": across[0], "y": up[0], "verdict": verdicts.to_numpy()})
    palette = {verdict: colour for verdict, (colour, _) in MARKS.items()}
    shapes = {verdict: shape for verdict, (_, shape) in MARKS.items()}
    style: dict[str, Any] = {"palette": palette, "markers": shapes, "legend": False, "s": 18}
    known = frame[frame["verdict"] != ""]
    sns.scatterplot(known, x="x", y="y", hue="verdict", style="verdict", ax=ax, zorder=3, **style)


def _both_scales(ax: Axes, values: Any) -> None:
    """The same on both axes, with the line of equal values; logarithmic down to the smallest
    estimate above 0 where estimates differ by a large ratio, with a place for 0."""
    above = values[values > 0]
    top = float(above.max()) if above.size else 1.0
    low = -0.03 * top
    if above.size and top > LOGARITHMIC**2 * above.min():
        start = 10.0 ** np.floor(np.log10(above.min()))
        decades = int(np.ceil(np.log10(top / start)))
        every = 1 + (decades - 1) // MOST_DECADES
        ticks = [0.0, *(start * 10.0 ** np.arange(every, decades + 1, every))]
        for which in ("x", "y"):
            getattr(ax, f"set_{which}scale")("symlog", linthresh=start, linscale=0.5)
            getattr(ax, f"set_{which}ticks")(ticks, [f"{tick:g}" for tick in ticks])
        ax.minorticks_off()
        low = -0.4 * start
    ax.set(xlim=(low, 1.6 * top), ylim=(low, 1.6 * top))
    ax.plot([0, 1.6 * top], [0, 1.6 * top], color=FAINT, **EQUAL)
