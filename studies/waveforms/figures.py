"""The cases that matter most in time, panels one above the other: figure. Draw within
`look.look()`."""

from __future__ import annotations

from collections.abc import Sequence
from textwrap import fill
from typing import TYPE_CHECKING, Any

import numpy as np

from montecarlo.quantities.wording import listed
from montecarlo.relays.places import PHASES, STAR_LINK
from montecarlo.sampling.stratum import Side
from studies.report.look import CHOSEN, FAINT, FALSE, MISSED, RUNNER_UP, grid
from studies.report.marks import legend_mark
from studies.report.numbers import percent
from studies.waveforms.in_time import (
    Shown,
    gate_starts,
    how_often,
    primary_lines,
    tells_clearing,
    tells_gate,
    tells_trip,
)

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from matplotlib.lines import Line2D

ROWS = (
    "primary\ncurrents, kA",
    "secondary\ncurrents, A",
    "core flux,\nof knee",
    "spill\ncurrent, A",
    "measured\nvalue, A",
)
HEIGHT_MM = 150.0
PHASE_COLOURS = dict(zip(PHASES, ("#029e73", "#ca9161", "#56b4e9"), strict=True))
DASHED, THIN, IDEAL = (0, (4, 2)), 0.9, 0.7
OTHER_SIDES = ("line end", "group 2")  # beside lines of the same phases
OPEN: dict[str, Any] = {"color": RUNNER_UP, "linestyle": (0, (1, 1)), "linewidth": 1.1}
CT_COLOURS = (MISSED, "#cc78bc")
CT_STYLES: tuple[dict[str, Any], ...] = (  # where both carry the same, both are seen
    {"linewidth": THIN},
    {"linewidth": 2.2, "alpha": 0.7},
)
GATE = "#332288"
STARTS: dict[str, Any] = {
    "marker": ">",
    "markersize": 5,
    "linestyle": "none",
    "markerfacecolor": "white",
    "markeredgecolor": GATE,
}
BAR, BAR_ROOM = 0.1, 1.2  # of the gate: height on the axis, and room for it above the values
LETTERS = 74  # of a line of a title, of all columns together
SMALL = 7.5


def cases_in_time(cases: Sequence[Shown], of: str = "") -> Figure:
    """A column a case, with one axis of time: currents, flux, spill current, measured value.

    Parameters
    ----------
    cases : sequence of Shown
    of : str
        What each title begins with.

    Returns
    -------
    Figure
    """
    figure, axes = grid(len(ROWS), len(cases), HEIGHT_MM)
    for column, one in zip(zip(*axes, strict=True), cases, strict=True):
        _column(column, one)
        width = LETTERS // len(cases)
        parts = _title(one, of)
        lines = [fill(line, width) for line in (parts if len(cases) > 1 else [", ".join(parts)])]
        column[0].set_title("\n".join(lines), loc="left", fontsize=SMALL + 0.5, color=CHOSEN)
        for ax, text in ((column[1], _whose(one)), (column[-1], fill(_measures(one), width))):
            ax.set_title(text, loc="right", fontsize=SMALL, pad=2)
    for row, label in zip(axes, ROWS, strict=True):
        row[0].set_ylabel(label, fontsize=SMALL + 0.5)
        for ax in row:
            ax.tick_params(labelsize=SMALL)
            ax.margins(x=0)
            ax.locator_params(axis="y", nbins=3)  # not by height: the layout would not settle
    _legends(axes, cases)
    for ax in axes[-1]:
        ax.set_ylim(bottom=0)
    if any(map(tells_gate, cases)):  # for all columns, which share the axis
        axes[-1][0].set_ylim(top=axes[-1][0].get_ylim()[1] * BAR_ROOM)
    figure.supxlabel("time from the beginning of the event, s", fontsize=9)
    return figure


def _column(axes: Sequence[Axes], one: Shown) -> None:
    frame = one.frame
    thin: dict[str, Any] = {"linewidth": THIN}
    time = frame["time_s"]
    first, second, flux, leg, measured = axes
    for place, values in primary_lines(frame).items():
        style: dict[str, Any] = {"color": _phase_colour(place), "linestyle": _dashes(place)}
        first.plot(time, values / 1e3, **style, **thin)
    for number in range(len(one.cts), 0, -1):  # the first lies above
        ct, style, colour = f"ct_{number}", CT_STYLES[number - 1], CT_COLOURS[number - 1]
        second.plot(time, frame[f"{ct}_secondary_a"], color=colour, **style)
        ideal: dict[str, Any] = {"color": CHOSEN, "linestyle": DASHED, "linewidth": IDEAL}
        second.plot(time, frame[f"{ct}_ideal_a"], **ideal)
        flux.plot(time, frame[f"{ct}_flux_of_knee"], color=colour, **style)
    for knee in (-1, 1):
        flux.axhline(knee, color=FAINT, linewidth=1.0, zorder=1)
    leg.plot(time, frame["leg_a"], color=CHOSEN, **thin)
    measured.plot(time, frame["measured_a"], color=CHOSEN, linewidth=1.2)
    measured.plot(time, frame["operates_above_a"], color=FALSE, linestyle=DASHED, linewidth=1.2)
    if tells_trip(one):
        start = one.trips_s - one.delay_s
        measured.axvspan(start, one.trips_s, color=FALSE, alpha=0.15, linewidth=0)
        measured.axvline(one.trips_s, color=FALSE, linewidth=1.4)
    if tells_clearing(one):
        for ax in axes:
            ax.axvline(one.cleared_s, **OPEN)
    if tells_gate(one):
        _gate(measured, one)


def _gate(ax: Axes, one: Shown) -> None:
    """A bar while the gate is on, above all values, and a mark where it starts."""
    time, on = one.frame["time_s"], one.frame["gate_on"].to_numpy() > 0
    above = ax.get_xaxis_transform()
    bar: dict[str, Any] = {"step": "post", "linewidth": 0, "transform": above}
    ax.fill_between(
        time,
        1 - BAR,
        1.0,
        where=on,
        color=GATE,
        **bar,
    )
    starts = gate_starts(one)
    if not len(starts):  # a line without points would claim the figure's corner in its layout
        return
    mark: dict[str, Any] = {"transform": above, "zorder": 5, "clip_on": False}
    ax.plot(
        starts,
        np.full(len(starts), 1 - BAR / 2),
        **STARTS,
        **mark,
    )


def _dashes(place: str) -> Any:
    return DASHED if _end(place) in OTHER_SIDES else "-"


def _phase_colour(place: str) -> str:
    return PHASE_COLOURS.get(place.rpartition(".")[2], CHOSEN)


def _whose(one: Shown) -> str:
    """The phases of the two CTs, if they have one."""
    phases = dict.fromkeys(ct.rpartition(".")[2] for ct in one.cts if "." in ct)
    return f"CTs of {listed(phases)}" if phases else ""


def _end(place: str) -> str:
    """neutral_end.L1 is at the neutral end."""
    return place.partition(".")[0].replace("_", " ")


def _measures(one: Shown) -> str:
    """How much of its pick-up the element has, and for how long."""
    ratio = one.case.ratio
    much = f"{ratio:.3g} times its" if ratio >= 2 else f"{percent(ratio, 3)} of its"
    if one.delay_s:
        return f"{one.element} element holds {much} pick-up for {one.delay_s:g} s"
    return f"{one.element} element reaches {much} pick-up"


def _title(one: Shown, of: str) -> list[str]:
    """What happens, in which sample, and how likely it is."""
    case = one.case
    happens = f"Trip after {one.trips_s:.3g} s" if tells_trip(one) else "No trip"
    kind = case.stratum.kind.replace("_", " ")
    if case.stratum.side is Side.INTERNAL:
        kind += " fault"
    lines = [f"{of}{happens}", kind]
    if case.weight is None:
        return [*lines, f"installation {case.installation}, event {case.event}"]
    return [*lines, f"weighted sample {case.installation}", how_often(case.weight)]


def _legends(axes: Sequence[Sequence[Axes]], cases: Sequence[Shown]) -> None:
    """Right of each row of panels."""
    primary = _primary_marks([place for one in cases for place in primary_lines(one.frame)])
    columns = range(max(len(one.cts) for one in cases))
    stand = [[one.cts[k] for one in cases if k < len(one.cts)] for k in columns]
    ends = [_ends(places) for places in stand]
    if len({*ends}) < len(ends):  # at one end: their phases tell them apart
        ends = [_ends([place.replace(".", " ") for place in places]) for places in stand]
    cts = [legend_mark(ends[k], CT_COLOURS[k], **CT_STYLES[k]) for k in columns]
    ideal = legend_mark("without exciting\ncurrent", CHOSEN, linestyle=DASHED, linewidth=IDEAL)
    knee = legend_mark("knee point", FAINT, linewidth=1.0)
    above = legend_mark("operates above", FALSE, linestyle=DASHED, linewidth=1.2)
    trips = [one for one in cases if tells_trip(one)]
    marks = [legend_mark("trip", FALSE, linewidth=1.4)] if trips else []
    if any(one.delay_s for one in trips):
        marks.append(legend_mark("held for the delay", FALSE, linewidth=6, alpha=0.15))
    if any(tells_gate(one) for one in cases):
        marks.append(legend_mark("gate on", GATE, linewidth=6))
    if any(tells_gate(one) and len(gate_starts(one)) for one in cases):
        marks.append(legend_mark("gate starts", **STARTS))
    if any(tells_clearing(one) for one in cases):
        marks.append(legend_mark("contacts open", **OPEN))
    rows: tuple[list[Line2D], ...] = (primary, [*cts, ideal], [knee], [], [above, *marks])
    for row, handles in zip(axes, rows, strict=True):
        if handles:
            at: dict[str, Any] = {"loc": "center left", "bbox_to_anchor": (1.01, 0.5)}
            row[-1].legend(handles=handles, fontsize=SMALL, frameon=False, handlelength=1.6, **at)


def _primary_marks(places: Sequence[str]) -> list[Line2D]:
    phases = [phase for phase in PHASES if any(place.endswith(phase) for place in places)]
    marks = [legend_mark(phase, PHASE_COLOURS[phase]) for phase in phases]
    if any(place == "neutral_conductor" for place in places):
        marks.append(legend_mark("neutral conductor", CHOSEN))
    if any(place == STAR_LINK for place in places):
        marks.append(legend_mark(_end(STAR_LINK), CHOSEN))
    for side in OTHER_SIDES:
        if any(_end(place) == side for place in places) and len(places) > len(phases):
            marks.append(legend_mark(side, CHOSEN, linestyle=DASHED))
    return marks


def _ends(places: Sequence[str]) -> str:
    """Where one CT of every column stands."""
    return "\n".join(dict.fromkeys(map(_end, places)))
