"""Who clears each type of fault, as stacked bars. Draw within `look.look()`."""

from __future__ import annotations

from typing import TYPE_CHECKING

from montecarlo.frames.clearing import ALL, NOBODY
from studies.clearing.words import PATH_WORDS
from studies.report.look import CHOSEN, MISSED, SCHEMES, blank
from studies.report.marks import OUTSIDE
from studies.report.numbers import percent

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.figure import Figure

ROW_MM, FRAME_MM = 7.0, 32.0
TOLD = ("as stated", "none")  # failure rates that are drawn: the first that there is


def who_clears(frame: pd.DataFrame) -> Figure:
    """A bar a type of fault: who clears it first, in per cent; what nobody clears stands last.

    Parameters
    ----------
    frame : DataFrame
        who_clears.csv.

    Returns
    -------
    Figure
    """
    stated = next(word for word in TOLD if word in set(frame["failure_rates"]))
    rows = frame[frame["failure_rates"] == stated]
    shares = 100 * rows.pivot_table(index="type", columns="path", values="p", sort=False)
    types, paths = [*shares.index], [*shares.columns]
    figure, ax = blank(FRAME_MM + ROW_MM * len(types))
    begin = shares.iloc[:, 0] * 0.0
    for at, path in enumerate(paths):
        colour = MISSED if path == NOBODY else SCHEMES[at % len(SCHEMES)]
        label = PATH_WORDS[str(path)]
        ax.barh(types, shares[path], left=begin, color=colour, label=label, height=0.7)
        begin = begin + shares[path]
    for at, nobody in enumerate(shares[NOBODY] / 100):
        ax.annotate(
            f"nobody {percent(nobody)}",
            (1.0, at),
            xycoords=("axes fraction", "data"),
            xytext=(4, 0),
            textcoords="offset points",
            va="center",
            color=MISSED,
            annotation_clip=False,
        )
    names = ["all in scope" if name == ALL else str(name).replace("_", " ") for name in types]
    ax.set_yticks(range(len(types)), names)
    ax.invert_yaxis()
    ax.set(xlim=(0, 100), xlabel="share of the faults, % (first path that works)", ylabel="")
    ax.grid(visible=False, axis="y")
    whole = rows[(rows["type"] == ALL) & (rows["path"] == NOBODY)]["p"].iloc[0]
    ax.set_title(f"nobody clears {percent(whole, 3)} of the faults", loc="left", color=CHOSEN)
    figure.legend(**OUTSIDE)
    return figure
