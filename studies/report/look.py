"""The one look of every figure: size of a page, colours that colour-blind readers tell apart, text
that stays text."""

from __future__ import annotations

import sys
import threading
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from io import BytesIO, StringIO
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal, cast

from studies.report.letters import with_symbols
from studies.report.svg_lines import aligned, numbered

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

# the two questions; darker where it is text
MISSED, FALSE, FALSE_TEXT = "#0173b2", "#d55e00", "#b35e00"
CHOSEN, EXISTING, RUNNER_UP, FAINT = "#222222", "#7b3294", "#6b6b6b", "#b9b9b9"
# in the order of the study's schemes
SCHEMES = ("#029e73", "#cc78bc", "#ca9161", "#56b4e9", "#332288", "#882255")
READABLE = 4.5  # least contrast of a text with its ground
PALE = 0.45  # of the colour in its pale form
WIDTH_MM, HEIGHT_MM = 160.0, 105.0
PNG_DPI, SVG_DPI = 200, 72  # the second is the library's own
SLOW = ("scipy.stats", "scipy.cluster")
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
    "path.simplify_threshold": 0.25,  # pixels: curves of a thousand points stay small files
    "text.parse_math": False,
    "axes.formatter.use_mathtext": False,
}


@contextmanager
def look() -> Iterator[None]:
    """Draw and write figures within; what is set elsewhere in the process stays as it is."""
    import matplotlib as mpl

    sns = loaded()
    with mpl.rc_context(mpl.rcParamsDefault | sns.axes_style("whitegrid") | _RC):
        yield


def loaded() -> Any:
    """The libraries that draw: seaborn, without parts of scipy that it takes where they are there,
    for densities and trees. Nothing here draws one, and their import takes longer than a figure."""
    finder = _Without(threading.get_ident())
    sys.meta_path.insert(0, finder)
    try:
        import matplotlib.backends.backend_agg
        import matplotlib.backends.backend_svg  # noqa: F401
        import seaborn as sns
    finally:
        sys.meta_path.remove(finder)
    return sns


class _Without:
    """Finds no module of `SLOW` for one thread; the others import what they like."""

    def __init__(self, thread: int) -> None:
        self.thread = thread

    def find_spec(self, name: str, path: object, target: object = None) -> None:
        """As Python asks for it."""
        if name in SLOW and threading.get_ident() == self.thread:
            raise ModuleNotFoundError(name)


def blank(height_mm: float = HEIGHT_MM) -> tuple[Figure, Axes]:
    """An empty figure as wide as a page's text."""
    figure = _sheet(height_mm)
    return figure, figure.subplots()


def on_blank(height_mm: float, plot: Callable[..., object], *parts: Any, **named: Any) -> Figure:
    """A figure of one panel, on which `plot` draws its parts."""
    figure, ax = blank(height_mm)
    plot(*parts, ax=ax, **named)
    return figure


def stacked(panels: int, height_mm: float) -> tuple[Figure, list[Axes]]:
    """The same with panels one above the other with one horizontal axis."""
    figure = _sheet(height_mm)
    return figure, list(figure.subplots(panels, sharex=True, squeeze=False)[:, 0])


def side_by_side(count: int, height_mm: float, *, shared: bool = True) -> tuple[Figure, list[Axes]]:
    """The same with panels side by side, with one vertical axis where it is `shared`."""
    if shared:
        return panels(count, height_mm, count)
    figure = _sheet(height_mm)
    return figure, list(figure.subplots(1, count, squeeze=False)[0])


def panels(count: int, height_mm: float, abreast: int) -> tuple[Figure, list[Axes]]:
    """So many panels, at most `abreast` side by side, with one vertical axis, those below each
    other with one horizontal axis; the height is that of a row. (seaborn's own grids are made
    through pyplot, which keeps every figure.)"""
    columns = min(count, abreast)
    lines = -(-count // columns)
    figure = _sheet(lines * height_mm)
    shared: Any = "col" if lines > 1 else False
    axes = list(figure.subplots(lines, columns, sharex=shared, sharey=True, squeeze=False).flat)
    for ax in axes[count:]:
        ax.remove()
    return figure, axes[:count]


def grid(rows: int, columns: int, height_mm: float) -> tuple[Figure, list[list[Axes]]]:
    """The same with rows of panels: those of a column have one horizontal axis, those of a row one
    vertical axis."""
    figure = _sheet(height_mm)
    axes = figure.subplots(rows, columns, sharex="col", sharey="row", squeeze=False)
    return figure, [list(row) for row in axes]


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


def place_axes(figure: Figure) -> None:
    """Find the places of axes; that takes a part of the time of drawing all."""
    if (engine := figure.get_layout_engine()) is not None:
        engine.execute(figure)


def figure_of(ax: Axes) -> Figure:
    """The figure that the axes stand in, which is no part of another."""
    return cast("Figure", ax.figure)


@dataclass(frozen=True)
class Printed:
    """A figure as what its files hold; words: what its caption says of it alone."""

    svg: str
    png: bytes | None
    words: str

    def write(self, folder: Path, stem: str) -> tuple[Path, Path]:
        """<stem>.svg, and <stem>.png if there is one."""
        paths = folder / f"{stem}.svg", folder / f"{stem}.png"
        paths[0].write_text(self.svg, encoding="utf-8", newline="\n")
        if self.png is not None:
            paths[1].write_bytes(self.png)
        return paths


def printed(figure: Figure, title: str, *, png: bool = True) -> Printed:
    """An SVG, of the same bytes every time, and a PNG unless it is not wanted, units with their
    signs; `title` is what a screen reader says."""
    _in_symbols(figure)
    svg, dots = StringIO(), BytesIO()
    with look(), warnings.catch_warnings():
        warnings.filterwarnings("ignore", NO_LETTER, UserWarning)
        _lay_out(figure)
        figure.savefig(svg, format="svg", metadata={"Date": None, "Title": title})
        if png:
            figure.savefig(dots, format="png", dpi=PNG_DPI, metadata={"Title": title})
    return Printed(
        aligned(numbered(svg.getvalue())), dots.getvalue() if png else None, said(figure)
    )


def write_figure(
    figure: Figure, folder: Path, stem: str, title: str, *, png: bool = True
) -> tuple[Path, Path]:
    """<stem>.svg and <stem>.png of a figure, as `printed` has them."""
    return printed(figure, title, png=png).write(folder, stem)


def _lay_out(figure: Figure) -> None:
    """Find the places of axes once, for both files: a figure that still has a layout engine is
    drawn twice for each."""
    from matplotlib.backends.backend_svg import FigureCanvasSVG

    FigureCanvasSVG(figure)  # measures texts as the SVG has them
    own_dpi, figure.dpi = figure.dpi, SVG_DPI
    place_axes(figure)
    figure.dpi = own_dpi
    figure.set_layout_engine(None)


def say(figure: Figure, words: str) -> None:
    """What the caption in a report says of this figure alone."""
    figure.set_label(words)


def said(figure: Figure) -> str:
    """The same; empty where there is nothing."""
    return str(figure.get_label())


def _in_symbols(figure: Figure) -> None:
    """Units with their signs, wherever a text stands."""
    from matplotlib.text import Text

    for text in figure.findobj(Text):
        text.set_text(with_symbols(text.get_text()))
    for axis in (axis for ax in figure.axes for axis in (ax.xaxis, ax.yaxis)):
        texts = [label.get_text() for label in axis.get_ticklabels()]
        signs = [with_symbols(text) for text in texts]
        if signs != texts:  # words in the place of numbers
            axis.set_ticks(axis.get_ticklocs(), signs)


def backing() -> dict[str, Any]:
    """A white ground for a text that stands on lines, as `bbox`. A stroke around the letters would
    turn them into outlines, and the text of an SVG must stay text."""
    return {"facecolor": "white", "edgecolor": "none", "alpha": 0.8, "pad": 0.8}


def ink(colour: str) -> str:
    """The colour as text on white may have it: darker, until it can be read (contrast 4.5)."""
    from matplotlib.colors import to_hex, to_rgb

    red, green, blue = to_rgb(colour)
    while _contrast((red, green, blue)) < READABLE:
        red, green, blue = 0.95 * red, 0.95 * green, 0.95 * blue
    return str(to_hex((red, green, blue)))


def _contrast(rgb: tuple[float, ...]) -> float:
    """Of a text on white, by relative luminance (W3C, Web Content Accessibility Guidelines 2.1)."""
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in rgb]
    luminance = sum(k * part for k, part in zip((0.2126, 0.7152, 0.0722), linear, strict=True))
    return 1.05 / (luminance + 0.05)


def pale(colour: str) -> str:
    """The colour mixed with white: of a second mark beside the first."""
    from matplotlib.colors import to_hex, to_rgb

    red, green, blue = (1 - PALE * (1 - part) for part in to_rgb(colour))
    return str(to_hex((red, green, blue)))
