"""Options of earthing as pictures: the table of `frames.Options` in, axes out. Draw within
`look.look()`."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from functools import partial
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from montecarlo.frames.limits import with_limits
from studies.report.intervals import interval_rows, series_legend
from studies.report.labels import Label, put_labels
from studies.report.look import (
    CHOSEN,
    FAINT,
    FALSE,
    FALSE_TEXT,
    HEIGHT_MM,
    MISSED,
    decades,
    figure_of,
    on_blank,
    panels,
)
from studies.report.marks import FALSE_LABEL, MISSED_LABEL, limit_mark, scheme_styles, semantics
from studies.sweep.policy import limit_line

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from studies.earthing.frames import Options
    from studies.protocol import Recipe

TRADE = "protection_against_energy"
DECISION = "damage_against_nobody"
DAMAGE, NOBODY = "damage_mean_s", "p_nobody"
NAME_WIDTH = 30  # characters of an option's name in a line
ENERGY_TEXT = "#444444"
SERIES = ("estimate, 95 % limits", "none seen, upper limit")
PANELS = (
    ("p_missed", 100.0, MISSED_LABEL, MISSED, MISSED),
    ("p_false", 100.0, FALSE_LABEL, FALSE, FALSE_TEXT),
    ("fault_energy_j_mean", 1e-3, "mean energy in\nan earth fault, kJ", ENERGY_TEXT, ENERGY_TEXT),
)


def figures(options: Options) -> dict[str, Recipe]:
    """By name."""
    limit, _ = limit_line(options.study)
    damage, decision = options.study.damage, {}
    if damage is not None and options.clearing:
        plot = partial(damage_against_nobody, reference_a=damage.reference_a)
        decision[DECISION] = partial(on_blank, HEIGHT_MM, plot, options.table)
    return {
        **decision,
        TRADE: partial(on_blank, HEIGHT_MM, protection_against_energy, options.table),
        "earthing_options": partial(_side_by_side, options.table, limit),
    }


def _side_by_side(table: pd.DataFrame, limit: float | None) -> Figure:
    figure, axes = panels(3, 40 + 8 * len(table), 3)
    options_side_by_side(table, axes, limit=limit)
    return figure


def protection_against_energy(table: pd.DataFrame, ax: Axes) -> Axes:
    """Part of the winding protected against the energy in the fault, a labelled mark an option.

    Mark: median of the protected part, mean energy; thin bars: 5 to 95 % of the sampled faults;
    thick bar: 95 % limits of the mean. Options without a setting are left out."""
    import seaborn as sns

    shown = table.dropna(subset="protected_median").sort_values("fault_energy_j_mean")
    energy, protected = (
        shown.filter(like="fault_energy_j_") / 1e3,
        100 * shown.filter(like="protected_"),
    )
    mean, median = energy["fault_energy_j_mean"], protected["protected_median"]
    styles = scheme_styles(shown["option"])
    colours = [style.colour for style in styles.values()]
    thin: dict[str, Any] = {"color": colours, "linewidth": 0.9, "zorder": 2}
    ax.hlines(median, energy["fault_energy_j_p05"], energy["fault_energy_j_p95"], **thin)
    ax.vlines(mean, protected["protected_p05"], protected["protected_p95"], **thin)
    thick = thin | {"linewidth": 3.2, "alpha": 0.6, "zorder": 2.5}
    ends = energy["fault_energy_j_mean_low"], energy["fault_energy_j_mean_high"]
    ax.hlines(median, *ends, **thick)
    named = shown["option"].rename("option")
    looks = semantics(styles)
    del looks["dashes"]
    mark: dict[str, Any] = {"s": 46, "linewidth": 0.7, "zorder": 3, "clip_on": False}
    sns.scatterplot(x=mean, y=median, hue=named, style=named, **looks, **mark, legend=False, ax=ax)
    _around(ax, energy.to_numpy())
    ax.set_ylim(-10, 108)
    ax.set_yticks(range(0, 101, 20))
    ax.set_ylabel("protected part of the winding, %", color=MISSED)
    ax.set_xlabel(
        "energy in an earth fault, kJ\nmark: mean, with its 95 % limits; thin bars: 5 to 95 % of"
        " the sampled faults",
        color=ENERGY_TEXT,
    )
    _name(ax, shown["option"], colours, mean, median)
    return ax


def damage_against_nobody(table: pd.DataFrame, ax: Axes, *, reference_a: float) -> Axes:
    """Mean damage of an earth fault against faults that nobody clears, a labelled mark an option,
    with 95 % limits. The damage is logarithmic, and so is a share that spans more than a decade.
    Options without a setting are left out.

    A bar whose lower limit is not above 0 reaches the edge."""
    import seaborn as sns

    shown = table.dropna(subset=[DAMAGE, NOBODY]).sort_values(DAMAGE)
    seconds, percent = shown[[*with_limits(DAMAGE)]], 100 * shown[[*with_limits(NOBODY)]]
    styles = scheme_styles(shown["option"])
    colours = [style.colour for style in styles.values()]
    _around(ax, seconds.to_numpy())
    if percent[NOBODY].max() > 10 * percent[NOBODY].min() > 0:
        _around(ax, percent.to_numpy(), "y")
    else:
        ax.set_ylim(*_ends_from_zero(float(percent.max().max())))
    x, y = seconds[DAMAGE], percent[NOBODY]
    left, low = (
        np.maximum(found[f"{name}_low"], edge)
        for found, name, edge in (
            (seconds, DAMAGE, ax.get_xlim()[0]),
            (percent, NOBODY, ax.get_ylim()[0]),
        )
    )
    bars: dict[str, Any] = {"color": colours, "linewidth": 1.4, "zorder": 2}
    ax.hlines(y, left, seconds[f"{DAMAGE}_high"], **bars)
    ax.vlines(x, low, percent[f"{NOBODY}_high"], **bars)
    looks = semantics(styles)
    del looks["dashes"]
    mark: dict[str, Any] = {"s": 46, "linewidth": 0.7, "zorder": 3, "clip_on": False}
    named = shown["option"].rename("option")
    sns.scatterplot(x=x, y=y, hue=named, style=named, **looks, **mark, legend=False, ax=ax)
    ax.set_ylabel("faults that nobody clears, %\nof those in scope", color=MISSED)
    ax.set_xlabel(
        f"mean damage of an earth fault, seconds of {reference_a:g} A\nbars: 95 % limits",
        color=ENERGY_TEXT,
    )
    _name(ax, shown["option"], colours, x, y)
    return ax


def _name(ax: Axes, options: Any, colours: Sequence[str], x: Any, y: Any) -> None:
    """Each option's name beside its mark."""
    put_labels(
        ax,
        [
            Label(textwrap.fill(option, NAME_WIDTH), colour, [[at, up]])
            for option, colour, at, up in zip(options, colours, x, y, strict=True)
        ],
    )


def _around(ax: Axes, values: Any, which: Literal["x", "y"] = "x") -> None:
    """Logarithmic, whole decades around the values above 0, if there are any."""
    above = values[np.isfinite(values) & (values > 0)]
    if above.size:
        ends = np.log10([above.min(), above.max()])
        decades(ax, which, 10.0 ** np.floor(ends[0]), 10.0 ** np.ceil(ends[1]))


def _from_zero(ax: Axes, most: float) -> None:
    """From 0 to the largest value, with room for a mark at either end."""
    ax.set_xlim(*_ends_from_zero(most))


def _ends_from_zero(most: float) -> tuple[float, float]:
    end = most if most > 0 else 1.0
    return -0.05 * end, 1.08 * end


def options_side_by_side(
    table: pd.DataFrame, axes: Sequence[Axes], *, limit: float | None = None
) -> Sequence[Axes]:
    """Three panels with a row an option, in the order of the study: missed faults, false trips,
    mean energy in the fault, each with 95 % limits. A pale square: none seen. Options without a
    setting have no marks. `limit`: the policy's, on p_false."""
    rows = [textwrap.fill(option, NAME_WIDTH) for option in table["option"]]
    for ax, (name, scale, label, colour, dark) in zip(axes, PANELS, strict=True):
        values = scale * table[[*with_limits(name)]]
        series = [SERIES[int(none)] for none in values[name] == 0]
        interval_rows(
            ax, values.assign(row=rows, series=series), name, rows, SERIES, colour, apart=0
        )
        if name == "fault_energy_j_mean" and not (values[f"{name}_low"] <= 0).any():
            _around(ax, values.to_numpy())
        else:
            _from_zero(ax, float(values.max().max()))
        ax.set_xlabel(label, color=dark)
        for at in range(len(table)):
            ax.axhline(at, color=FAINT, linewidth=0.5, zorder=1)
    if limit is not None:
        _from_zero(axes[1], max(axes[1].get_xlim()[1] / 1.08, 100 * limit))
        limit_mark(axes[1], limit, "policy's limit")
    series_legend(figure_of(axes[0]), SERIES, CHOSEN)
    return axes
