"""Missed faults of the best setting at each limit on false trips: figure. Draw within
`look.look()`."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from studies.report.look import FAINT, FALSE_TEXT, MISSED, RUNNER_UP
from studies.report.marks import (
    MISSED_LABEL,
    beside,
    false_trips_axis,
    limit_mark,
    scheme_styles,
)
from studies.report.words import scheme_name

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes

    from studies.report.marks import SchemeStyle

STEPS = "steps-post"  # a setting serves every limit from its own up to the next one's
NOT_SHOWN = "not shown"
BARS, OVER_BARS = 1.7, 1.8


def front(
    frame: pd.DataFrame,
    ax: Axes,
    ends: tuple[float, float],
    *,
    limit: float | None = None,
    limit_text: str = "",
) -> None:
    """`montecarlo.frames.front.front`, a line a scheme with the band of its limits and a bar from
    the lower limit to the bound of p_false of each setting; `ends`: of `policy.front`; `limit`: the
    policy's."""
    styles = scheme_styles(frame["scheme"])
    high, low = (100 * end for end in ends)
    for scheme, group in frame.groupby("scheme", sort=False):
        _line(group.sort_values("p_false_limit"), ax, styles[str(scheme)], str(scheme), high)
    ax.set_xscale("log")
    ax.set_xlim(0.8 * low, 1.25 * high)
    ax.set_ylim(0, min(104.0, 125.0 * float(frame["p_missed_high"].max()) + 1))
    false_trips_axis(ax, limit)
    _not_shown(ax, low, 100 * float(frame["p_false_bound"].min()))
    ax.set_xlabel("limit on false trips, % of the external events (upper bound)", color=FALSE_TEXT)
    ax.set_ylabel(MISSED_LABEL, color=MISSED)
    if limit is not None:
        limit_mark(ax, limit, limit_text)
    if frame["scheme"].nunique() > 1:
        ax.legend(loc="upper right")


def drawable(frame: pd.DataFrame) -> bool:
    """Whether limits differ in their best settings, for a scheme at least."""
    return bool((frame.groupby("scheme")["p_missed"].nunique() > 1).any())


def _line(rows: pd.DataFrame, ax: Axes, style: SchemeStyle, scheme: str, high: float) -> None:
    """Of one scheme, its limits rising; `high`: where the axis ends."""
    x = [*100 * rows["p_false_limit"], high]
    y, bottom, top = (
        [*100 * rows[name], 100 * rows[name].iloc[-1]]
        for name in ("p_missed", "p_missed_low", "p_missed_high")
    )
    ax.fill_between(x, bottom, top, step="post", color=style.colour, alpha=0.18, linewidth=0)
    drawing = {"color": style.colour, "linestyle": style.dashes, "marker": style.mark}
    ax.plot(x[:-1], y[:-1], **drawing, linewidth=0, label="")
    ax.plot(x, y, drawstyle=STEPS, color=style.colour, linestyle=style.dashes)
    ax.plot([], [], **drawing, label=scheme_name(scheme))
    each = rows.drop_duplicates(["p_missed", "p_false_bound"])
    bars = (100 * each[name] for name in ("p_missed", "p_false_low", "p_false_bound"))
    ax.hlines(*bars, color=style.colour, linewidth=1.0, zorder=BARS)
    ax.plot(
        100 * each["p_false_bound"],
        100 * each["p_missed"],
        color=style.colour,
        linewidth=0,
        marker="|",
        markersize=8,
    )


def _not_shown(ax: Axes, low: float, first: float) -> None:
    """The limits to which the samples show no setting to keep."""
    if first <= low * (1 + 1e-9):
        return
    start, ground = ax.get_xlim()[0], {"facecolor": "white", "edgecolor": "none", "pad": 2.0}
    over: dict[str, Any] = {"facecolor": "white", "edgecolor": FAINT, "zorder": OVER_BARS}
    ax.axvspan(start, first, hatch="///", linewidth=0, **over)
    at, right_of_it = (first, 0.04), (4, 0)  # the ground is often narrower than the words
    beside(ax, NOT_SHOWN, at, right_of_it, RUNNER_UP, of=("data", "axes fraction"), bbox=ground)
