"""The smallest blind zone that each scheme reaches at equal p_false: table and figure."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from studies.report.labels import LABEL_POINTS, Label, put_labels, spread
from studies.report.look import FALSE_TEXT, MISSED, ink
from studies.report.marks import (
    SchemeStyle,
    beside,
    limit_mark,
    percent_ticks,
    scheme_styles,
    semantics,
)
from studies.report.numbers import percent
from studies.report.words import scheme_name

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes

NAME_WIDTH = 20  # characters of a scheme's name in a line


def blind_zone_frame(candidates: pd.DataFrame) -> pd.DataFrame:
    """The smallest blind zone that each scheme reaches under a limit on p_false, as steps.

    Returns
    -------
    DataFrame
        A row where a scheme's best usable candidate changes: scheme, p_false_limit (the least limit
        that admits it, its own upper bound), blind (1 - covered_median, of the winding), candidate.
        The last row of each scheme repeats its best at the largest limit of all.
    """
    import pandas as pd

    usable = candidates[candidates["usable"] & candidates["covered_median"].notna()]
    last = usable["p_false_bound"].max()
    ordered = usable.assign(
        p_false_limit=usable["p_false_bound"], blind=1 - usable["covered_median"]
    ).sort_values(["p_false_limit", "blind"], kind="stable")
    steps = []
    for scheme in usable["scheme"].unique():
        group = ordered[ordered["scheme"] == scheme]
        before = group["blind"].cummin().shift(fill_value=math.inf)
        better = group[group["blind"] < before]
        steps += [better, better.tail(1).assign(p_false_limit=last)]
    table = pd.concat(steps, ignore_index=True) if steps else ordered
    return table[["scheme", "p_false_limit", "blind", "candidate"]]


def blind_zone(
    frame: pd.DataFrame, ax: Axes, *, limit: float | None = None, limit_text: str = ""
) -> None:
    """`blind_zone_frame` as steps, one line a scheme, named at its right end; `limit`: the
    policy's."""
    import seaborn as sns

    styles = scheme_styles(frame["scheme"])
    drawn = frame.assign(x=100 * frame["p_false_limit"], y=100 * frame["blind"])
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
    ax.set_xscale("log")
    if limit is not None:  # in sight, however far it lies from every candidate
        low, high = ax.get_xlim()
        ax.set_xlim(min(low, 90 * limit), max(high, 110 * limit))
    percent_ticks(ax, ax.get_xlim()[0])
    ax.set_ylim(0, min(104.0, 125.0 * float(frame["blind"].max()) + 5))
    ax.set_yticks([tick for tick in ax.get_yticks() if tick <= 100])
    ax.set_xlabel("allowed false trips, % of the external events (upper bound)", color=FALSE_TEXT)
    ax.set_ylabel("unprotected from the neutral,\n% of the winding", color=MISSED)
    if limit is not None:
        limit_mark(ax, limit, limit_text)
    _ends(drawn, styles, ax)
    if limit is not None:
        put_labels(ax, list(_at_limit(drawn, styles, limit)))


def _at_limit(drawn: pd.DataFrame, styles: dict[str, SchemeStyle], limit: float) -> Iterator[Label]:
    """What each scheme leaves unprotected at the policy's limit; nothing of one that has no setting
    there."""
    for scheme, style in styles.items():
        under = drawn.loc[(drawn["scheme"] == scheme) & (drawn["p_false_limit"] <= limit), "blind"]
        if len(under):
            at = [[100 * limit, 100 * under.iloc[-1]]]
            yield Label(percent(under.iloc[-1]), style.colour, at, bold=True)


def _ends(drawn: pd.DataFrame, styles: dict[str, SchemeStyle], ax: Axes) -> None:
    """The schemes' names right of their ends, moved up and down as little as keeps them apart."""
    ax.figure.draw_without_rendering()
    line = 1.35 * LABEL_POINTS * ax.figure.dpi / 72 / ax.bbox.height * ax.get_ylim()[1]
    ends = drawn.groupby("scheme")["y"].last().sort_values(kind="stable")
    texts = [textwrap.fill(scheme_name(scheme), NAME_WIDTH) for scheme in ends.index]
    heights = [line * (1 + text.count("\n")) for text in texts]
    for scheme, text, middle in zip(ends.index, texts, spread(ends, heights), strict=True):
        at, of = (1.0, middle), ("axes fraction", "data")
        style: dict[str, Any] = {"va": "center", "annotation_clip": False}
        beside(ax, text, at, (4.5, 0), ink(styles[scheme].colour), of=of, **style)
