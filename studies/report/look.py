"""The one look of every figure: size of a page, colours that colour-blind readers tell apart, text
that stays text."""

from __future__ import annotations

import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

# the two questions; darker where it is text
MISSED, FALSE, FALSE_TEXT = "#0173b2", "#d55e00", "#b35e00"
CHOSEN, EXISTING, RUNNER_UP, FAINT = "#222222", "#7b3294", "#6b6b6b", "#b9b9b9"
# in the order of the study's schemes
SCHEMES = ("#029e73", "#cc78bc", "#ca9161", "#56b4e9", "#332288", "#882255")
WIDTH_MM = 160.0
PNG_DPI = 200
# What matplotlib says of a letter that no font has: a box in the PNG, text in the SVG.
NO_LETTER = "Glyph .* missing from"

_RC: dict[str, Any] = {
    "svg.fonttype": "none",
    "svg.hashsalt": "statorodds",
    "font.size": 9.0,
    "font.family": "sans-serif",
    "axes.labelsize": 9.0,
    "axes.titlesize": 9.0,
    "xtick.labelsize": 8.5,
    "ytick.labelsize": 8.5,
    "legend.fontsize": 8.5,
    "legend.title_fontsize": 8.5,
    "axes.linewidth": 0.8,
    "grid.linewidth": 0.5,
    "grid.color": "#dddddd",
    "axes.edgecolor": "#555555",
    "lines.linewidth": 1.6,
    "text.parse_math": False,
    "axes.formatter.use_mathtext": False,
}


@contextmanager
def look() -> Iterator[None]:
    """Draw and write figures within; what is set elsewhere in the process stays as it is."""
    import matplotlib as mpl
    import seaborn as sns

    with mpl.rc_context(mpl.rcParamsDefault | sns.axes_style("whitegrid") | _RC):
        yield


def blank(height_mm: float = 105.0) -> tuple[Figure, Axes]:
    """An empty figure as wide as a page's text."""
    figure = _sheet(height_mm)
    return figure, figure.subplots()


def stacked(panels: int, height_mm: float) -> tuple[Figure, list[Axes]]:
    """The same with panels one above the other with one horizontal axis."""
    figure = _sheet(height_mm)
    return figure, list(figure.subplots(panels, sharex=True))


def side_by_side(panels: int, height_mm: float) -> tuple[Figure, list[Axes]]:
    """The same with panels side by side with one vertical axis."""
    figure = _sheet(height_mm)
    return figure, list(figure.subplots(1, panels, sharey=True, squeeze=False)[0])


def _sheet(height_mm: float) -> Figure:
    """Needs no display and leaves no global state."""
    from matplotlib.figure import Figure

    return Figure(figsize=(WIDTH_MM / 25.4, height_mm / 25.4), layout="constrained")


def decades(ax: Axes, which: Literal["x", "y"], low: float, high: float) -> None:
    """A logarithmic axis with plain numbers at its decades."""
    from matplotlib.ticker import LogLocator, NullFormatter

    axis = ax.xaxis if which == "x" else ax.yaxis
    ax.set(**{f"{which}scale": "log", f"{which}lim": (low, high)})
    axis.set_major_locator(LogLocator())
    axis.set_major_formatter(lambda value, _: f"{value:g}")
    axis.set_minor_formatter(NullFormatter())


def write_figure(figure: Figure, folder: Path, stem: str, title: str) -> tuple[Path, Path]:
    """<stem>.svg, of the same bytes every time, and <stem>.png; `title` is what a screen reader
    says."""
    svg, png = folder / f"{stem}.svg", folder / f"{stem}.png"
    with look(), warnings.catch_warnings():
        warnings.filterwarnings("ignore", NO_LETTER, UserWarning)
        figure.savefig(svg, metadata={"Date": None, "Title": title})
        figure.savefig(png, dpi=PNG_DPI, metadata={"Title": title})
    return svg, png


def backing() -> dict[str, Any]:
    """A white ground for a text that stands on lines, as `bbox`. A stroke around the letters would
    turn them into outlines, and the text of an SVG must stay text."""
    return {"facecolor": "white", "edgecolor": "none", "alpha": 0.8, "pad": 0.8}
