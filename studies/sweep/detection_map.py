"""Detection along the winding for every step of one setting, as a map: table and figure. Draw
within `look.look()`."""

from __future__ import annotations

import math
import textwrap
from typing import TYPE_CHECKING, Any

import numpy as np

from montecarlo.quantities import Array
from montecarlo.study.axes import STEPS
from studies.report.labels import packed
from studies.report.look import CHOSEN, backing
from studies.report.marks import LABEL_POINTS, beside
from studies.report.words import AXIS_WORDS, full_unit

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes

LINES = (0.1, 0.5, 0.9)  # of the faults detected
# between them, darker where more is detected
TONES = ("#ffffff", "#d6e4ef", "#9cbfdb", "#4f8fbf")
DECADES = 5.0  # highest over lowest setting of a logarithmic axis
FEWEST = 3  # settings that make a picture
HEIGHTS = 41  # at which labels may stand
MARGINS = 4.0, 96.0  # of the winding, within which they fit


def detection_map_frame(
    candidates: pd.DataFrame, protected_winding: pd.DataFrame, number: int
) -> pd.DataFrame:
    """P(detected) of an earth fault at x for all settings that differ from candidate `number` on
    one axis: the earth pick-up where several are judged, else the next of `STEPS`. Empty where
    nothing varies.

    Columns: axis (of `candidates`), setting (its value), candidate, x, p_detected, low, high."""
    columns = ["axis", "setting", "candidate", "x", "p_detected", "low", "high"]
    own = candidates[candidates["candidate"] == number].iloc[0]
    for axis in STEPS:
        others = ["scheme", *(name for name in STEPS if name != axis)]
        same = candidates[others].eq(own[others]) | (candidates[others].isna() & own[others].isna())
        line = candidates[same.all(axis=1) & candidates[axis].notna()]
        if len(line) > 1:
            settings = line[["candidate", axis]].rename(columns={axis: "setting"}).assign(axis=axis)
            frame = settings.merge(protected_winding, on="candidate")
            return frame.sort_values(["setting", "x"], kind="stable", ignore_index=True)[columns]
    return protected_winding.iloc[:0].reindex(columns=columns)


def has_contours(frame: pd.DataFrame) -> bool:
    """Whether a contour crosses it, and several settings make it."""
    return bool(frame["setting"].nunique() >= FEWEST and (frame["p_detected"].max() > LINES[0]))


def detection_map(
    frame: pd.DataFrame, number: int, ax: Axes, *, role: str = "chosen", heading: str = ""
) -> None:
    """Place x across, setting upwards, contours of the share of the faults detected; a mark at
    every setting that was judged, and a line at that of candidate `number`, called `role`. Between
    settings the contours are interpolated."""
    table = frame.pivot(index="setting", columns="x", values="p_detected")
    place, setting = 100 * table.columns.to_numpy(float), table.index.to_numpy(float)
    p = table.to_numpy()
    logarithmic = setting[0] > 0 and setting[-1] > DECADES * setting[0]
    if logarithmic:
        ax.set_yscale("log")
    ax.contourf(place, setting, p, levels=[-0.01, *LINES, 1.01], colors=TONES)
    lines = [level for level in LINES if p.min() < level < p.max()]
    ax.contour(place, setting, p, levels=lines, colors=CHOSEN, linewidths=0.9)
    ax.set_xlim(0, 100)
    ax.set_ylim(setting[0], setting[-1])
    _ticks(setting, ax)
    heights = np.log(setting) if logarithmic else setting
    style: dict[str, Any] = {"bbox": backing(), "fontsize": LABEL_POINTS, "zorder": 4}
    for level, (x, y) in _places(place, heights, p, lines).items():
        at = x, math.exp(y) if logarithmic else y
        beside(ax, f"{100 * level:g} %", at, (0, 0), CHOSEN, **style)
    own = float(frame.loc[frame["candidate"] == number, "setting"].iloc[0])
    ax.axhline(own, color=CHOSEN, linewidth=1.4, linestyle=(0, (5, 2)), zorder=3, clip_on=False)
    side = {setting[0]: "bottom", setting[-1]: "top"}.get(own, "center")
    text, of = textwrap.fill(f"{role}, no.\u00a0{number}", 13), ("axes fraction", "data")
    style = {"va": side, "fontweight": "bold", "annotation_clip": False}
    beside(ax, text, (1.0, own), (6, 0), CHOSEN, of=of, **style)
    ax.grid(visible=False)
    ax.set_xlabel("place of the earth fault, % of the winding from the neutral")
    axis = str(frame["axis"].iloc[0])
    ax.set_ylabel(", ".join(filter(None, (AXIS_WORDS[axis].label, full_unit(axis).strip()))))
    title = packed(f"lines: share of the earth faults detected, {heading}", 80)
    ax.set_title(title, loc="left", color=CHOSEN)


def _ticks(setting: Array, ax: Axes) -> None:
    """One at every setting; of too many their first and last and those that keep apart."""
    ends = ax.transData.transform([(0, value) for value in setting])[:, 1]
    place = (ends - ends[0]) / (ends[-1] - ends[0])
    shown = [0]
    for k in range(1, len(setting) - 1):
        if place[k] - place[shown[-1]] > 0.06 and 1 - place[k] > 0.06:
            shown.append(k)
    shown.append(-1)
    ax.set_yticks(setting[shown], [f"{value:g}" for value in setting[shown]])
    ax.minorticks_off()
    none = np.zeros(len(setting))
    ax.plot(none, setting, ls="", marker="_", color=CHOSEN, markersize=7, clip_on=False)


def _places(
    place: Array, setting: Array, p: Array, lines: list[float]
) -> dict[float, tuple[float, float]]:
    """Where each contour's label stands: on its line, each at another height of `setting`."""
    heights = np.linspace(setting[0], setting[-1], HEIGHTS)
    fine = np.stack([np.interp(heights, setting, column) for column in p.T], axis=1)
    found: dict[float, tuple[float, float]] = {}
    for k, level in enumerate(lines):
        crossing = (fine[:, :-1] < level) & (fine[:, 1:] >= level)
        rows = np.flatnonzero(crossing.any(axis=1))
        if rows.size:
            wanted = (1 - (k + 0.5) / len(lines)) * (HEIGHTS - 1)
            row = int(rows[np.argmin(np.abs(rows - wanted))])
            at = int(np.flatnonzero(crossing[row])[-1])
            low, high = fine[row, at : at + 2]
            x = place[at] + (level - low) / (high - low) * (place[at + 1] - place[at])
            found[level] = float(np.clip(x, *MARGINS)), float(heights[row])
    return found
