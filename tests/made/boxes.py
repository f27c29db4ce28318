"""Where the texts of a figure stand, as the picture has them: none over another, none beyond the
page, none over a mark."""

from __future__ import annotations

from itertools import combinations
from typing import TYPE_CHECKING, Any

import numpy as np

from studies.report.look import look

if TYPE_CHECKING:
    from matplotlib.artist import Artist
    from matplotlib.figure import Figure
    from matplotlib.text import Text
    from matplotlib.transforms import Bbox

    Boxes = list[tuple[Text, Bbox]]

SLACK = 1.0  # pixels by which two boxes may meet: letters do not fill theirs
EDGE = 0.5  # pixels beyond the page


def boxes(figure: Figure) -> Boxes:
    """Every text that is drawn and its box [pixels]: titles, labels, numbers of axes, legends."""
    from matplotlib.text import Text

    renderer = _drawn(figure)
    hidden = _hidden(figure)
    shown = [
        (text, text.get_window_extent(renderer))
        for text in figure.findobj(Text)
        if text.get_visible() and text.get_text().strip() and text not in hidden
    ]
    return [(text, box) for text, box in shown if box.width > 0]


def overlaps(figure: Figure, shown: Boxes | None = None) -> list[tuple[str, str]]:
    """The pairs of texts that lie on each other; `shown`: the boxes, where they are known."""
    return [
        (one.get_text(), other.get_text())
        for (one, box), (other, over) in combinations(shown or boxes(figure), 2)
        if box.padded(-SLACK).overlaps(over.padded(-SLACK))
    ]


def cut(figure: Figure, shown: Boxes | None = None) -> list[str]:
    """The texts that the page's edge cuts."""
    page = figure.bbox.padded(EDGE)
    return [
        text.get_text()
        for text, box in shown or boxes(figure)
        if not (page.contains(*box.min) and page.contains(*box.max))
    ]


def on_marks(figure: Figure, shown: Boxes | None = None) -> list[str]:
    """The texts within the axes that cover the middle of a mark."""
    return [
        text.get_text()
        for text, box in shown or boxes(figure)
        if text.axes is not None and text in text.axes.texts and _covers(box, _marks(text.axes))
    ]


def assert_text_is_readable(figure: Figure, shown: Boxes | None = None) -> None:
    """No text over another, none beyond the page, and there is some."""
    shown = boxes(figure) if shown is None else shown
    assert shown
    faults = overlaps(figure, shown), cut(figure, shown)
    assert faults == ([], []), faults


def _drawn(figure: Figure) -> Any:
    """The renderer of the picture, once all is laid out."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg

    with look():
        canvas = FigureCanvasAgg(figure)
        canvas.draw()
    return canvas.get_renderer()


def _hidden(figure: Figure) -> set[Artist]:
    """Texts that are not drawn although they say that they are visible: within what is hidden, and
    numbers of an axis beyond its limits, which matplotlib keeps."""
    from matplotlib.text import Text

    hidden: set[Artist] = set()
    for part in figure.findobj(lambda artist: not artist.get_visible()):
        hidden |= set(part.findobj(Text))
    for ax in figure.axes:
        if not ax.axison:
            hidden |= {*ax.xaxis.findobj(Text), *ax.yaxis.findobj(Text)}
        for axis in (ax.xaxis, ax.yaxis):
            scale = axis.get_transform().transform
            low, high = sorted(scale(np.array(axis.get_view_interval())))
            slack = 1e-9 * (high - low)
            for tick in (*axis.get_major_ticks(), *axis.get_minor_ticks()):
                if not low - slack <= scale(np.array([tick.get_loc()]))[0] <= high + slack:
                    hidden |= {tick.label1, tick.label2}
    return hidden


def _marks(ax: Any) -> np.ndarray[Any, np.dtype[np.float64]]:
    """Where the marks of lines and scatters stand, (n, 2). [pixels]"""
    from matplotlib.collections import PathCollection

    found = [np.empty((0, 2))]
    for line in ax.lines:
        if line.get_visible() and line.get_marker() not in ("None", "none", None, "", " "):
            found.append(line.get_transform().transform(line.get_xydata()))
    for part in ax.collections:
        if part.get_visible() and isinstance(part, PathCollection):
            found.append(part.get_offset_transform().transform(np.asarray(part.get_offsets())))
    places = np.concatenate(found)
    return places[np.isfinite(places).all(axis=1)]


def _covers(box: Bbox, places: np.ndarray[Any, np.dtype[np.float64]]) -> bool:
    within = (places > np.add(box.min, SLACK)) & (places < np.subtract(box.max, SLACK))
    return bool(within.all(axis=1).any())
