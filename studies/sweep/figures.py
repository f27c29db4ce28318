"""The figures of a setting sweep, from its tables: nothing is estimated here."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from montecarlo.frames.choosing import nearest
from montecarlo.frames.result import Result
from studies.nominal.excitation import curves as excitation_curves
from studies.nominal.excitation_figure import excitation_curve
from studies.report.catalogue import EXCITATION
from studies.report.look import CHOSEN, EXISTING, RUNNER_UP, blank, say, stacked
from studies.report.words import scheme_name, setting_text
from studies.sweep import detection_map as along
from studies.sweep.convergence import convergence, worth_drawing
from studies.sweep.exceedance import exceedance, worth_showing
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

ROLES: dict[str, tuple[str, Any, str]] = {  # colour, dashes, mark
    "chosen": (CHOSEN, "-", "o"),
    "runner-up": (RUNNER_UP, (0, (1.5, 1.5)), "^"),
    "nearest to the limit": (CHOSEN, (0, (6, 2, 1, 2)), "D"),
    "existing": (EXISTING, (0, (5, 2)), "s"),
}


def figures(result: Result, frames: Mapping[str, pd.DataFrame]) -> dict[str, Figure]:
    """By name, those that have something to show."""
    limit, words = limit_line(result.study)
    drawn = tradeoff_figure(result)
    curves = _curves(result)
    if curves and len(result.protected_winding):
        drawn["protected_winding"], ax = blank(90)
        detection(result.protected_winding, curves, ax)
    if "detection_map" in frames and along.worth_drawing(frames["detection_map"]):
        drawn["detection_map"], ax = blank(90)
        _map(result, frames["detection_map"], ax)
    if "unprotected_winding" in frames:
        drawn["unprotected_winding"], ax = blank(85)
        unprotected_winding(frames["unprotected_winding"], ax, limit=limit, limit_text=words)
    if "front" in frames and drawable_front(frames["front"]):
        drawn["front"], ax = blank(85)
        front(frames["front"], ax, result.study.policy.front, limit=limit, limit_text=words)
    if "radius" in frames and drawable(frames["radius"]):
        drawn["radius"] = radius_bars(frames["radius"])
    if "exceedance" in frames and (reached := _exceedance(result, frames["exceedance"])):
        drawn["exceedance"] = reached
    if "convergence" in frames and worth_drawing(settling := frames["convergence"]):
        drawn["convergence"], axes = stacked(2, 110)
        heading = _whose(result, settling)
        convergence(settling, axes, heading=heading, limit=limit, limit_text=words)
    for place, (end, ct) in enumerate(excitation_curves(result.study).items()):
        name = EXCITATION + (f"_{end.replace(' ', '_')}" if place else "")
        drawn[name], ax = blank(90)
        excitation_curve(ct, ax)
        ax.set_title(end)
    return drawn


def tradeoff_figure(result: Result) -> dict[str, Figure]:
    """That of both probabilities of every candidate, by its name."""
    figure, ax = blank()
    limit, words = limit_line(result.study)
    tradeoff(result.candidates, ax, limit=limit, limit_text=words)
    return {"tradeoff": figure}


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


def _map(result: Result, frame: pd.DataFrame, ax: Axes) -> None:
    number = of_interest(result)
    assert number is not None
    row = result.row(number)
    setting = setting_text(row, str(frame["axis"].iloc[0]))
    role = "chosen" if result.chosen else "nearest to the limit"
    along.detection_map(
        frame, number, ax, role=role, heading=f"{scheme_name(row['scheme'])}: {setting}"
    )


def _exceedance(result: Result, frame: pd.DataFrame) -> Figure | None:
    """Of the setting of interest, and of those that were estimated again with it."""
    number, every = of_interest(result), result.candidates
    assert number is not None
    judged = every[every["batch"].gt(1) | every["existing"] | every["candidate"].eq(number)]
    first = judged["candidate"].ne(number).sort_values(kind="stable").index
    shown = worth_showing(frame, result.by_type, judged.loc[first])
    if not len(shown.curves):
        return None
    figure = exceedance(shown, result.row(number))
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
