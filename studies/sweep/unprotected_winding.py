"""The smallest unprotected part that each scheme reaches at equal p_false: table and figure."""

from __future__ import annotations

import math
import textwrap
from typing import TYPE_CHECKING, Any

from studies.report.labels import LABEL_POINTS, spread
from studies.report.look import FALSE_TEXT, MISSED, figure_of, ink, place_axes
from studies.report.marks import (
    beside,
    false_trips_axis,
    limit_mark,
    scheme_styles,
    semantics,
)
from studies.report.numbers import percent
from studies.report.words import scheme_name

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes

AROUND = 75.0  # points of the page above and below the axes
NAME_WIDTH = 22  # characters of a scheme's name in a line


def unprotected_winding_frame(candidates: pd.DataFrame) -> pd.DataFrame:
    """The smallest unprotected part that each scheme reaches under a limit on p_false, as steps.

    Returns
    -------
    DataFrame
        A row where a scheme's best usable candidate changes: scheme, p_false_limit (the least limit
        that admits it, its own upper bound), unprotected (1 - protected_median, of the winding),
        candidate. The last row of each scheme repeats its best at the largest limit of all.
    """
    import pandas as pd

    usable = candidates[candidates["usable"] & candidates["protected_median"].notna()]
    last = usable["p_false_bound"].max()
    ordered = usable.assign(
        p_false_limit=usable["p_false_bound"], unprotected=1 - usable["protected_median"]
    ).sort_values(["p_false_limit", "unprotected"], kind="stable")
    steps = []
    for scheme in usable["scheme"].unique():
        group = ordered[ordered["scheme"] == scheme]
        before = group["unprotected"].cummin().shift(fill_value=math.inf)
        better = group[group["unprotected"] < before]
        steps += [better, better.tail(1).assign(p_false_limit=last)]
    table = pd.concat(steps, ignore_index=True) if steps else ordered
    return table[["scheme", "p_false_limit", "unprotected", "candidate"]]


def unprotected_winding(
    frame: pd.DataFrame, ax: Axes, *, limit: float | None = None, limit_text: str = ""
) -> None:
    """`unprotected_winding_frame` as steps, one line a scheme, named at its right end with what it
    leaves at the limit; `limit`: the policy's."""
    import seaborn as sns

    styles = scheme_styles(frame["scheme"])
    drawn = frame.assign(x=100 * frame["p_false_limit"], y=100 * frame["unprotected"])
    sns.lineplot(
        drawn,
        x="x",
        y="y",
        hue="scheme",
        style="scheme",
        **semantics(styles),
        drawstyle="steps-post",
        estimator=None,
        legend=False,
        markersize=4.5,
        markeredgewidth=0,
        ax=ax,
    )
    false_trips_axis(ax, limit)
    ax.set_ylim(0, min(104.0, 125.0 * float(frame["unprotected"].max()) + 5))
    ax.set_yticks([tick for tick in ax.get_yticks() if tick <= 100])
    ax.set_xlabel("allowed false trips, % of the external events (upper bound)", color=FALSE_TEXT)
    ax.set_ylabel("unprotected from the neutral,\n% of the winding", color=MISSED)
    if limit is not None:
        limit_mark(ax, limit, limit_text)
    ends = drawn.groupby("scheme")["y"].last().sort_values(kind="stable")
    texts = [_end_text(drawn[drawn["scheme"] == scheme], limit) for scheme in ends.index]
    sizes = [1.4 * LABEL_POINTS * (1 + text.count("\n")) for text in texts]
    figure = figure_of(ax)
    figure.set_figheight(max(figure.get_figheight(), (sum(sizes) + AROUND) / 72))
    place_axes(figure)  # so that they have their height
    high = ax.get_ylim()[1]
    heights = [high * size * figure.dpi / 72 / ax.bbox.height for size in sizes]
    middles = spread(ends, heights, 0.0, high)
    for scheme, text, middle in zip(ends.index, texts, middles, strict=True):
        style: dict[str, Any] = {"va": "center", "fontsize": LABEL_POINTS, "annotation_clip": False}
        at, of = (1.0, middle), ("axes fraction", "data")
        beside(ax, text, at, (4.5, 0), ink(styles[scheme].colour), of=of, **style)


def _end_text(drawn: pd.DataFrame, limit: float | None) -> str:
    """A scheme's name, and what it leaves unprotected at the policy's limit."""
    text = textwrap.fill(scheme_name(drawn["scheme"].iloc[0]), NAME_WIDTH)
    if limit is None:
        return text
    under = drawn.loc[drawn["p_false_limit"] <= limit, "unprotected"]
    least = percent(under.iloc[-1]) if len(under) else "no setting"
    return f"{text}\n{least} at the limit"
