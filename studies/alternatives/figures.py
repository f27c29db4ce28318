"""Alternatives of a study as a picture: missed faults and false trips of each one's best setting,
and what the answer goes by if that is something else, with intervals."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from textwrap import fill
from typing import TYPE_CHECKING, Any

import numpy as np

from montecarlo.estimates.verdicts import Verdict
from montecarlo.frames.limits import with_limits
from studies.alternatives.aim import aim_of, counted_otherwise
from studies.alternatives.frames import SideBySide
from studies.clearing.criterion import DAMAGE, NOBODY, YEARLY
from studies.report.intervals import interval_rows, series_legend
from studies.report.labels import packed
from studies.report.look import (
    CHOSEN,
    FAINT,
    FALSE,
    FALSE_TEXT,
    MISSED,
    backing,
    figure_of,
    ink,
    panels,
)
from studies.report.marks import FALSE_LABEL, MISSED_LABEL, beside, limit_mark, percent_ticks
from studies.report.numbers import figures as numerals
from studies.report.words import scheme_name, setting_text
from studies.sweep.policy import limit_line

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from montecarlo.study.description import Study
    from studies.protocol import Recipe


@dataclass(frozen=True)
class Panel:
    """A quantity, its colours, its label and by what its values are multiplied."""

    name: str
    colour: str
    text_colour: str
    label: str
    scale: float = 100.0


PANELS = (
    Panel("p_missed", MISSED, MISSED, MISSED_LABEL),
    Panel("p_false", FALSE, FALSE_TEXT, FALSE_LABEL),
)
# of an alternative and of the study as stated
SERIES = ("estimate, 95 % limits", "no significant difference from the study as stated")
LOGARITHMIC = 5.0  # ratio of the largest to the smallest mark from which on
SMALL = 8.0  # points
MOST_TICKS = 3  # with a number, of a narrow panel
LONG = 7  # characters of a number beyond which one less has room
DECADES = 50.0  # ratio of the ends of an axis from which on powers of ten are enough
NAME_WIDTH = 28  # characters of a line of a row's words


def figures(compared: SideBySide) -> dict[str, Recipe]:
    """By name; none where nothing can be chosen."""
    if not compared.table["p_missed"].notna().any():
        return {}
    limits = {limit_line(result.study)[0] for result in compared.results.values()}
    limit = limits.pop() if len(limits) == 1 else None
    table = compared.table.copy()
    every = [one for one in panels_of(compared.study) if one.name in table]
    otherwise = table["alternative"].isin(counted_otherwise(compared.study))
    table.loc[
        otherwise, [name for one in every[len(PANELS) :] for name in with_limits(one.name)]
    ] = np.nan
    return {"alternatives": partial(_drawn, table, compared.differences, limit, every)}


def panels_of(study: Study) -> tuple[Panel, ...]:
    """Missed faults, false trips, and what the answer goes by if that is something else."""
    aim, cost, damage = aim_of(study), study.policy.least_annual_cost, study.damage
    label, scale = "", 1.0
    if aim == NOBODY:
        label, scale = "faults that nobody\nclears, %", 100.0
    elif aim == DAMAGE and damage is not None:
        label = f"mean damage, s\nof {damage.reference_a:g} A"
    elif cost is not None:
        label = f"{'total cost' if aim == YEARLY else 'cost'},\n{cost.unit} a year"
    return (*PANELS, Panel(aim, CHOSEN, CHOSEN, label, scale)) if label else PANELS


def _drawn(
    table: pd.DataFrame, differences: pd.DataFrame, limit: float | None, every: Sequence[Panel]
) -> Figure:
    figure, axes = panels(len(every), height_mm(table), len(every))
    side_by_side_figure(table, differences, axes, limit, every)
    return figure


def height_mm(table: pd.DataFrame) -> float:
    """Of a figure with these rows."""
    lines = max(1 + words.count("\n") for words in _rows(table))
    return 32.0 + (1.2 + 3.9 * lines) * len(table)


def side_by_side_figure(
    table: pd.DataFrame,
    differences: pd.DataFrame,
    axes: Sequence[Axes],
    limit: float | None = None,
    every: Sequence[Panel] = PANELS,
) -> Sequence[Axes]:
    """One row an alternative, as stated first, on axes that share the vertical one.

    A pale square differs from the study as stated by no more than chance may make; an arrow is an
    upper limit where none was seen.

    Parameters
    ----------
    table, differences : DataFrame
        alternatives.csv and alternative_differences.csv.
    axes : sequence of Axes
        One a panel.
    limit : float, optional
        The policy's on false trips, if all have one.
    every : sequence of Panel

    Returns
    -------
    sequence of Axes
    """
    rows = _rows(table)
    alike = differences[differences["verdict"] == Verdict.ALIKE]
    for ax, panel in zip(axes, every, strict=True):
        name, colour = panel.name, panel.colour
        same = table["alternative"].isin(alike.loc[alike["quantity"] == name, "alternative"])
        frame = table[[*with_limits(name)]].mul(panel.scale).assign(row=rows, series=_series(same))
        seen = frame.assign(**{name: frame[name].where(frame[name] > 0)})
        interval_rows(ax, seen, name, rows, SERIES, colour, apart=0)
        _none_seen(ax, frame.loc[frame[name] == 0, f"{name}_high"], colour)
        _scale(ax, frame[[*with_limits(name)]], limit if name == "p_false" else None)
        if len(every) > len(PANELS):
            _few_ticks(ax)
        elif ax.get_xscale() == "log":
            percent_ticks(ax, ax.get_xlim()[0])
        if frame[name].iloc[0] > 0:
            ax.axvline(frame[name].iloc[0], color=FAINT, linewidth=0.9, zorder=0)
        ax.set_xlabel(panel.label, color=panel.text_colour)
    if limit is not None:
        limit_mark(axes[1], limit, "policy's limit", fontsize=SMALL)
    series_legend(figure_of(axes[0]), SERIES, CHOSEN)
    return axes


def _series(same: pd.Series) -> list[str]:
    return [SERIES[int(alike)] for alike in same]


def _rows(table: pd.DataFrame) -> list[str]:
    several = table.loc[table["scheme"] != "", "scheme"].nunique() > 1
    return [_words(row, several) for row in table.to_dict("records")]


def _words(row: dict[str, Any], several: bool) -> str:
    """The alternative, its scheme where they have several, its setting."""
    parts = [fill(row["alternative"], NAME_WIDTH)]
    if not row["scheme"]:
        return "\n".join([*parts, "no setting is allowed"])
    if several:
        parts.append(fill(scheme_name(row["scheme"]), NAME_WIDTH))
    return "\n".join([*parts, packed(setting_text(row), NAME_WIDTH)])


def _none_seen(ax: Axes, high: pd.Series, colour: str) -> None:
    """An arrow at the upper limit, by the place of the row."""
    ax.plot(high, high.index, marker="<", linestyle="", color=colour, markersize=5)
    for place, at in high.items():
        ground = {"fontsize": SMALL, "bbox": backing()}
        beside(ax, "none seen", (at, place), (-6, 0), ink(colour), **ground).set_in_layout(False)


def _scale(ax: Axes, frame: pd.DataFrame, limit: float | None) -> None:
    """Logarithmic where the marks differ by a large ratio, else from 0 on."""
    values = frame.to_numpy(float)
    none = (values[:, 0] == 0).any()  # its words stand left of its mark
    shown = np.append(values, np.nan if limit is None else 100 * limit)
    shown = shown[shown > 0]
    if shown.size and shown.max() > LOGARITHMIC * shown.min():
        ax.set_xscale("log")
        ax.set_xlim(shown.min() / (8 if none else 1.6), shown.max() * 1.6)
    else:
        ax.set_xlim(0, 1.08 * shown.max(initial=0.0) or 1.0)


def _few_ticks(ax: Axes) -> None:
    """As many numbers as a narrow panel has room for."""
    from matplotlib.ticker import MaxNLocator

    if ax.get_xscale() == "linear":
        ax.xaxis.set_major_locator(MaxNLocator(MOST_TICKS, steps=[1, 2, 5, 10], prune="upper"))
        ax.xaxis.set_major_formatter(lambda value, _: numerals(value, 3))
        return
    low, high = ax.get_xlim()
    decades = range(math.floor(math.log10(low)), math.ceil(math.log10(high)) + 1)
    places = (1,) if high > DECADES * low else (1, 2, 5)
    ticks = [one for k in decades for m in places if low <= (one := m * 10.0**k) <= high]
    words = [numerals(at, 3) for at in ticks]
    each = math.ceil(len(ticks) / (MOST_TICKS - (max(map(len, words)) > LONG)))
    ax.set_xticks(ticks, ["" if k % each else text for k, text in enumerate(words)])
    ax.minorticks_off()
    ax.set_xlim(low, high)
