"""Who clears each type of fault, its damage until then, and faults that nobody clears by the time
between tests. Draw within `look.look()`."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from montecarlo.frames.clearing import NOBODY
from montecarlo.frames.damage import ALL
from montecarlo.quantities import Array
from studies.clearing.words import PATH_WORDS
from studies.report.look import CHOSEN, HEIGHT_MM, MISSED, SCHEMES, blank
from studies.report.marks import OUTSIDE, band
from studies.report.numbers import figures, percent

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


def damage(seconds: Array, share: Array, by_nobody: Array, reference_a: float) -> Figure:
    """Share of the earth faults with more than a damage, and the part that nobody clears.

    Parameters
    ----------
    seconds : (points,) array (s)
        Of the reference current.
    share, by_nobody : (points,) array (-)
    reference_a : float (A)

    Returns
    -------
    Figure
    """
    figure, ax = blank(HEIGHT_MM)
    ax.plot(seconds, 100 * share, color=CHOSEN, label="all earth faults")
    ax.plot(seconds, 100 * by_nobody, color=MISSED, linestyle="--", label="nobody clears them")
    ax.set_xscale("log")
    ax.set(
        xlabel=f"damage, seconds of {reference_a:g} A",
        ylabel="earth faults with more damage, %",
        xlim=(seconds[0], seconds[-1]),
        ylim=(0, 100),
    )
    middle = seconds[int(np.argmin(np.abs(share - 0.5)))]
    ax.set_title(
        f"half of the earth faults do more damage than {reference_a:g} A in {figures(middle, 2)} s",
        loc="left",
        color=CHOSEN,
    )
    figure.legend(**OUTSIDE)
    return figure


def failures_by_interval(frame: pd.DataFrame) -> Figure:
    """Faults that nobody clears against the time between tests, with 95 % limits.

    Parameters
    ----------
    frame : DataFrame
        test_intervals.csv.

    Returns
    -------
    Figure
    """
    figure, ax = blank(HEIGHT_MM)
    years, shares = frame["proof_test_years"], 100 * frame.filter(like="p_nobody")
    band(ax, years, shares["p_nobody_low"], shares["p_nobody_high"], MISSED)
    ax.plot(years, shares["p_nobody"], "o-", color=MISSED)
    ax.set_xscale("log")
    ax.set_xticks(years, [f"{each:g}" for each in years])
    ax.minorticks_off()
    ax.set(
        xlabel="time between tests, years",
        ylabel="faults that nobody clears, %\nof those in scope",
        ylim=(0, None),
    )
    stated = frame[frame["interval_factor"] == 1].iloc[0]
    ax.set_title(
        f"as stated, {stated['proof_test_years']:g} years: {percent(stated['p_nobody'], 3)}",
        loc="left",
        color=CHOSEN,
    )
    return figure
