"""The plane of bias and differential current: figures of one external event and of one case's path.
Draw within `look.look()`."""

from __future__ import annotations

from collections.abc import Iterator
from textwrap import fill
from typing import TYPE_CHECKING, Any

import numpy as np

from montecarlo.quantities import Array
from montecarlo.quantities.wording import listed
from montecarlo.sampling.stratum import EARTH, Side
from studies.report.letters import together
from studies.report.look import CHOSEN, FALSE, MISSED, RUNNER_UP, blank, decades, say
from studies.report.marks import grouped_legend, legend_mark
from studies.report.numbers import percent
from studies.report.words import counted
from studies.waveforms.bias_plane import Characteristic, Plane
from studies.waveforms.contours import SHARES, cloud
from studies.waveforms.in_time import how_often
from studies.waveforms.trajectory import Path, at_every_ms

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    Marks = list[Any]

FEWEST = 500  # samples that have contours; fewer are drawn as points
SMALLEST = 0.03  # of the pick-up: the least current on the axes
SHADES = 0.6, 0.38, 0.2  # of the parts that hold 50, 90, 99 %
WIDTHS = 1.6, 1.1, 0.7
DASHED, DOTTED = (0, (4, 2)), (0, (1, 1.5))
POINT: dict[str, Any] = {"s": 5, "linewidths": 0}
HEIGHT_MM = 112.0
LETTERS = 58  # of a line of the title
ROOM = 1.25  # beyond the outermost value, as a factor
PATH, TRIP = "#332288", FALSE
HIGH_SET = "#882255"


def plane_of_event(plane: Plane, event: str, of: str = "") -> Figure:
    """Where samples of an external event and of internal faults lie about the characteristic.

    Parameters
    ----------
    plane : Plane
    event : str
        One of its external events.
    of : str
        What the title begins with.

    Returns
    -------
    Figure
    """
    rows = plane.frame
    external = rows[rows["side"].eq(Side.EXTERNAL.value) & rows["type"].eq(event)]
    internal = rows[rows["side"].eq(Side.INTERNAL.value)]
    earth = internal["type"].eq(EARTH.kind)
    set_to = plane.characteristic
    figure, ax = blank(HEIGHT_MM)
    drawn = rows.loc[[*external.index, *internal.index]]
    low = _axes(ax, set_to, drawn)
    groups = {"external samples": _filled(ax, set_to, external, low)}
    found = _lines(ax, set_to, internal[~earth], plane, low) if (~earth).any() else []
    if earth.any():  # many kinds of resistances and places: no cloud
        dots: dict[str, Any] = {"facecolors": "none", "linewidths": 0.5, "zorder": 2.6}
        ax.scatter(*_places(internal[earth], set_to, low), s=6, edgecolors=FALSE, **dots)
        found.append(_dot("to earth", FALSE, hollow=True))
    if found:
        groups["internal faults"] = found
    groups["phase element"] = _characteristic(ax, set_to)
    share = percent(float(external["above"].mean()), 3)
    title = f"{of}{event.replace('_', ' ')}: {share} of {len(external):,} samples lie above"
    ax.set_title(fill(together(title), LETTERS), loc="left", color=CHOSEN)
    grouped_legend(figure, groups)
    beyond = _beyond(drawn, set_to, low)
    say(figure, " ".join([*_numbers(plane, external, internal), *beyond]))
    return figure


def path_in_plane(path: Path, of: str = "") -> Figure:
    """The path of a case, a dot every millisecond.

    Parameters
    ----------
    path : Path
    of : str
        What the title begins with.

    Returns
    -------
    Figure
    """
    set_to, frame, case = path.characteristic, path.frame, path.case
    figure, ax = blank(HEIGHT_MM)
    low = _axes(ax, set_to, frame)
    x, y = _places(frame, set_to, low)
    ax.plot(x, y, color=PATH, linewidth=0.9, zorder=3)
    dots = _places(at_every_ms(path), set_to, low)
    ax.plot(*dots, linestyle="none", marker="o", markersize=2.4, color=PATH, zorder=3.1)
    marks: Marks = [legend_mark("path, a dot every ms", PATH, marker="o", markersize=2.4)]
    times = frame["time_s"].to_numpy()
    for words, time_s, mark, colour in (
        ("start of the event", 0.0, "o", "white"),
        ("contacts open", case.cleared_s, "s", "white"),
        ("trip", path.trips_s, "X", TRIP),
    ):
        if 0 <= time_s <= times[-1]:
            at = int(np.argmin(np.abs(times - time_s)))
            style: dict[str, Any] = {"marker": mark, "markersize": 7, "linestyle": "none"}
            style |= {"markerfacecolor": colour, "markeredgecolor": CHOSEN}
            ax.plot(x[at], y[at], zorder=5, **style)
            marks.append(legend_mark(words, **style))
    trips = not np.isnan(path.trips_s)
    happens = f"trip after {path.trips_s:.3g} s" if trips else "no trip"
    title = f"{of}{case.stratum.kind.replace('_', ' ')}, {path.element} element: {happens}"
    ax.set_title(fill(together(title), LETTERS), loc="left", color=CHOSEN)
    grouped_legend(figure, {"the case": marks, "phase element": _characteristic(ax, set_to)})
    beyond = _beyond(frame, set_to, low, "instant")
    say(figure, " ".join([*_path_numbers(path), *beyond]))
    return figure


# --- axes and the element -----------------------------------------------------


def _axes(ax: Axes, set_to: Characteristic, rows: pd.DataFrame) -> tuple[float, float]:
    """Logarithmic, so wide that all is in sight that is not too small; the least of both."""
    least = SMALLEST * set_to.pickup_a / set_to.rated_a
    ends = []
    for name in ("bias_a", "difference_a"):
        values = rows[name].to_numpy(float) / set_to.rated_a
        start = max(float(values.min()), least)
        stop = max(float(values.max()), start, set_to.pickup_a / set_to.rated_a)
        ends.append((start / ROOM, stop * ROOM))
    (left, right), (low, high) = ends
    right = max(right, ROOM * (set_to.turning_point_a or 0.0) / set_to.rated_a)
    low = min(low, 0.5 * set_to.pickup_a / set_to.rated_a)
    high = max(high, 2 * set_to.pickup_a / set_to.rated_a)
    high = max(
        high,
        ROOM * (set_to.high_set_a or 0.0) / set_to.rated_a,
    )
    decades(ax, "x", left, right)
    decades(ax, "y", low, high)
    ax.set_xlabel("bias current I_b over rated current")
    ax.set_ylabel("differential current I_d over rated current")
    return left, low


def _characteristic(ax: Axes, set_to: Characteristic) -> Marks:
    """The threshold with the band of the pick-up error, its turning point and the limit lines."""
    left, right = ax.get_xlim()
    limits = ax.get_ylim()
    x = np.geomspace(left, right, 400)
    line: dict[str, Any] = {"color": CHOSEN, "linewidth": 1.8}
    ax.plot(x, set_to.above(x), zorder=4, **line)
    marks: Marks = [legend_mark("characteristic", **line)]
    if set_to.error[0] < set_to.error[1]:
        low, high = (set_to.above(x, error) for error in set_to.error)
        ax.fill_between(x, low, high, color=CHOSEN, alpha=0.3, linewidth=0, zorder=3.5)
        marks.append(legend_mark("pick-up error,\n5 to 95 %", CHOSEN, linewidth=6, alpha=0.3))
    if (turn_a := set_to.turning_point_a) is not None:
        at = turn_a / set_to.rated_a
        style: dict[str, Any] = {"marker": "D", "markersize": 5, "linestyle": "none"}
        ax.plot(at, set_to.above(np.array([at])), color=CHOSEN, zorder=4.5, **style)
        marks.append(legend_mark("turning point", CHOSEN, **style))
    if set_to.high_set_a is not None:
        free: dict[str, Any] = {"color": HIGH_SET, "linestyle": DASHED, "linewidth": 1.4}
        ax.axhline(
            set_to.high_set_a / set_to.rated_a,
            zorder=3.8,
            **free,
        )
        marks.append(legend_mark("high-set element\ntrips above", **free))
    for slope, words, dashes in _limit_lines(set_to):
        if not (slope * right > limits[0] and slope * left < limits[1]):
            continue  # out of sight
        grey: dict[str, Any] = {"color": RUNNER_UP, "linestyle": dashes, "linewidth": 0.9}
        ax.plot(x, slope * x, zorder=2, **grey)
        marks.append(legend_mark(words, **grey))
    ax.set_ylim(limits)
    return marks


def _limit_lines(set_to: Characteristic) -> Iterator[tuple[float, str, Any]]:
    """Slope, words and dashes of each."""
    fed = set_to.single_fed
    if fed is not None:
        times = "" if fed == 1 else f"{fed:g} "
        yield fed, f"one end feeds:\nI_d = {times}I_b", DASHED
    if fed != 1:
        yield 1.0, "I_d = I_b", DOTTED


# --- clouds -------------------------------------------------------------------


def _places(
    rows: pd.DataFrame, set_to: Characteristic, low: tuple[float, float]
) -> tuple[Array, Array]:
    """On the axes; what is smaller stands on their edge. [of rated current]"""
    x, y = (rows[name].to_numpy(float) / set_to.rated_a for name in ("bias_a", "difference_a"))
    return np.maximum(x, low[0]), np.maximum(y, low[1])


def _filled(
    ax: Axes, set_to: Characteristic, rows: pd.DataFrame, low: tuple[float, float]
) -> Marks:
    from matplotlib.colors import to_rgba

    x, y = _places(rows, set_to, low)
    if len(rows) < FEWEST:
        ax.scatter(x, y, color=MISSED, zorder=2.5, **POINT)
        return [_dot("samples", MISSED)]
    found = cloud(x, y, np.ones(len(rows)))
    colours = [to_rgba(MISSED, shade) for shade in reversed(SHADES)]
    levels = [*reversed(found.levels), float(found.density.max())]
    ends = np.maximum.accumulate(levels) * (1 + 1e-12 * np.arange(len(levels)))
    ax.contourf(found.x, found.y, found.density, ends, colors=colours, zorder=1.5)
    return [
        legend_mark(f"{percent(share)} within", MISSED, linewidth=6, alpha=shade)
        for share, shade in zip(SHARES, SHADES, strict=True)
    ]


def _lines(
    ax: Axes, set_to: Characteristic, rows: pd.DataFrame, plane: Plane, low: tuple[float, float]
) -> Marks:
    """Of faults between phases, each type as often as it occurs."""
    x, y = _places(rows, set_to, low)
    words = "between phases"
    if len(rows) < FEWEST:
        ax.scatter(x, y, color=FALSE, zorder=2.6, **POINT)
        return [_dot(words, FALSE)]
    weights = rows["type"].map(_weights(plane, rows)).to_numpy(float)
    found = cloud(x, y, weights)
    lines: dict[str, Any] = {"colors": FALSE, "zorder": 2.6}
    for level, width in zip(found.levels, WIDTHS, strict=True):
        ax.contour(found.x, found.y, found.density, [level], linewidths=width, **lines)
    return [legend_mark(words, FALSE, linewidth=1.2)]


def _dot(words: str, colour: str, *, hollow: bool = False) -> Any:
    face: dict[str, Any] = {"markerfacecolor": "none"} if hollow else {}
    return legend_mark(words, colour, marker="o", markersize=3, linestyle="none", **face)


# --- words --------------------------------------------------------------------


def _weights(plane: Plane, rows: pd.DataFrame) -> dict[str, float]:
    """What a sample of each type stands for."""
    counts = rows["type"].value_counts()
    return {kind: plane.shares[kind] / count for kind, count in counts.items()}


def _above(plane: Plane, rows: pd.DataFrame) -> str:
    weights = rows["type"].map(_weights(plane, rows))
    return percent(float((rows["above"] * weights).sum() / weights.sum()), 3)


def _numbers(plane: Plane, external: pd.DataFrame, internal: pd.DataFrame) -> Iterator[str]:
    """What the picture shows, in numbers."""
    above = external["above"].to_numpy(bool)
    set_to, count = plane.characteristic, len(external)
    yield (
        f"{counted(count, 'sample')} of the event: {percent(above.mean(), 3)} lie above the"
        f" characteristic, {percent(1 - above.mean(), 3)} below it; each has its own pick-up error."
    )
    if set_to.others:
        yield "The phase elements alone are counted here."
    if (after := external["after_clearing"]).notna().all():
        late = after.to_numpy(bool)
        parts = [f"{percent(late.mean(), 3)} of all"]
        if above.any():
            parts.append(f"{percent(late[above].mean(), 3)} of those above")
        yield f"The instant comes after the contacts open in {listed(parts)}."
    earth = internal["type"].eq(EARTH.kind)
    kinds = (("faults between phases", internal[~earth]), ("earth faults", internal[earth]))
    parts = [f"{_above(plane, rows)} of the {words}" for words, rows in kinds if len(rows)]
    if parts:
        yield f"Inside the zone {listed(parts)} lie above it."
    if set_to.delay_s:
        yield (
            f"An element must hold {set_to.delay_s:g} s: the instant is the one nearest to a reset"
            " in that time."
        )
    yield f"Rated current: {set_to.rated_a:.3g} A secondary."
    types = [*dict.fromkeys([*external["type"], *internal["type"]])]
    if lost := sum(plane.unresolved[kind] for kind in types):
        yield f"Left out: {counted(lost, 'sample')} without a result."
    if plane.left_out:
        names = [name.replace("_", " ") for name in plane.left_out]
        yield f"Less frequent events without such a figure: {listed(names)}."


def _beyond(
    rows: pd.DataFrame, set_to: Characteristic, low: tuple[float, float], noun: str = "sample"
) -> Iterator[str]:
    small = rows["bias_a"].lt(low[0] * set_to.rated_a)
    small |= rows["difference_a"].lt(low[1] * set_to.rated_a)
    if small.any():
        yield f"On the edge of the axes: {counted(int(small.sum()), noun)} with less current."


def _path_numbers(path: Path) -> Iterator[str]:
    frame, rated_a = path.frame, path.characteristic.rated_a
    ratio = (frame["difference_a"] / frame["operates_above_a"]).to_numpy()
    at = frame.iloc[int(np.argmax(ratio))]
    case = path.case
    if case.weight is None:
        yield f"Installation {case.installation}, event {case.event}."
    else:
        yield f"Weighted sample {case.installation}, {how_often(case.weight)}."
    yield (
        f"{percent(float(ratio.max()), 3)} of the threshold at most, {at['time_s']:.3g} s after"
        f" the start, at I_d {at['difference_a'] / rated_a:.3g} and I_b"
        f" {at['bias_a'] / rated_a:.3g} times the rated current of {rated_a:.3g} A."
    )
    if case.kind == "false_trip" and np.isnan(path.trips_s):
        yield "Another element trips in this case."
    if not np.isnan(case.cleared_s):
        yield f"The contacts open after {case.cleared_s:.3g} s."
