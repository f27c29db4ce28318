"""Detection along the winding for every step of one setting, as a map: table and figure. Draw
within `look.look()`."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING, Any

import numpy as np

from montecarlo.quantities import Array
from montecarlo.study.axes import STEPS
from studies.report.labels import packed
from studies.report.look import CHOSEN
from studies.report.marks import SEAMLESS, beside
from studies.report.words import AXIS_WORDS, full_unit

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes

SHARES = (0.0, 0.1, 0.5, 0.9, 1.01)  # of the faults detected
TONES = ("#f4f4f4", "#c6dbef", "#6baed6", "#08519c")  # between them
FEWEST = 3  # settings that make a picture
MOST_NUMBERS = 14  # of settings, on the axis


def detection_map_frame(
    candidates: pd.DataFrame, protected_winding: pd.DataFrame, number: int
) -> pd.DataFrame:
    """P(detected) of an earth fault at x for all settings that differ from candidate `number` on
    one axis: the earth pick-up where several are judged, else the next of `STEPS`. Empty where
    nothing varies.

    Columns: axis (of `candidates`), setting (its value), candidate, x, p_detected, low, high."""
    columns = ["axis", "setting", "candidate", "x", "p_detected", "low", "high"]
    own = candidates[candidates["candidate"] == number].iloc[0]
    axes = [name for name in STEPS if name in candidates]
    for axis in axes:
        if axis.endswith("gate"):  # names have no order
            continue
        others = ["scheme", *(name for name in axes if name != axis)]
        same = candidates[others].eq(own[others]) | (candidates[others].isna() & own[others].isna())
        line = candidates[same.all(axis=1) & candidates[axis].notna()]
        if len(line) > 1:
            settings = line[["candidate", axis]].rename(columns={axis: "setting"}).assign(axis=axis)
            frame = settings.merge(protected_winding, on="candidate")
            return frame.sort_values(["setting", "x"], kind="stable", ignore_index=True)[columns]
    return protected_winding.iloc[:0].reindex(columns=columns)


def worth_drawing(frame: pd.DataFrame) -> bool:
    """Whether several settings make it, and something is detected."""
    return bool(frame["setting"].nunique() >= FEWEST and (frame["p_detected"].max() > SHARES[1]))


def detection_map(
    frame: pd.DataFrame, number: int, ax: Axes, *, role: str = "chosen", heading: str = ""
) -> None:
    """Place x across, a row a setting that was judged, the lowest below, in tones of the share of
    the faults detected: nothing is interpolated. The row of candidate `number` is framed and named
    `role`."""
    import pandas as pd
    import seaborn as sns
    from matplotlib.colors import ListedColormap
    from matplotlib.patches import Rectangle

    table = frame.pivot(index="setting", columns="x", values="p_detected").sort_index()
    tones = table.apply(lambda column: pd.cut(column, SHARES, right=False, labels=False))
    shades: dict[str, Any] = {
        "cmap": ListedColormap(TONES),
        "vmin": -0.5,
        "vmax": 3.5,
        "cbar": False,
    }
    sns.heatmap(tones, ax=ax, **shades, **SEAMLESS)
    ax.invert_yaxis()
    width, count = table.shape[1] - 1, table.shape[0]
    ax.hlines(range(1, count), 0, width + 1, color="white", linewidth=min(1.5, 30 / count))
    ax.set_xticks(0.5 + np.linspace(0, width, 6), [f"{x:g}" for x in range(0, 101, 20)], rotation=0)
    _ticks(table.index.to_numpy(float), ax)
    own = float(frame.loc[frame["candidate"] == number, "setting"].iloc[0])
    row = int(table.index.get_loc(own))
    style: dict[str, Any] = {"fill": False, "linewidth": 1.6, "clip_on": False, "zorder": 3}
    ax.add_patch(Rectangle((0, row), width + 1, 1, edgecolor=CHOSEN, **style))
    text, of = textwrap.fill(f"{role}, no.\u00a0{number}", 13), ("axes fraction", "data")
    bold: dict[str, Any] = {"fontweight": "bold", "annotation_clip": False}
    side = {0: "bottom", count - 1: "top"}.get(row, "center")
    beside(ax, text, (1.0, row + 0.5), (6, 0), CHOSEN, of=of, va=side, **bold)
    ax.set_xlabel("place of the earth fault, % of the winding from the neutral")
    axis = str(frame["axis"].iloc[0])
    ax.set_ylabel(", ".join(filter(None, (AXIS_WORDS[axis].label, full_unit(axis).strip()))))
    ax.set_title(packed(heading, 80), loc="left", color=CHOSEN)
    _legend(ax)


def _ticks(setting: Array, ax: Axes) -> None:
    """A number at every row; of many, at every second, third ... and at the highest."""
    every = -(-len(setting) // MOST_NUMBERS)
    shown = [*range(len(setting) - 1, -1, -every)]
    ax.set_yticks(np.add(shown, 0.5), [f"{setting[k]:g}" for k in shown], rotation=0)
    ax.tick_params(left=True)


def _legend(ax: Axes) -> None:
    from matplotlib.patches import Patch

    words = ["under 10 %", "10 to 50 %", "50 to 90 %", "90 % and more"]
    patches = [
        Patch(facecolor=tone, edgecolor="#999999", linewidth=0.6, label=text)
        for tone, text in zip(TONES, words, strict=True)
    ]
    title = "share of the earth faults detected"
    style: dict[str, Any] = {"loc": "outside upper center", "ncols": 4, "frameon": False}
    ax.figure.legend(handles=patches, title=title, **style)
