"""Where missed earth faults lie, as a map: figure. Draw within `look.look()`."""

from __future__ import annotations

from textwrap import fill
from typing import TYPE_CHECKING

from studies.report.letters import together
from studies.report.look import CHOSEN, MISSED, side_by_side
from studies.report.marks import SEAMLESS
from studies.report.numbers import percent
from studies.sweep.false_trips import WORDS

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

FEWEST = 2  # classes of resistance that make a picture
MOST_OF_THEM = 0.9  # of the missed faults, which the title places
EVERY = 5  # parts of the winding from one number to the next


def several_resistances(frame: pd.DataFrame) -> bool:
    """Whether several resistances were sampled, and some fault was missed."""
    classes = frame["resistance_to_ohm"].nunique()
    return bool(classes >= FEWEST and frame["share_of_missed"].notna().any())


def missed_fault_places(frame: pd.DataFrame, of: str = "") -> Figure:
    """A panel a setting: the part of the winding across, classes of fault resistance upwards, the
    darker the more of the faults there are missed.

    Parameters
    ----------
    frame : DataFrame
        missed_fault_places.csv.
    of : str
        What each title begins with.

    Returns
    -------
    Figure
    """
    import seaborn as sns

    settings = list(frame.groupby(["role", "candidate"], sort=False))
    figure, axes = side_by_side(len(settings), 82)
    shades = sns.light_palette(MISSED, as_cmap=True)
    for ax, ((role, number), rows) in zip(axes, settings, strict=True):
        percents = rows.assign(missed=100 * rows["p_missed"])
        table = percents.pivot(index="resistance_to_ohm", columns="x_from", values="missed")
        sns.heatmap(
            table, vmin=0, vmax=100, cmap=shades, cbar=False, rasterized=False, **SEAMLESS, ax=ax
        )
        ax.invert_yaxis()
        whose = f"{of}{WORDS[role]}, no. {number}: {_finding(rows)}"
        ax.set_title(fill(together(whose), 68 // len(settings)), loc="left", color=CHOSEN)
        ax.set(xlabel="", ylabel="")
        _places(ax, rows)
    _resistances(axes[0], settings[0][1])
    axes[0].set_ylabel(f"fault resistance, Ω\n{_each_row(settings[0][1])}")
    figure.supxlabel("place of the earth fault, % of the winding from the neutral", fontsize=9)
    bar = figure.colorbar(axes[0].collections[0], ax=axes, pad=0.02, aspect=30)
    bar.set_label("missed, % of the earth faults there", color=MISSED)
    bar.outline.set_visible(False)
    return figure


def _finding(rows: pd.DataFrame) -> str:
    """Within which part of the winding most of the missed faults lie."""
    by_place = rows.groupby("x_to")["share_of_missed"].sum().cumsum()
    if not by_place.iloc[-1] > 0:
        return "no earth fault is missed"
    at = by_place[by_place >= MOST_OF_THEM - 1e-9].index[0]
    share = percent(min(float(by_place[at]), 1.0), 3)
    return f"{share} of its missed earth faults lie in the {percent(at)} next to the neutral"


def _each_row(rows: pd.DataFrame) -> str:
    """How many faults a class holds, if each holds as many."""
    each = rows.groupby("resistance_to_ohm")["share_of_faults"].sum()
    if each.max() > 1.02 * each.min():
        return ""
    return f"(each row: {percent(float(each.mean()))} of the faults)"


def _places(ax: Axes, rows: pd.DataFrame) -> None:
    """Numbers at the ends of parts."""
    ends = [*rows["x_from"].unique(), 1.0]
    ax.set_xticks(range(0, len(ends), EVERY), [f"{100 * x:g}" for x in ends[::EVERY]], rotation=0)


def _resistances(ax: Axes, rows: pd.DataFrame) -> None:
    """Numbers at the ends of classes, or one in the middle of each that is one value."""
    classes = rows.drop_duplicates("resistance_to_ohm")
    low, high = classes["resistance_from_ohm"], classes["resistance_to_ohm"]
    single = bool((low == high).all())
    ends = high if single else [low.iloc[0], *high]
    at = [k + 0.5 * single for k in range(len(ends))]
    ax.set_yticks(at, [f"{ohm:.2g}" if ohm < 100 else f"{ohm:.0f}" for ohm in ends], rotation=0)
