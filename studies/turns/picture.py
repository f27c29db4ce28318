"""The winding slot by slot around the bore, one branch followed: figure. Draw within
`look.look()`."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import groupby, pairwise
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from montecarlo.plant.turns.layout import Coils
from montecarlo.quantities import Array, Index
from studies.report.look import CHOSEN, FALSE, MISSED, WIDTH_MM, say
from studies.turns.words import span_text

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

PHASES = (("L1", MISSED, ""), ("L2", FALSE, "////"), ("L3", "#029e73", "\\\\\\\\"))
UPPER, LOWER = (1.12, 1.0), (1.0, 0.88)  # radii of the layers, outer and inner
CHORD, LINK = 0.72, 0.66  # radii of a coil's end and of what joins belts
STRIP = 12  # belts that the unrolled part shows
LETTERED = 0.8  # of a belt: shorter runs have no letters
RING_MM, STRIP_MM = 112.0, 46.0


class Run(NamedTuple):
    """Slots side by side in one layer of one phase, direction and branch."""

    start: int
    slots: int
    phase: int
    direction: int
    branch: int

    @property
    def text(self) -> str:
        """Direction and phase, then the branch from 1."""
        return f"{'+' if self.direction > 0 else '-'}{PHASES[self.phase][0]}\n{self.branch + 1}"


def winding_picture(coils: Coils) -> Figure:
    """Both layers around the bore, the first branch of L1 from the neutral to the terminal; below
    it the first poles, unrolled and lettered.

    Parameters
    ----------
    coils : Coils

    Returns
    -------
    Figure
    """
    from matplotlib.figure import Figure

    height = RING_MM + STRIP_MM
    figure = Figure(figsize=(WIDTH_MM / 25.4, height / 25.4))
    share = STRIP_MM / height
    ring = figure.add_axes((0.02, share, 0.96, 1 - share))
    strip = figure.add_axes((0.08, 0.02, 0.9, share - 0.06))
    _ring(ring, coils)
    _strip(strip, coils)
    say(
        figure,
        "Full colour: first branch of each phase; the paler, the later the branch. Outer ring and"
        " upper row: upper layer. Numbers below the letters: branch.",
    )
    return figure


def _runs(coils: Coils, layer: str) -> Iterator[Run]:
    """Of the upper or the lower layer, from slot 1 on."""
    order = np.argsort(getattr(coils, layer))
    sign = 1 if layer == "upper" else -1
    kinds = zip(coils.phase[order], sign * coils.direction[order], coils.branch[order], strict=True)
    start = 0
    for kind, members in groupby(kinds):
        slots = len(list(members))
        yield Run(start, slots, *map(int, kind))
        start += slots


def _look(run: Run, branches: int) -> dict[str, Any]:
    """Colour of the phase, paler from branch to branch, and its hatch."""
    from matplotlib.colors import to_rgb

    _, colour, hatch = PHASES[run.phase]
    white = 0.25 + 0.45 * run.branch / max(branches - 1, 1)
    mixed = tuple(white + (1 - white) * part for part in to_rgb(colour))
    return {
        "facecolor": mixed,
        "edgecolor": "white",
        "hatch": hatch,
        "linewidth": 0.3,
    }


def _followed(coils: Coils) -> Index:
    """Numbers of the coils of the first branch of L1, from the neutral."""
    (mine,) = np.nonzero(coils.row == 0)
    return mine[np.argsort(coils.order[mine])]


# --- around the bore ----------------------------------------------------------


def _ring(ax: Axes, coils: Coils) -> None:
    from matplotlib.collections import LineCollection
    from matplotlib.patches import Wedge

    ax.set(xlim=(-1.6, 1.6), ylim=(-1.16, 1.16), aspect="equal")
    ax.set_axis_off()
    each = 360 / coils.slots
    for layer, (outer, inner) in (("upper", UPPER), ("lower", LOWER)):
        for run in _runs(coils, layer):
            begin = 90 - each * run.start
            end = begin - each * run.slots
            look = _look(run, coils.branches)
            thick = outer - inner
            ax.add_patch(Wedge((0, 0), outer, end, begin, width=thick, **look))
    every = np.arange(coils.slots)
    spokes = [_polar(coils, every - 0.5, radius) for radius in (LOWER[1], UPPER[0])]
    ax.add_collection(
        LineCollection(list(np.stack(spokes, axis=1)), colors="white", linewidths=0.25)
    )
    _branch(ax, coils)
    ax.text(
        0,
        0,
        _facts(coils),
        ha="center",
        va="center",
        fontsize=8.5,
        color=CHOSEN,
    )


def _polar(coils: Coils, slot: Any, radius: Any) -> Array:
    """Middle of a slot at a radius, slot 1 at the top and on clockwise, (..., 2)."""
    share = (np.asarray(slot) + 0.5) / coils.slots
    angle = 2 * np.pi * share
    across = radius * np.sin(angle)
    return np.stack([across, radius * np.cos(angle)], axis=-1)


def _branch(ax: Axes, coils: Coils) -> None:
    """The coils that are followed, as loops within the bore, and what joins them."""
    mine = _followed(coils)
    along = np.linspace(0, 1, 15)
    bow = (LOWER[1] - CHORD) * (1 - (2 * along - 1) ** 2)
    for coil in mine:
        first = coils.upper[coil]
        span = _ahead(coils, first, coils.lower[coil])
        curve = _polar(coils, first + along * span, LOWER[1] - bow)
        ax.plot(*curve.T, color=CHOSEN, linewidth=0.7)
    ends = list(zip(coils.first[mine], coils.second[mine], strict=True))
    for (_, left), (entered, _) in pairwise(ends):
        slots = left + along * _ahead(coils, left, entered)
        arc = _polar(coils, slots, LINK)
        ax.plot(*arc.T, color=CHOSEN, linewidth=0.5, linestyle=(0, (1.5, 1.2)))
    for slot, mark in ((ends[0][0], "o"), (ends[-1][1], "^")):
        ax.plot(*_polar(coils, slot, 0.8), mark, color=CHOSEN, markersize=6)


def _ahead(coils: Coils, start: int, end: int) -> int:
    """Slots from one to the other, the shorter way round."""
    half = coils.slots // 2
    return int((end - start + half) % coils.slots) - half


def _facts(coils: Coils) -> str:
    return (
        f"{coils.slots} slots, {2 * coils.pole_pairs} poles\n"
        f"{span_text(coils)}\n"
        f"branches a phase: {coils.branches}\n"
        f"coils a branch: {coils.in_series}\n\n"
        "black: branch 1 of L1,\nfrom its neutral (dot)\nto its terminal (triangle)"
    )


# --- unrolled -----------------------------------------------------------------


def _strip(ax: Axes, coils: Coils) -> None:
    from matplotlib.patches import Rectangle

    belt = coils.pole_pitch / 3
    shown = min(round(STRIP * belt), coils.slots)
    for row, layer in enumerate(("upper", "lower")):
        for run in _runs(coils, layer):
            end = min(run.start + run.slots, shown)
            if end <= run.start:
                continue
            at, width = (run.start, 1 - row), end - run.start
            ax.add_patch(Rectangle(at, width, 1, **_look(run, coils.branches)))
            if width >= LETTERED * belt:
                ax.text(
                    run.start + width / 2,
                    1.5 - row,
                    run.text,
                    ha="center",
                    va="center",
                    fontsize=8,
                    linespacing=1.1,
                    bbox={"facecolor": "white", "edgecolor": "none", "alpha": 0.75, "pad": 0.5},
                )
    along = np.linspace(0, 1, 25)
    for coil in _followed(coils):
        first, last = sorted((coils.upper[coil], coils.lower[coil]))
        if last < shown and last - first == coils.span[coil]:
            across = first + 0.5 + along * (last - first)
            curve = -0.9 * (1 - (2 * along - 1) ** 2)
            ax.plot(across, curve, color=CHOSEN, linewidth=0.8)
    ax.set(xlim=(0, shown), ylim=(-1.0, 2.02))
    ax.set_yticks([1.5, 0.5, -0.6], ["upper", "lower", "coils"])
    ax.tick_params(length=0)
    ax.set_title(f"slots 1 to {shown}, and the coils of branch 1 of L1", loc="left")
    ax.set_xticks([])
    ax.grid(visible=False)
    for side in ax.spines.values():
        side.set_visible(False)
