"""The figures of a setting sweep, from its tables: nothing is estimated here."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np

from montecarlo.frames.choosing import nearest
from montecarlo.frames.result import Result
from studies.nominal.excitation import fits
from studies.nominal.excitation_figure import excitation_fit
from studies.report.catalogue import EXCITATION
from studies.report.look import CHOSEN, EXISTING, RUNNER_UP, blank, stacked
from studies.report.words import scheme_name, setting_text
from studies.sweep.convergence import convergence, worth_drawing
from studies.sweep.detection_map import detection_map, has_contours
from studies.sweep.exceedance import exceedance
from studies.sweep.frames import of_interest
from studies.sweep.policy import limit_line
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
    drawn: dict[str, Figure] = {}
    drawn["tradeoff"], ax = blank()
    tradeoff(result.candidates, ax, limit=limit, limit_text=words)
    curves = _curves(result)
    if curves and len(result.protected_winding):
        drawn["protected_winding"], ax = blank(90)
        detection(result.protected_winding, curves, ax)
    if "detection_map" in frames and has_contours(frames["detection_map"]):
        drawn["detection_map"], ax = blank(90)
        _map(result, frames["detection_map"], ax)
    if "unprotected_winding" in frames:
        drawn["unprotected_winding"], ax = blank(85)
        unprotected_winding(frames["unprotected_winding"], ax, limit=limit, limit_text=words)
    if "exceedance" in frames:
        drawn["exceedance"], ax = blank()
        exceedance(frames["exceedance"], _worst_event(frames["exceedance"]), ax)
    if "convergence" in frames and worth_drawing(settling := frames["convergence"]):
        drawn["convergence"], axes = stacked(2, 110)
        heading = _whose(result, settling)
        convergence(settling, axes, heading=heading, limit=limit, limit_text=words)
    for place, (end, ct) in enumerate(fits(result.study).items()):
        name = EXCITATION + (f"_{end.replace(' ', '_')}" if place else "")
        drawn[name], ax = blank(90)
        excitation_fit(ct, ax)
        ax.set_title(end)
    return drawn


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
    detection_map(frame, number, ax, role=role, heading=f"{scheme_name(row['scheme'])}: {setting}")


def _worst_event(frame: pd.DataFrame) -> str:
    """The external event that exceeds the pick-ups most, on the average of ln p where it was
    seen."""
    seen = frame[frame["p"] > 0]
    return str(np.log(seen["p"]).groupby(seen["event"], sort=False).mean().idxmax())


def _whose(result: Result, settling: pd.DataFrame) -> str:
    """Of which candidate the convergence is shown."""
    number = int(settling["candidate"].iloc[0])
    role = "chosen" if number == result.chosen else "tried last, not chosen"
    return f"{role}, no. {number}: {setting_text(result.row(number))}"
