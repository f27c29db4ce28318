"""Missed faults of the best setting at each limit on false trips."""

from __future__ import annotations

from typing import TYPE_CHECKING

from studies.report.look import FALSE_TEXT, MISSED
from studies.report.marks import (
    MISSED_LABEL,
    band,
    false_trips_axis,
    limit_mark,
    scheme_styles,
    semantics,
)
from studies.report.words import scheme_name

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes


def front(
    frame: pd.DataFrame, ax: Axes, *, limit: float | None = None, limit_text: str = ""
) -> None:
    """`montecarlo.frames.search.front`, a line a scheme with the band of its limits; `limit`: the
    policy's."""
    import seaborn as sns

    styles = scheme_styles(frame["scheme"])
    drawn = frame.assign(x=100 * frame["p_false_limit"], y=100 * frame["p_missed"])
    sns.lineplot(
        drawn,
        x="x",
        y="y",
        hue="scheme",
        style="scheme",
        **semantics(styles),
        estimator=None,
        legend=False,
        ax=ax,
    )
    for scheme, group in drawn.groupby("scheme", sort=False):
        style = styles[str(scheme)]
        low, high = (100 * group[f"p_missed_{end}"] for end in ("low", "high"))
        band(ax, group["x"], low, high, style.colour)
        drawing = {"color": style.colour, "linestyle": style.dashes, "marker": style.mark}
        ax.plot([], [], **drawing, label=scheme_name(str(scheme)))
    false_trips_axis(ax, limit)
    ax.set_ylim(0, min(104.0, 125.0 * float(frame["p_missed_high"].max()) + 1))
    ax.set_xlabel("limit on false trips, % of the external events (upper bound)", color=FALSE_TEXT)
    ax.set_ylabel(MISSED_LABEL, color=MISSED)
    if limit is not None:
        limit_mark(ax, limit, limit_text)
    if drawn["scheme"].nunique() > 1:
        ax.legend(loc="upper right")
