"""Which turn fault stays unseen at which pick-up: figure. Draw within `look.look()`."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from montecarlo.plant.turns.catalogue import WITHIN_PHASE
from montecarlo.quantities import Array
from montecarlo.quantities.wording import listed
from studies.report.look import CHOSEN, FAINT, FALSE, MISSED, decades, say, stacked
from studies.report.marks import DASHES, OUTSIDE, SHAPES, legend_mark
from studies.report.words import scheme_name
from studies.turns.faults import MANY, Measured, OfWinding
from studies.turns.words import CLASS_WORDS

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

COLOURS = (MISSED, FALSE, CHOSEN)  # of the classes
ROW = 11.0  # from one row of pick-ups to the next, of the axis of per cent
ROOM = 1.4  # beyond the first and the last value, as a factor


def seen_against_pickup(
    of: OfWinding, pickups: Mapping[tuple[str, str], Sequence[float]]
) -> Figure:
    """A panel for each current that schemes measure: share of the faults of a class beyond a
    primary current, the pick-ups, and the standing difference as a band.

    Parameters
    ----------
    of : OfWinding
    pickups : mapping of sequence
        By scheme and "phase" or "earth" (A).

    Returns
    -------
    Figure
    """
    alike = _alike(of.measured)
    rows = sum(map(len, alike))
    figure, axes = stacked(len(alike), 52 * len(alike) + 5 * rows)
    every = np.concatenate([_values(one, pickups) for one in of.measured])
    low, high = every[every > 0].min() / ROOM, every.max() * ROOM
    for ax, group in zip(axes, alike, strict=True):
        _band(ax, group[0])
        _curves(ax, of, group[0], low, high)
        _pickups(ax, group, pickups)
        decades(ax, "x", low, high)
        ax.set_title(_title(group), loc="left")
        ax.set_ylabel("faults beyond it, %")
    axes[-1].set_xlabel("primary current that the scheme measures, A")
    figure.legend(handles=_legend(of), **OUTSIDE)
    names = [scheme_name(one.scheme) for one in of.measured]
    say(figure, f"Pick-ups of {listed(names)}.")
    return figure


def _alike(measured: Sequence[Measured]) -> list[list[Measured]]:
    """Schemes that measure the same current stand in one panel."""
    found: list[list[Measured]] = []
    for one in measured:
        same = (group for group in found if np.allclose(group[0].faults_a, one.faults_a))
        if (group := next(same, None)) is None:
            found.append([one])
        else:
            group.append(one)
    return found


def _values(one: Measured, pickups: Mapping[tuple[str, str], Sequence[float]]) -> Array:
    """All that its panel must have in sight. [A]"""
    return np.concatenate([one.faults_a, _marks(one, pickups), _standing(one)])


def _marks(one: Measured, pickups: Mapping[tuple[str, str], Sequence[float]]) -> Array:
    """Its pick-ups. [A primary]"""
    listed_a = pickups.get((one.scheme, one.axis), ())
    return one.ratio * np.array(listed_a, float)


def _standing(one: Measured) -> Array:
    return np.asarray(np.quantile(one.standing_a, (1 - MANY, MANY)))


def _band(ax: Axes, one: Measured) -> None:
    low, high = _standing(one)
    ax.axvspan(
        low,
        high,
        color=FAINT,
        alpha=0.45,
        linewidth=0,
        zorder=0.5,
    )


def _curves(ax: Axes, of: OfWinding, one: Measured, low: float, high: float) -> None:
    for name, style in _styles(of).items():
        mine = of.kinds == name
        values = one.faults_a[mine]
        order = np.argsort(values)
        at = values[order]
        weight = of.weights[mine][order]
        below = np.cumsum(weight) / weight.sum()
        beyond = 100 * (1 - below)
        ax.step([low, *at, high], [100, *[100, *beyond[:-1]], 0], where="pre", **style)


def _styles(of: OfWinding) -> dict[str, dict[str, Any]]:
    return {
        name: {"color": colour, "linestyle": dashes}
        for name, colour, dashes in zip(WITHIN_PHASE, COLOURS, DASHES, strict=False)
        if of.weights[of.kinds == name].any()
    }


def _pickups(
    ax: Axes, group: Sequence[Measured], pickups: Mapping[tuple[str, str], Sequence[float]]
) -> None:
    """A row of marks a scheme, below the curves, with its name on the axis."""
    names = []
    for k, one in enumerate(group):
        at = _marks(one, pickups)
        ax.plot(
            at,
            np.full(at.size, -ROW * (k + 1)),
            marker=SHAPES[k % len(SHAPES)],
            linestyle="none",
            color=CHOSEN,
            markersize=4,
            clip_on=False,
        )
        names.append(scheme_name(one.scheme))
    ticks = np.arange(0, 101, 25)
    rows = [-ROW * (k + 1) for k in range(len(group))]
    ax.set_yticks([*rows, *ticks], [*names, *map(str, ticks)])
    ax.set_ylim(-ROW * (len(group) + 0.7), 104)


def _title(group: Sequence[Measured]) -> str:
    *others, last = (scheme_name(one.scheme) for one in group)
    return " and ".join([*(name.removesuffix(" elements") for name in others), last])


def _legend(of: OfWinding) -> list[Any]:
    classes = [legend_mark(CLASS_WORDS[name], **style) for name, style in _styles(of).items()]
    low, high = (f"{100 * share:g}" for share in (1 - MANY, MANY))
    words = f"without a fault, at\nrated load: {low} to {high} %\nof the installations"
    return [
        *classes,
        legend_mark(words, color=FAINT, linewidth=7, alpha=0.6),
        legend_mark(
            "pick-ups judged",
            color=CHOSEN,
            linestyle="none",
            marker=SHAPES[0],
        ),
    ]
