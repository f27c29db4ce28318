"""The figures of a setting sweep, from its tables: nothing is estimated here."""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial
from typing import TYPE_CHECKING, Any

from montecarlo.frames.choosing import nearest
from montecarlo.frames.result import Result
from studies.nominal.excitation import curves as excitation_curves
from studies.nominal.excitation_figure import excitation_curve
from studies.report.catalogue import EXCITATION
from studies.report.look import CHOSEN, EXISTING, HEIGHT_MM, RUNNER_UP, on_blank, say, stacked
from studies.report.words import scheme_name, setting_text
from studies.sweep import detection_map as along
from studies.sweep.convergence import convergence, worth_drawing
from studies.sweep.exceedance import Shown, exceedance, worth_showing
from studies.sweep.frames import of_interest
from studies.sweep.front import drawable as drawable_front
from studies.sweep.front import front
from studies.sweep.policy import limit_line
from studies.sweep.radius import drawable, radius_bars
from studies.sweep.tradeoff import tradeoff
from studies.sweep.unprotected_winding import unprotected_winding
from studies.sweep.winding import Curve, detection

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from montecarlo.secondary.ct import CurrentTransformer
    from studies.protocol import Recipe

ROLES: dict[str, tuple[str, Any, str]] = {  # colour, dashes, mark
    "chosen": (CHOSEN, "-", "o"),
    "runner-up": (RUNNER_UP, (0, (1.5, 1.5)), "^"),
    "nearest to the limit": (CHOSEN, (0, (6, 2, 1, 2)), "D"),
    "existing": (EXISTING, (0, (5, 2)), "s"),
}


def figures(result: Result, frames: Mapping[str, pd.DataFrame]) -> dict[str, Recipe]:
    """By name, those that have something to show."""
    limit, words = limit_line(result.study)
    line: dict[str, Any] = {"limit": limit, "limit_text": words}
    recipes, curves = tradeoff_figure(result), _curves(result)
    if curves and len(winding := result.protected_winding):
        recipes["protected_winding"] = partial(on_blank, 90, detection, winding, curves)
    if "detection_map" in frames and along.worth_drawing(frames["detection_map"]):
        recipes["detection_map"] = _map(result, frames["detection_map"])
    if (frame := frames.get("unprotected_winding")) is not None:
        recipes["unprotected_winding"] = partial(on_blank, 85, unprotected_winding, frame, **line)
    if (frame := frames.get("front")) is not None and drawable_front(frame):
        ends = result.study.policy.front
        recipes["front"] = partial(on_blank, 85, front, frame, ends=ends, **line)
    if (frame := frames.get("radius")) is not None and drawable(frame):
        recipes["radius"] = partial(radius_bars, frame)
    if "exceedance" in frames and (reached := _exceedance(result, frames["exceedance"])):
        recipes["exceedance"] = reached
    if (settling := frames.get("convergence")) is not None and worth_drawing(settling):
        heading = _whose(result, settling)
        recipes["convergence"] = partial(_convergence, settling, heading=heading, **line)
    for place, (end, ct) in enumerate(excitation_curves(result.study).items()):
        name = EXCITATION + (f"_{end.replace(' ', '_')}" if place else "")
        recipes[name] = partial(on_blank, 90, _excitation, ct, end)
    return recipes


def tradeoff_figure(result: Result) -> dict[str, Recipe]:
    """That of both probabilities of every candidate, by its name."""
    limit, words = limit_line(result.study)
    line: dict[str, Any] = {"limit": limit, "limit_text": words}
    return {"tradeoff": partial(on_blank, HEIGHT_MM, tradeoff, result.candidates, **line)}


def _convergence(settling: pd.DataFrame, **named: Any) -> Figure:
    figure, axes = stacked(2, 110)
    convergence(settling, axes, **named)
    return figure


def _excitation(ct: CurrentTransformer, end: str, ax: Axes) -> None:
    excitation_curve(ct, ax)
    ax.set_title(end)


def _curves(result: Result) -> list[Curve]:
    """Of the chosen candidate (or what comes nearest to the limit), runner-up and existing one."""
    shown: dict[str, int | None] = {"chosen": result.chosen, "runner-up": result.runner_up}
    if result.chosen is None:
        shown = {"nearest to the limit": nearest(result.candidates)}
    for number in result.candidates.loc[result.candidates["existing"], "candidate"]:
        if number not in shown.values():
            shown["existing"] = int(number)
    return [
        Curve(role, number, setting_text(result.row(number)), *ROLES[role])
        for role, number in shown.items()
        if number is not None
    ]


def _map(result: Result, frame: pd.DataFrame) -> Recipe:
    number = of_interest(result)
    assert number is not None
    row = result.row(number)
    setting = setting_text(row, str(frame["axis"].iloc[0]))
    role = "chosen" if result.chosen else "nearest to the limit"
    heading = f"{scheme_name(row['scheme'])}: {setting}"
    return partial(on_blank, 90, along.detection_map, frame, number, role=role, heading=heading)


def _exceedance(result: Result, frame: pd.DataFrame) -> Recipe | None:
    """Of the setting of interest, and of those that were estimated again with it."""
    number, every = of_interest(result), result.candidates
    assert number is not None
    judged = every[every["batch"].gt(1) | every["existing"] | every["candidate"].eq(number)]
    first = judged["candidate"].ne(number).sort_values(kind="stable").index
    shown = worth_showing(frame, result.by_type, judged.loc[first])
    return partial(_exceeded, shown, result.row(number)) if len(shown.curves) else None


def _exceeded(shown: Shown, row: dict[str, Any]) -> Figure:
    figure = exceedance(shown, row)
    words = "Circuits of the setting and of its neighbours, at its delay."
    if shown.rare_events:
        names = ", ".join(name.replace("_", " ") for name in shown.rare_events)
        words += f" Left out, as they make few of the false trips: {names}."
    if shown.rare_elements:
        words += f" Too rare to be drawn: {' and '.join(shown.rare_elements)} elements."
    say(figure, f"{words} The table has all of them.")
    return figure


def _whose(result: Result, settling: pd.DataFrame) -> str:
    """Of which candidate the convergence is shown."""
    number = int(settling["candidate"].iloc[0])
    role = "chosen" if number == result.chosen else "tried last, not chosen"
    return f"{role}, no. {number}: {setting_text(result.row(number))}"
