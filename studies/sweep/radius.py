"""How far inputs may be off before the chosen setting breaks the policy's limit: sentence, note and
figure. Draw within `look.look()`."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from textwrap import fill
from typing import TYPE_CHECKING

from montecarlo.engine.radius import Margin, Radius, Unasked
from studies.report.labels import LABEL_POINTS
from studies.report.letters import together
from studies.report.look import CHOSEN, FALSE, FALSE_TEXT, blank, pale
from studies.report.marks import beside
from studies.report.numbers import figures
from studies.report.words import counted, input_name

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.figure import Figure

MOST_NAMED, MOST_DRAWN = 2, 12
DIGITS = 3
LASTS = ".clearing_time_s"
DIRECTIONS = ("below", "above")  # centre lower, centre higher
LETTERS = 56  # of a line of the title
NAME = 34  # letters of a line of an input's name
ROW_MM, LINE_MM, FRAME_MM = 9.0, 4.2, 32.0
LEFT_OUT = {
    Unasked.NO_LIMIT: "the policy has no limit on false trips",
    Unasked.TOO_FEW: (
        "the samples that can be solved again do not show the policy's limit; raise study.samples"
    ),
}


@dataclass(frozen=True)
class Break:
    """Where the limit breaks in one direction of one input."""

    margin: Margin
    sign: int
    distance: float

    @property
    def half_widths(self) -> float:
        """From the centre."""
        return self.distance / self.margin.half_width


def breaks(radius: Radius) -> list[Break]:
    """Of both directions of every input, the nearest first."""
    found = [
        Break(margin, sign, distance)
        for margin in radius.margins
        for sign, distance in ((-1, margin.below), (1, margin.above))
        if distance is not None
    ]
    return sorted(found, key=lambda one: one.half_widths)


def holds_unless(radius: Radius | None) -> Iterator[str]:
    """Of the recommendation: what breaks the limit first, at most two inputs."""
    if radius is None or radius.unasked:
        return
    nearest = breaks(radius)[:MOST_NAMED]
    if nearest:
        yield f"The choice holds unless {' or '.join(map(_unless, nearest))}."
    else:
        yield (
            "No uncertain input that was moved alone breaks the choice, up to"
            f" {counted_half_widths(radius.reach)} from its centre."
        )
    if radius.undecided:
        yield f"{counted(radius.undecided, 'direction')} of other inputs could not be judged."


def counted_half_widths(reach: float) -> str:
    """1 half-width, 5 half-widths."""
    return f"{reach:g} half-width{'' if reach == 1 else 's'}"


def _unless(one: Break) -> str:
    margin = one.margin
    event = margin.event
    if margin.key.endswith(LASTS):
        end = margin.longest if one.sign > 0 else margin.shortest
        place = (end if math.isfinite(end) else margin.centre) + one.sign * one.distance
        side = "longer" if one.sign > 0 else "shorter"
        return f"{event} lasts {side} than {_value(margin, place)}"
    place = margin.centre + one.sign * one.distance
    side = "above" if one.sign > 0 else "below"
    of = f" of {event}" if event else ""
    name = input_name(margin.key).removeprefix("event's ")
    return f"the centre of the {name}{of} lies {side} {_value(margin, place)}"


def _value(margin: Margin, place: float) -> str:
    unit = margin.unit.strip("-")
    return f"{figures(place, DIGITS)} {unit}".rstrip()


def radius_notes(radius: Radius | None) -> Iterator[str]:
    """What there is to know of it; why there is none."""
    if radius is None:
        return
    if radius.unasked:
        yield f"How far inputs may be off is not reported: {LEFT_OUT[radius.unasked]}."
        return
    yield (
        f"radius.csv lists how far the centre of each input may be off, up to"
        f" {counted_half_widths(radius.reach)}. One input moves at a time, in the study as stated."
    )
    if radius.undecided:
        yield (
            f"{counted(radius.undecided, 'direction')} of inputs in radius.csv"
            f" {'is' if radius.undecided == 1 else 'are'} left open. Too few weighted samples trip"
            " there to show or to break the limit; raise study.samples."
        )
    if radius.numbers:
        is_, have = ("is", "It has") if radius.numbers == 1 else ("are", "They have")
        yield (
            f"{counted(radius.numbers, 'plain number')} of the external events"
            f" {is_} not moved. {have} no width."
        )


# --- figure -------------------------------------------------------------------


def radius_bars(frame: pd.DataFrame) -> Figure:
    """A row an input and direction that breaks the limit, the nearest first: bars of half-widths,
    each with the centre at which it breaks.

    Parameters
    ----------
    frame : DataFrame
        radius.csv with a break at least.

    Returns
    -------
    Figure
    """
    import seaborn as sns

    rows = _long(frame).head(MOST_DRAWN)
    lines = max(1 + name.count("\n") for name in rows["row"])
    figure, ax = blank(FRAME_MM + max(ROW_MM, LINE_MM * (lines + 0.4)) * len(rows))
    sns.barplot(
        rows,
        x="half_widths",
        y="row",
        hue="direction",
        hue_order=[*DIRECTIONS],
        palette=dict(zip(DIRECTIONS, (pale(FALSE), FALSE), strict=True)),
        dodge=False,
        saturation=1.0,
        errorbar=None,
        legend=False,
        ax=ax,
    )
    for place, (_, row) in enumerate(rows.iterrows()):
        point = (row["half_widths"], place)
        beside(ax, row["text"], point, (4, 0), FALSE_TEXT, fontsize=LABEL_POINTS)
    ax.set_xlim(0, 1.3 * max(float(rows["half_widths"].max()), 0.1))
    ax.set(xlabel="distance of the centre at which the limit breaks, half-widths", ylabel="")
    ax.grid(visible=False, axis="y")
    first = str(rows["row"].iloc[0]).replace("\n", " ")
    title = fill(together(f"The limit breaks first with {first}"), LETTERS)
    ax.set_title(title, loc="left", color=CHOSEN)
    return figure


def drawable(frame: pd.DataFrame) -> bool:
    """Whether an input breaks the limit."""
    return bool(frame[["half_widths_below", "half_widths_above"]].notna().to_numpy().any())


def _long(frame: pd.DataFrame) -> pd.DataFrame:
    """A row an input and direction, the nearest first."""
    import pandas as pd

    parts = []
    for direction, word in (("below", "lower"), ("above", "higher")):
        own = frame.dropna(subset=[f"half_widths_{direction}"])
        parts.append(
            pd.DataFrame(
                {
                    "half_widths": own[f"half_widths_{direction}"],
                    "direction": direction,
                    "row": [fill(f"{_name(row)} {word}", NAME) for row in own.to_dict("records")],
                    "text": [
                        f"{figures(row['centre'], 3)} to"
                        f" {figures(row[f'breaks_{direction}'], DIGITS)} {row['unit'].strip('-')}"
                        for row in own.to_dict("records")
                    ],
                }
            )
        )
    return pd.concat(parts).sort_values("half_widths", kind="stable", ignore_index=True)


def _name(row: dict[str, object]) -> str:
    name = input_name(str(row["key"])).removeprefix("event's ")
    event = str(row["event"]).replace("_", " ")
    return f"{name}, {event}," if event else name
