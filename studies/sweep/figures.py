"""Figures: a tidy frame in, axes out; nothing is estimated here. Draw within `look.look()`.

Frames are those of a result: `candidates`, `coverage`, and `blind_zone_frame` of the candidates.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from studies.report.labels import packed, place_labels, spread, text_size
from studies.report.look import (
    CHOSEN,
    FAINT,
    FALSE,
    FALSE_TEXT,
    MISSED,
    PRESENT,
    RUNNER_UP,
    SCHEMES,
    backing,
)
from studies.report.numbers import bare, percent
from studies.report.words import scheme_name

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes

__all__ = ["blind_zone", "blind_zone_frame", "detection", "front", "scheme_styles", "tradeoff"]

DASHES: tuple[Any, ...] = ("-", (0, (5, 2)), (0, (1.5, 1.2)), (0, (6, 1.5, 1.5, 1.5)))
SHAPES = "osD^vPX*"  # one for each stabilising resistance, then again
LABEL_POINTS = 8.5
MOST_DECADES = 7  # with numbers that do not meet on the axis
MOST_VECTORS = 2000  # marks in an SVG; above, they are drawn as an image
Style = tuple[str, Any, str]  # colour, dashes, mark
ROLES: dict[str, Style] = {
    "chosen": (CHOSEN, "-", "o"),
    "present": (PRESENT, (0, (5, 2)), "s"),
    "runner-up": (RUNNER_UP, (0, (1.5, 1.5)), "^"),
    "nearest to the limit": (CHOSEN, (0, (6, 2, 1, 2)), "D"),
}


# --- missed against false -----------------------------------------------------


def front(candidates: pd.DataFrame) -> np.ndarray[Any, np.dtype[np.bool_]]:
    """Usable candidates that no other beats in both p_missed and p_false; of equal ones the first.
    (C,)"""
    missed, false = candidates["p_missed"].to_numpy(), candidates["p_false"].to_numpy()
    best, on = math.inf, np.zeros(len(candidates), bool)
    for i in np.lexsort((np.arange(len(missed)), missed, false)):
        if candidates["usable"].iloc[i] and missed[i] < best:
            best, on[i] = missed[i], True
    return on


def tradeoff(
    candidates: pd.DataFrame, ax: Axes, *, limit: float | None = None, limit_text: str = ""
) -> Axes:
    """p_missed against p_false of every candidate, in per cent.

    Shape: stabilising resistance, or none; colour and filling: scheme. Intervals on the front, the
    chosen and the present candidate only. Where no false trip was seen the mark stands in a column
    of its own, its bar up to the limit that the samples show. `limit`: the policy's, on p_false."""
    span = _Span.of(candidates, limit)
    x = 100 * candidates["p_false"].where(candidates["p_false"] > 0, span.none)
    shown = candidates.assign(x=x, y=100 * candidates["p_missed"], front=front(candidates))
    _marks(shown, ax)
    edge = shown[shown["front"]].sort_values("x")
    ax.step(edge["x"], edge["y"], where="post", color=CHOSEN, linewidth=0.9, alpha=0.7, zorder=2.5)
    _bars(shown[shown["front"] | shown["chosen"] | shown["present"]], 100 * span.left, ax)
    top = 100 * float(shown["p_missed_high"].max())
    for role, marker in (("chosen", "o"), ("present", "s")):
        for _, row in shown[shown[role]].iterrows():
            high = role == "present" and (
                row["chosen"] or row["y"] < 0.92 * top
            )  # else it leaves the axes
            _ring(row, role, marker, not high, ax)
    _tradeoff_axes(ax, span, top)
    if limit is not None:
        _limit_line(ax, limit, limit_text)
    _tradeoff_legend(shown, ax)
    return ax


def _limit_line(ax: Axes, limit: float, text: str) -> None:
    ax.axvline(100 * limit, color=FALSE, linestyle=(0, (6, 3)), linewidth=1.2, zorder=1.5)
    ax.annotate(
        text or f"limit {percent(limit)}",
        (100 * limit, 1.0),
        xycoords=("data", "axes fraction"),
        xytext=(0, 3),
        textcoords="offset points",
        ha="center",
        va="bottom",
        color=FALSE_TEXT,
        fontsize=LABEL_POINTS,
    )


@dataclass(frozen=True)
class _Span:
    """The logarithmic axis from the decade `start` to `right`, and left of it the column "none
    seen" from `left`."""

    left: float
    none: float
    start: float
    right: float

    @classmethod
    def of(cls, candidates: pd.DataFrame, limit: float | None) -> _Span:
        false = candidates["p_false"]
        positive = [*false[false > 0], *([limit] if limit else [])] or [1e-3]
        start = 10.0 ** math.floor(math.log10(min(positive)) - 1e-9)
        right = min(1.0, max(float(candidates["p_false_high"].max()), *positive, 10 * start)) * 1.3
        if not (false == 0).any():
            return cls(start, start, start, right)
        column = (right / start) ** 0.30  # wide enough for its own tick label
        return cls(start / column, start / math.sqrt(column), start, right)


def _marks(shown: pd.DataFrame, ax: Axes) -> None:
    few = len(shown) <= 40
    style: dict[str, Any] = {
        "s": 26 if few else 15,
        "linewidth": 0.8,
        "rasterized": len(shown) > MOST_VECTORS,
    }
    off = shown[~shown["usable"]]
    ax.scatter(off["x"], off["y"], marker="x", color=FAINT, zorder=1.8, **style)
    kept = shown[shown["usable"]]
    for (scheme, ohm), group in kept.groupby(
        ["scheme", "stabilising_resistance_ohm"], sort=False, dropna=False
    ):
        colour, filled = _scheme_style(shown, str(scheme))
        for on, alpha in ((False, 0.9 if few else 0.55), (True, 1.0)):
            part = group[group["front"] == on]
            ax.scatter(
                part["x"],
                part["y"],
                marker=_shape(shown, float(ohm)),
                alpha=alpha,
                zorder=3 if on else 2,
                facecolors=colour if filled else "white",
                edgecolors="black" if on else colour,
                **style,
            )


def _scheme_style(shown: pd.DataFrame, scheme: str) -> tuple[str, bool]:
    place = list(dict.fromkeys(shown["scheme"])).index(scheme)
    again, colour = divmod(place, len(SCHEMES))
    return (
        SCHEMES[colour],
        (place + again) % 2 == 0,
    )  # a colour that comes again is filled the other way


def _ohms(shown: pd.DataFrame) -> list[float]:
    """Stabilising resistances of the candidates; NaN, where a scheme has none, comes last."""
    ohms = shown["stabilising_resistance_ohm"]
    return sorted(set(ohms.dropna())) + ([math.nan] if ohms.isna().any() else [])


def _shape(shown: pd.DataFrame, ohm: float) -> str:
    ohms = _ohms(shown)
    return SHAPES[(len(ohms) - 1 if math.isnan(ohm) else ohms.index(ohm)) % len(SHAPES)]


def _bars(rows: pd.DataFrame, left: float, ax: Axes) -> None:
    """Intervals as thin crosses; p_false from 0 begins at the left edge, none seen ends in a
    cap."""
    style: dict[str, Any] = {"color": "#444444", "linewidth": 0.7, "zorder": 2.4}
    ax.vlines(rows["x"], 100 * rows["p_missed_low"], 100 * rows["p_missed_high"], **style)
    seen = rows["p_false"] > 0
    low = (100 * rows["p_false_low"]).clip(lower=left).where(seen, rows["x"])
    ax.hlines(rows["y"], low, 100 * rows["p_false_high"], **style)
    none = rows[~seen]
    ax.scatter(
        100 * none["p_false_high"],
        none["y"],
        marker="|",
        s=18,
        linewidth=0.9,
        color="#444444",
        zorder=2.4,
    )


def _ring(row: Any, role: str, marker: str, low: bool, ax: Axes) -> None:
    colour = ROLES[role][0]
    ax.scatter(
        [row["x"]],
        [row["y"]],
        marker=marker,
        s=95,
        facecolors="none",
        edgecolors=colour,
        linewidth=1.5,
        zorder=4,
    )
    ax.annotate(
        role,
        (row["x"], row["y"]),
        xytext=(0, -8 if low else 8),
        textcoords="offset points",
        ha="center",
        va="top" if low else "bottom",
        color=colour,
        fontweight="bold",
        bbox=backing(),
        zorder=5,
    )


def _tradeoff_axes(ax: Axes, span: _Span, high: float) -> None:
    from matplotlib.ticker import FixedFormatter, FixedLocator

    ax.set_xscale("log")
    ax.set_xlim(100 * span.left, 100 * span.right)
    percent_ticks(ax, 100 * span.start)
    if span.left < span.start:
        ax.axvspan(100 * span.left, 100 * span.start, color="#f3f3f3", zorder=0, linewidth=0)
        ticks, labels = list(ax.get_xticks()), [text.get_text() for text in ax.get_xticklabels()]
        ax.xaxis.set_major_locator(FixedLocator([100 * span.none, *ticks]))
        ax.xaxis.set_major_formatter(FixedFormatter(["none\nseen", *labels]))
    high = high or 1.0
    ax.set_ylim(-0.10 * high, 1.06 * high)
    ax.yaxis.set_major_locator(FixedLocator([t for t in ax.get_yticks() if 0 <= t <= 1.06 * high]))
    ax.set_xlabel("false trips, % of the external events", color=FALSE_TEXT)
    ax.set_ylabel("missed faults, % of those within reach", color=MISSED)


def _tradeoff_legend(shown: pd.DataFrame, ax: Axes) -> None:
    from matplotlib.lines import Line2D

    def mark(label: str, marker: str, colour: str, face: str) -> Line2D:
        return Line2D(
            [],
            [],
            linestyle="",
            marker=marker,
            markersize=5,
            color=colour,
            markerfacecolor=face,
            label=label,
        )

    def heading(text: str) -> Line2D:
        return Line2D([], [], linestyle="", label=text)

    handles = [heading("scheme")]
    for scheme in dict.fromkeys(shown["scheme"]):
        colour, filled = _scheme_style(shown, scheme)
        handles.append(
            mark(
                scheme_name(scheme).replace(", ", ",\n"), "o", colour, colour if filled else "white"
            )
        )
    if (ohms := _ohms(shown)) and not all(map(math.isnan, ohms)):
        handles.append(heading("stabilising resistance"))
        handles += [
            mark(
                "none in the scheme" if math.isnan(ohm) else f"{ohm:g} ohm",
                _shape(shown, ohm),
                "#444444",
                "#444444",
            )
            for ohm in ohms
        ]
    handles.append(heading("also"))
    handles.append(Line2D([], [], color=CHOSEN, linewidth=0.9, label="front, with intervals"))
    if not shown["usable"].all():
        handles.append(mark("not usable", "x", FAINT, FAINT))
    legend = ax.figure.legend(
        handles=handles,
        loc="outside right upper",
        frameon=False,
        handlelength=1.4,
        labelspacing=0.45,
        borderaxespad=0.0,
    )
    for handle, text in zip(handles, legend.get_texts(), strict=True):
        if handle.get_marker() in ("", "None") and handle.get_linestyle() in ("", "None"):
            text.set_fontweight("bold")
            text.set_x(-20)


# --- detection along the winding ----------------------------------------------


def detection(
    coverage: pd.DataFrame,
    labels: Mapping[str, tuple[int, str]],
    ax: Axes,
    *,
    styles: Mapping[str, Style] | None = None,
) -> Axes:
    """Probability that an earth fault at x is detected, for a few candidates, with bands and
    labelled curves.

    labels: "chosen", "present", "runner-up" or a name of your own -> candidate number and what it
    says; styles: colour, dashes and mark of names of your own."""
    import seaborn as sns

    fine, known = np.linspace(0.0, 100.0, 401), {**ROLES, **(styles or {})}
    curves = []
    for k, (role, (number, _)) in enumerate(labels.items()):
        rows = coverage[coverage["candidate"] == number]
        place, p = 100 * rows["x"], 100 * rows["p_detected"]
        colour, dashes, marker = _role_style(known, role, k)
        ax.fill_between(
            place, 100 * rows["low"], 100 * rows["high"], color=colour, alpha=0.18, linewidth=0
        )
        sns.lineplot(
            x=place,
            y=p,
            ax=ax,
            color=colour,
            linestyle=dashes,
            marker=marker,
            markevery=(k, 5),
            markersize=4.5,
            markeredgewidth=0,
            errorbar=None,
            legend=False,
            clip_on=False,
        )
        curves.append(np.interp(fine, place, p))
    ax.set_xlim(0, 100)
    ax.set_ylim(0, 100)
    ax.set_xlabel("place of the earth fault, % of the winding from the neutral")
    ax.set_ylabel("faults detected, % of those at this place")
    texts = [f"{role}, no. {number}\n{packed(text)}" for role, (number, text) in labels.items()]
    sizes = [text_size(text, LABEL_POINTS, _axes_points(ax)) for text in texts]
    for k, (role, text, place_) in enumerate(
        zip(labels, texts, place_labels(fine, curves, sizes), strict=True)
    ):
        colour = _role_style(known, role, k)[0]
        ax.plot(*zip(*place_.line, strict=True), color=colour, linewidth=0.7)
        ax.text(
            place_.left,
            place_.low,
            text,
            color=colour,
            va="bottom",
            fontsize=LABEL_POINTS,
            bbox=backing(),
        )
    return ax


def _role_style(known: Mapping[str, Style], role: str, place: int) -> Style:
    return known.get(role) or [*known.values()][place % len(known)]


def scheme_styles(schemes: Sequence[str]) -> dict[str, Style]:
    """Colour, dashes and mark of each scheme's curve, in the order of the study's schemes."""
    return {
        scheme: (SCHEMES[k % len(SCHEMES)], DASHES[k % len(DASHES)], SHAPES[k % len(SHAPES)])
        for k, scheme in enumerate(schemes)
    }


def _axes_points(ax: Axes) -> tuple[float, float]:
    """About how large the axes will be once their own labels have taken their room."""
    width, height = ax.figure.get_size_inches()  # type: ignore[union-attr]
    return 72 * width - 50, 72 * height - 45


# --- blind zone per scheme at equal p_false -----------------------------------


def blind_zone_frame(candidates: pd.DataFrame) -> pd.DataFrame:
    """The smallest blind zone that each scheme reaches under a limit on p_false, as steps.

    One row where a scheme's best usable candidate changes: scheme, p_false_limit (the least limit
    that admits it, its own upper bound), blind (1 - covered_median, of the winding), candidate. The
    last row of each scheme repeats its best at the largest limit of all."""
    import pandas as pd

    rows: list[dict[str, Any]] = []
    usable = candidates[candidates["usable"] & candidates["covered_median"].notna()]
    last = float(usable["p_false_bound"].max()) if len(usable) else math.nan
    for scheme, group in usable.groupby("scheme", sort=False):
        best = -math.inf
        ordered = group.sort_values(
            ["p_false_bound", "covered_median"], ascending=[True, False], kind="stable"
        )
        for limit, covered, number in ordered[
            ["p_false_bound", "covered_median", "candidate"]
        ].itertuples(index=False):
            if covered > best:
                best = covered
                rows.append(
                    {
                        "scheme": scheme,
                        "p_false_limit": limit,
                        "blind": 1 - covered,
                        "candidate": number,
                    }
                )
        rows.append(rows[-1] | {"p_false_limit": last})
    return pd.DataFrame(rows, columns=["scheme", "p_false_limit", "blind", "candidate"])


def blind_zone(
    frame: pd.DataFrame, ax: Axes, *, limit: float | None = None, limit_text: str = ""
) -> Axes:
    """`blind_zone_frame` as steps, one line a scheme, labelled at its right end; `limit`: the
    policy's."""
    import seaborn as sns

    ends, at_limit = [], []
    for k, (scheme, rows) in enumerate(frame.groupby("scheme", sort=False)):
        colour, dashes = _scheme_style(frame, str(scheme))[0], DASHES[k % len(DASHES)]
        shown = rows.assign(x=100 * rows["p_false_limit"], y=100 * rows["blind"])
        sns.lineplot(
            shown,
            x="x",
            y="y",
            ax=ax,
            drawstyle="steps-post",
            color=colour,
            linestyle=dashes,
            marker=SHAPES[k % len(SHAPES)],
            markersize=4.5,
            markeredgewidth=0,
            errorbar=None,
            legend=False,
            estimator=None,
        )
        ends.append(
            (float(shown["y"].iloc[-1]), scheme_name(str(scheme)).replace(", ", ",\n"), colour)
        )
        if limit is not None and (under := shown[shown["p_false_limit"] <= limit]["y"]).size:
            at_limit.append((float(under.iloc[-1]), percent(under.iloc[-1] / 100), colour))
    ax.set_xscale("log")
    if limit is not None:  # in sight, however far it lies from every candidate
        low, high = ax.get_xlim()
        ax.set_xlim(min(low, 90 * limit), max(high, 110 * limit))
    percent_ticks(ax, ax.get_xlim()[0])
    ax.set_ylim(0, min(100.0, 125.0 * float(frame["blind"].max()) + 5))
    ax.set_xlabel("allowed false trips, % of the external events (upper bound)", color=FALSE_TEXT)
    ax.set_ylabel("blind from the neutral, % of the winding", color=MISSED)
    if limit is not None:
        _limit_line(ax, limit, limit_text)
        _beside(
            at_limit, 100 * limit, "data", (4, 9), ax, fontweight="bold", bbox=backing(), zorder=5
        )
    _beside(ends, 1.0, "axes fraction", (5, 0), ax, annotation_clip=False)
    return ax


def _beside(
    texts: list[tuple[float, str, str]],
    x: float,
    coordinates: Any,
    offset: tuple[float, float],
    ax: Axes,
    **style: Any,
) -> None:
    """Texts (height, text, colour) at x, moved up and down as little as keeps them apart."""
    texts = sorted(texts)
    line = 100 * 1.35 * LABEL_POINTS / _axes_points(ax)[1] * ax.get_ylim()[1] / 100
    for y, (_, text, colour) in zip(
        spread([y for y, _, _ in texts], [line * (1 + t.count("\n")) for _, t, _ in texts]),
        texts,
        strict=True,
    ):
        ax.annotate(
            text,
            (x, y),
            xycoords=(coordinates, "data"),
            xytext=offset,
            textcoords="offset points",
            color=colour,
            va="center",
            **style,
        )


def percent_ticks(ax: Axes, start: float) -> None:
    """Decades of per cent as plain numbers, from `start` on; of many, every other one has its
    number."""
    from matplotlib.ticker import FixedFormatter, FixedLocator, NullFormatter

    low, high = ax.get_xlim()
    decades = 10.0 ** np.arange(
        math.ceil(math.log10(start) - 1e-9), math.floor(math.log10(high) + 1e-9) + 1
    )
    if not decades.size:  # all within one
        unit = 10.0 ** math.floor(math.log10(start))
        decades = np.array([k * unit for k in range(1, 10) if start <= k * unit <= high] or [high])
    ax.xaxis.set_major_locator(FixedLocator(list(decades)))
    every = 1 + (decades.size - 1) // MOST_DECADES  # the highest is always labelled
    ax.xaxis.set_major_formatter(
        FixedFormatter(
            [
                bare(d / 100) if (decades.size - 1 - k) % every == 0 else ""
                for k, d in enumerate(decades)
            ]
        )
    )
    ax.xaxis.set_minor_locator(
        FixedLocator(
            [
                k * d
                for d in (decades[0] / 10, *decades)
                for k in range(2, 10)
                if start <= k * d <= high
            ]
        )
    )
    ax.xaxis.set_minor_formatter(NullFormatter())
    ax.set_xlim(low, high)
