"""The smallest unprotected part that each scheme reaches at equal p_false: table and figure."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from studies.report.labels import spread
from studies.report.look import FALSE_TEXT, MISSED, backing
from studies.report.marks import LABEL_POINTS, beside, limit_mark, percent_ticks, scheme_styles
from studies.report.numbers import percent
from studies.report.words import scheme_name
from studies.sweep.winding import axes_points

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes

Label = tuple[float, str, str]  # height, text, colour


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
    """`unprotected_winding_frame` as steps, one line a scheme, labelled at its right end; `limit`:
    the policy's."""
    ends: list[Label] = []
    at_limit: list[Label] = []
    for scheme, style in scheme_styles(frame["scheme"]).items():
        rows = frame[frame["scheme"] == scheme]
        unprotected = 100 * rows["unprotected"]
        ax.plot(
            100 * rows["p_false_limit"],
            unprotected,
            drawstyle="steps-post",
            color=style.colour,
            linestyle=style.dashes,
            marker=style.mark,
            markersize=4.5,
            markeredgewidth=0,
        )
        ends.append((unprotected.iloc[-1], scheme_name(scheme).replace(", ", ",\n"), style.colour))
        if limit is not None and (under := unprotected[rows["p_false_limit"] <= limit]).size:
            at_limit.append((under.iloc[-1], percent(under.iloc[-1] / 100), style.colour))
    ax.set_xscale("log")
    if limit is not None:  # in sight, however far it lies from every candidate
        low, high = ax.get_xlim()
        ax.set_xlim(min(low, 90 * limit), max(high, 110 * limit))
    percent_ticks(ax, ax.get_xlim()[0])
    ax.set_ylim(0, min(100.0, 125.0 * float(frame["unprotected"].max()) + 5))
    ax.set_xlabel("allowed false trips, % of the external events (upper bound)", color=FALSE_TEXT)
    ax.set_ylabel("unprotected, % of the winding", color=MISSED)
    if limit is not None:
        limit_mark(ax, limit, limit_text)
        bold: dict[str, Any] = {"fontweight": "bold", "bbox": backing(), "zorder": 5}
        _column(at_limit, 100 * limit, ("data", "data"), 9, ax, **bold)
    _column(ends, 1.0, ("axes fraction", "data"), 0, ax, annotation_clip=False)


def _column(labels: list[Label], x: float, of: Any, up: float, ax: Axes, **style: Any) -> None:
    """Texts right of x, moved up and down as little as keeps them apart."""
    labels = sorted(labels)
    line = 1.35 * LABEL_POINTS / axes_points(ax)[1] * ax.get_ylim()[1]
    heights = [line * (1 + text.count("\n")) for _, text, _ in labels]
    middles = spread([height for height, _, _ in labels], heights)
    for middle, (_, text, colour) in zip(middles, labels, strict=True):
        beside(ax, text, (x, middle), (4.5, up), colour, of=of, va="center", **style)
