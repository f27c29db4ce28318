"""How far inputs may be off before the chosen setting breaks the policy's limit, or another one
would be chosen: sentences, notes and figure. Draw within `look.look()`."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from textwrap import fill
from typing import TYPE_CHECKING

from montecarlo.engine.margins import Margin, Radius, Reason, Unasked
from montecarlo.frames.radius import value_at
from montecarlo.study.shifts import Way
from studies.report.labels import LABEL_POINTS
from studies.report.letters import together
from studies.report.look import CHOSEN, FALSE, FALSE_TEXT, MISSED, blank
from studies.report.marks import beside
from studies.report.numbers import figures, in_unit
from studies.report.words import counted, input_name

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.figure import Figure

    from montecarlo.study.axes import Setting

MOST_NAMED, MOST_DRAWN = 2, 12
DIGITS = 3
LASTS = ".clearing_time_s"
SIDES = {Way.LOWER: "below", Way.HIGHER: "above"}
LETTERS = 56  # of a line of the title
NAME = 22  # letters of a line of an input's name
ROW_MM, LINE_MM, FRAME_MM = 9.0, 4.2, 32.0
ENDS = {  # of a bar: what happens there, its colour, its text's
    "limit breaks": (FALSE, FALSE_TEXT),
    "another setting": (MISSED, MISSED),
}
LEFT_OUT = {
    Unasked.NO_LIMIT: "the policy has no limit on false trips",
    Unasked.TOO_FEW: (
        "the samples that can be solved again do not show the policy's limit; raise study.samples"
    ),
}
WHY = {  # at the end of a bar
    Reason.LIMIT.value: "limit breaks",
    Reason.LOAD.value: "operates on load",
    Reason.KNEE.value: "knee rule",
    Reason.MISSES.value: "no. {:.0f} is better",
}


def holds_unless(radius: Radius | None, candidates: Sequence[Setting]) -> Iterator[str]:
    """Of the recommendation: what breaks the limit first, at most two inputs, and what makes
    another setting better."""
    if radius is None or radius.unasked:
        return
    nearest = [
        _unless(one, one.breaks)
        for one in sorted(radius.margins, key=_to_break)[:MOST_NAMED]
        if one.breaks is not None
    ]
    if nearest:
        yield f"The choice holds unless {' or '.join(nearest)}."
    else:
        yield (
            "No uncertain input that was moved alone breaks the choice, up to"
            f" {counted_half_widths(radius.reach)} from its centre."
        )
    if radius.undecided:
        yield f"{counted(radius.undecided, 'direction')} of other inputs could not be judged."
    yield from _another(radius, candidates)


def _to_break(margin: Margin) -> float:
    return math.inf if margin.breaks is None else margin.breaks / margin.half_width


def _another(radius: Radius, candidates: Sequence[Setting]) -> Iterator[str]:
    """What changes the choice first, though the limit holds."""
    others = [one for one in radius.margins if one.change and one.change.reason is not Reason.LIMIT]
    if not others:
        return
    first = min(others, key=lambda one: one.change.distance / one.half_width if one.change else 0)
    assert first.change is not None
    where = _unless(first, first.change.distance)
    setting = first.change.setting
    if setting is None:
        why = "operates on load" if first.change.reason is Reason.LOAD else "breaks the knee rule"
        yield f"The chosen setting {why} if {where}."
        return
    yield f"Setting no. {candidates.index(setting) + 1} becomes the better choice if {where}."


def counted_half_widths(reach: float) -> str:
    """1 half-width, 5 half-widths."""
    return f"{reach:g} half-width{'' if reach == 1 else 's'}"


def _unless(margin: Margin, distance: float) -> str:
    event = margin.event
    of = f" of {event}" if event else ""
    name = input_name(margin.key).removeprefix("event's ")
    if margin.way is Way.WIDER:
        factor = figures(1 + distance / margin.half_width, 2)
        if float(factor) == 1:
            return f"the range of the {name}{of} is wider than stated"
        return f"the range of the {name}{of} is more than {factor} times as wide"
    higher = margin.way is Way.HIGHER
    if margin.key.endswith(LASTS):
        end = margin.longest if higher else margin.shortest
        place = (end if math.isfinite(end) else margin.centre) + (distance if higher else -distance)
        return f"{event} lasts {'longer' if higher else 'shorter'} than {_value(margin, place)}"
    return centre_lies(f"{name}{of}", margin.way, value_at(margin, distance), margin.unit)


def centre_lies(name: str, way: Way, place: float, unit: str) -> str:
    """Where the centre of an input lies: below or above a place.

    Parameters
    ----------
    name : str
        Of the input.
    way : Way
    place : float
        In the unit.
    unit : str

    Returns
    -------
    str
    """
    return f"the centre of the {name} lies {SIDES[way]} {in_unit(place, unit)}"


def _value(margin: Margin, place: float) -> str:
    return in_unit(place, margin.unit)


def radius_notes(radius: Radius | None) -> Iterator[str]:
    """What there is to know of it; why there is none."""
    if radius is None:
        return
    if radius.unasked:
        yield f"How far inputs may be off is not reported: {LEFT_OUT[radius.unasked]}."
        return
    yield (
        f"radius.csv lists how far each input may be off, up to"
        f" {counted_half_widths(radius.reach)} or as far as its values are possible. One input"
        " moves at a time, in the study as stated."
    )
    if radius.rivals:
        yield (
            f"{counted(radius.rivals, 'neighbouring setting')} may take the place of the chosen one"
            " there, by policy.margins.missed at least."
        )
    yield from _cut(radius)
    if radius.undecided:
        yield (
            f"{counted(radius.undecided, 'direction')} of inputs in radius.csv"
            f" {'is' if radius.undecided == 1 else 'are'} left open. Too few weighted samples trip"
            " there to show or to break the limit; raise study.samples."
        )
    if radius.nearer:
        yield (
            f"{counted(radius.nearer, 'row')} of radius.csv"
            f" {'is' if radius.nearer == 1 else 'are'} looked at less far (looked_at). Too few"
            " weighted samples trip beyond; raise study.samples."
        )
    if radius.numbers:
        is_, have = ("is", "It has") if radius.numbers == 1 else ("are", "They have")
        yield (
            f"{counted(radius.numbers, 'plain number')} of the external events"
            f" {is_} not moved. {have} no width."
        )


def _cut(radius: Radius) -> Iterator[str]:
    """That the reach leaves possible values, where it does."""
    if not (cut := [one for one in radius.margins if one.cut and one.reach > 0]):
        return
    end = _value(cut[0], value_at(cut[0], cut[0].reach))
    yield (
        f"policy.margins.reach: {counted_half_widths(radius.reach)} leave possible values in"
        f" {counted(len(cut), 'row')} of radius.csv, as {cut[0].key} at {end}. Such an input moves"
        " as far as possible; looked_at has the value."
    )


# --- figure -------------------------------------------------------------------


def radius_bars(frame: pd.DataFrame) -> Figure:
    """A row an input and way that ends the choice, the nearest first: bars of half-widths to what
    comes first, each with the value at which it comes.

    Parameters
    ----------
    frame : DataFrame
        radius.csv with an end at least.

    Returns
    -------
    Figure
    """
    import seaborn as sns

    rows = _ends(frame).head(MOST_DRAWN)
    lines = max(1 + name.count("\n") for name in rows["row"])
    figure, ax = blank(FRAME_MM + max(ROW_MM, LINE_MM * (lines + 0.4)) * len(rows))
    sns.barplot(
        rows,
        x="half_widths",
        y="row",
        hue="end",
        hue_order=[*ENDS],
        palette={end: colour for end, (colour, _) in ENDS.items()},
        dodge=False,
        saturation=1.0,
        errorbar=None,
        legend=False,
        ax=ax,
    )
    for place, (_, row) in enumerate(rows.iterrows()):
        point = (row["half_widths"], place)
        colour = ENDS[row["end"]][1]
        beside(ax, row["text"], point, (4, 0), colour, fontsize=LABEL_POINTS)
    ax.set_xlim(0, 2.1 * max(float(rows["half_widths"].max()), 0.1))
    ax.set(xlabel="distance from the stated value, half-widths", ylabel="")
    ax.grid(visible=False, axis="y")
    first = str(rows["row"].iloc[0]).replace("\n", " ")
    title = fill(together(f"The choice ends first with {first}"), LETTERS)
    ax.set_title(title, loc="left", color=CHOSEN)
    return figure


def drawable(frame: pd.DataFrame) -> bool:
    """Whether an input ends the choice."""
    return bool(frame[["breaks_half_widths", "changes_half_widths"]].notna().to_numpy().any())


def _ends(frame: pd.DataFrame) -> pd.DataFrame:
    """A row an input and way that ends the choice, the nearest first."""
    import pandas as pd

    rows = [
        {
            "half_widths": row["changes_half_widths"],
            "end": "limit breaks" if row["reason"] == Reason.LIMIT.value else "another setting",
            "row": fill(f"{_name(row)} {row['way']}", NAME),
            "text": _text(row),
        }
        for row in frame[frame["changes_half_widths"].notna()].to_dict("records")
    ]
    return pd.DataFrame(rows).sort_values("half_widths", kind="stable", ignore_index=True)


def _text(row: dict[str, object]) -> str:
    """From the stated value to where the choice ends, and what happens there."""
    wider = row["way"] == Way.WIDER.value
    stated = row["half_width"] if wider else row["centre"]
    before, at = (figures(float(str(each)), DIGITS) for each in (stated, row["changes_at"]))
    sign = "±" if wider else ""
    unit = str(row["unit"]).strip("-")
    what = WHY[str(row["reason"])].format(row["candidate"])
    return f"{sign}{before} to {sign}{at} {unit}".rstrip() + f": {what}"


def _name(row: dict[str, object]) -> str:
    name = input_name(str(row["key"])).removeprefix("event's ")
    event = str(row["event"]).replace("_", " ")
    return f"{name}, {event}," if event else name
