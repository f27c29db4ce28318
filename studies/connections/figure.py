"""Draws connection diagrams. Draw within `look.look()`."""

from __future__ import annotations

from collections.abc import Sequence
from io import StringIO
from typing import TYPE_CHECKING, Any

from montecarlo.study.axes import Setting
from montecarlo.study.description import Study
from studies.connections.facts import connections
from studies.connections.layout import layout
from studies.connections.shapes import Box, Circle, Drawing, Line, Role, Shape, Text
from studies.connections.text import TITLE
from studies.report.blocks import Picture
from studies.report.look import CHOSEN, FALSE_TEXT, MISSED, look
from studies.report.words import scheme_name

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

COLOURS = {
    Role.PRIMARY: CHOSEN,
    Role.SECONDARY: MISSED,
    Role.SUSPECT: FALSE_TEXT,
    Role.NOTE: CHOSEN,
}
WEIGHTS = {Role.PRIMARY: 1.5, Role.SECONDARY: 0.8, Role.SUSPECT: 1.6, Role.NOTE: 0.8}
BETWEEN = 6.0  # mm from one diagram to the next


def drawings(study: Study, setting: Setting | None = None) -> list[Drawing]:
    """A diagram for each scheme of the study, or for that of one setting."""
    kinds = study.scheme.kinds if setting is None else (setting.scheme,)
    return [
        layout(connections(study, kind, TITLE.format(scheme_name(kind)), setting)) for kind in kinds
    ]


def figure_of(sheets: Sequence[Drawing]) -> Figure:
    """Diagrams one below the other, a millimetre of theirs a millimetre of the figure's."""
    from matplotlib.figure import Figure

    width = max(sheet.width for sheet in sheets)
    height = sum(sheet.height for sheet in sheets) + BETWEEN * (len(sheets) - 1)
    figure = Figure(figsize=(width / 25.4, height / 25.4))
    ax = figure.add_axes((0.0, 0.0, 1.0, 1.0))
    ax.set(xlim=(0.0, width), ylim=(height, 0.0))
    ax.set_axis_off()
    down = 0.0
    for sheet in sheets:
        for shape in sheet.shapes:
            _draw(ax, shape, down)
        down += sheet.height + BETWEEN
    return figure


def _draw(ax: Axes, shape: Shape, down: float) -> None:
    from matplotlib import patches

    colour, weight = COLOURS[shape.role], WEIGHTS[shape.role]
    whole: dict[str, Any] = {"linewidth": weight, "clip_on": False}
    style = whole | {"edgecolor": colour, "zorder": 3.0}
    if isinstance(shape, Line):
        x, y = zip(*shape.points, strict=True)
        ax.plot(x, [at + down for at in y], color=colour, zorder=_layer(shape), **whole)
    elif isinstance(shape, Box):
        corner = shape.middle[0] - shape.width / 2, shape.middle[1] - shape.height / 2 + down
        face = colour if shape.filled else "white"
        ax.add_patch(patches.Rectangle(corner, shape.width, shape.height, facecolor=face, **style))
    elif isinstance(shape, Circle):
        middle = shape.middle[0], shape.middle[1] + down
        face = colour if shape.filled else "none"
        ax.add_patch(patches.Circle(middle, shape.radius, facecolor=face, **style))
    elif isinstance(shape, Text):
        ax.text(
            shape.place[0],
            shape.place[1] + down,
            shape.text,
            fontsize=shape.points,
            ha=shape.across,
            va=shape.up,
            color=colour,
            fontweight="bold" if shape.bold else "normal",
            zorder=4.0,
        )


def _layer(line: Line) -> float:
    """Suspect leads lie above others."""
    return 2.5 if line.role is Role.SUSPECT else 2.0


def pictures(study: Study, setting: Setting | None = None) -> list[Picture]:
    """The diagrams as pictures of a page, one a scheme."""
    found = []
    kinds = study.scheme.kinds if setting is None else (setting.scheme,)
    for kind, sheet in zip(kinds, drawings(study, setting), strict=True):
        title = TITLE.format(scheme_name(kind))
        found.append(Picture(f"connections-{kind}", svg_of([sheet]), title, f"{title}.", wide=True))
    return found


def svg_of(sheets: Sequence[Drawing]) -> str:
    """Diagrams as the text of an SVG, the same every time."""
    drawn = StringIO()
    with look():
        figure_of(sheets).savefig(drawn, format="svg", metadata={"Date": None})
    return drawn.getvalue()
