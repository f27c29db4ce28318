"""How p_missed and p_false of one candidate settle as the independent sample comes in: table and
figure. Draw within `look.look()`."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from montecarlo.engine.run import Outcome
from studies.report.labels import packed
from studies.report.look import CHOSEN, FALSE, FALSE_TEXT, MISSED, backing, decades
from studies.report.marks import FALSE_LABEL, MISSED_LABEL, band, beside
from studies.report.numbers import percent

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes

PANELS = (
    ("p_missed", MISSED_LABEL, MISSED, MISSED),
    ("p_false", FALSE_LABEL, FALSE, FALSE_TEXT),
)
HEADROOM = 0.22  # of a panel's range, for its words
DECADES = 20.0  # high over low from which an axis is logarithmic
NEAR = 2.0  # times the band's highest, where a limit is still shown


def convergence_frame(outcome: Outcome) -> pd.DataFrame:
    """One row a share of the independent sample: samples and the estimates from them, of the chosen
    candidate, or without a choice of the one that was last tried on fresh random numbers. Empty
    without such a sample."""
    import pandas as pd

    fresh = outcome.fresh
    if fresh is None:
        return pd.DataFrame()
    setting = outcome.chosen or fresh.settings[0]  # the one on trial comes first
    place, number = fresh.settings.index(setting), outcome.settings.index(setting) + 1
    rows: list[dict[str, Any]] = []
    for point in fresh.points:
        row: dict[str, Any] = {
            "candidate": number,
            "share": point.share,
            "samples": point.samples,
            "earth_fault_samples": point.earth_faults,
            "weighted_samples": point.weighted,
        }
        for name, total in (("p_missed", point.missed), ("p_false", point.false)):
            row |= {
                name: total.total[place],
                f"{name}_low": total.low[place],
                f"{name}_high": total.high[place],
            }
        rows.append(row | {"batch": 2})
    return pd.DataFrame(rows)


def worth_drawing(frame: pd.DataFrame) -> bool:
    """A single point shows nothing of how it was come to."""
    return len(frame) > 1


def convergence(
    frame: pd.DataFrame,
    axes: Sequence[Axes],
    *,
    heading: str = "",
    limit: float | None = None,
    limit_text: str = "",
) -> None:
    """Two panels, p_missed over p_false, against the share of the batch: estimate, 95 % limits as a
    band, a line at the final estimate.

    Parameters
    ----------
    frame : DataFrame
        Of `convergence_frame`.
    axes : sequence of Axes
    heading : str
        Whose it is.
    limit, limit_text : float, str
        The policy's, on p_false; drawn if it is not far above the band.
    """
    share, last = frame["share"], frame.iloc[-1]
    for ax, (name, label, colour, dark) in zip(axes, PANELS, strict=True):
        p, low, high = (100 * frame[f"{name}{end}"] for end in ("", "_low", "_high"))
        band(ax, share, low, high, colour)
        ax.plot(share, p, color=colour, marker="o", markersize=4.5, clip_on=False, zorder=3)
        ax.axhline(p.iloc[-1], color=dark, linewidth=0.9, linestyle=(0, (1.5, 1.5)), zorder=2)
        shown = [low.min(), high.max()]
        near = None
        if name == "p_false" and limit is not None and 100 * limit <= NEAR * shown[1]:
            near = 100 * limit
            shown.append(near)
        _fit(min(shown), max(shown), ax)
        if near is not None:
            _limit(ax, near, limit_text, above=near >= p.iloc[0])
        ax.set_ylabel(label, color=dark)
        words = _words(last, name)
        beside(ax, words, (1, 1), (-4, -4), dark, of="axes fraction", bbox=backing(), zorder=5)
    axes[0].set_title(packed(heading, 80), loc="left", color=CHOSEN)
    _shares(share, last, axes[-1])


def _words(last: Any, name: str) -> str:
    p, low, high = (last[name + end] for end in ("", "_low", "_high"))
    if p == 0:
        return f"whole sample: none seen, fewer than {percent(high)}"
    digits = 2 if high <= low else max(2, 1 + math.ceil(math.log10(2 * p / (high - low))))
    ends = " to ".join(percent(end, digits) for end in (low, high))
    return f"whole sample: {percent(p, digits)}, 95 % limits {ends}"


def _fit(low: float, high: float, ax: Axes) -> None:
    """All that is shown, with room above for the words; never below 0. Logarithmic where it spans
    decades."""
    room = (high - low) or 0.1 * high or 1.0
    if low > 0 and high > DECADES * low:
        decades(ax, "y", low / 1.3, high * (high / low) ** (1.5 * HEADROOM))
        return
    ax.set_ylim(max(low - 0.08 * room, 0.0), high + HEADROOM * room)


def _limit(ax: Axes, limit: float, text: str, above: bool) -> None:
    """`above`: whether its words stand above it, away from the curve; as far as the panel has
    room."""
    ax.axhline(limit, color=FALSE, linestyle=(0, (6, 3)), linewidth=1.2, zorder=1.5)
    place = ax.transAxes.inverted().transform(ax.transData.transform((1, limit)))[1]
    up = 3 if place < 0.3 or (above and place < 0.7) else -3
    of = ("axes fraction", "data")
    beside(ax, text, (0, limit), (4, up), FALSE_TEXT, of=of, bbox=backing(), zorder=4)


def _shares(share: pd.Series, last: Any, ax: Axes) -> None:
    """Halves of the batch on a logarithmic axis, and what the whole of it is."""
    ax.set_xscale("log")
    ax.set_xlim(share.min(), 1.0)
    ax.set_xticks(share, [f"1/{1 / part:.0f}" if part < 1 else "whole" for part in share])
    ax.minorticks_off()
    words = {
        "samples": "samples a type",
        "earth_fault_samples": "earth faults",
        "weighted_samples": "weighted samples an event",
    }
    sizes = [f"{last[key]:,.0f} {text}" for key, text in words.items() if last[key]]
    line = " " if len(sizes) < 3 else "\n"
    ax.set_xlabel(f"share of the independent sample; the whole of it:{line}{', '.join(sizes)}")
