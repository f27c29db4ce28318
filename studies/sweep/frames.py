"""The tables of a setting sweep, in the order in which they are shown."""

from __future__ import annotations

from typing import TYPE_CHECKING

from montecarlo.frames.choosing import nearest
from montecarlo.frames.result import Result
from studies.sweep.convergence import convergence_frame
from studies.sweep.detection_map import detection_map_frame
from studies.sweep.unprotected_winding import unprotected_winding_frame

if TYPE_CHECKING:
    import pandas as pd

ALWAYS = ("candidates", "by_type", "protected_winding", "inputs", "unresolved")


def of_interest(result: Result) -> int | None:
    """The chosen candidate, or the one nearest to the limit."""
    return nearest(result.candidates) if result.chosen is None else result.chosen


def tables(result: Result) -> dict[str, pd.DataFrame]:
    """By name; those that have nothing to say are left out."""
    frames = {name: getattr(result, name) for name in ALWAYS}
    more = {
        "backup": None if result.study.backup is None else result.backup,
        "rare": result.rare,
        "exceedance": result.exceedance if len(result.rare) else None,
        **{
            name: getattr(result, name)
            for name in (
                "search",
                "front",
                "radius",
                "closest",
                "comparison",
                "neighbours",
                "prices",
                "place_laws",
                "assumption_sets",
                "assumption_set_choices",
            )
        },
        "detection_map": _detection_map(result),
        "convergence": convergence_frame(result.outcome),
        "remanence_models": result.remanence_models,
    }
    frames |= {name: frame for name, frame in more.items() if frame is not None and len(frame)}
    unprotected = unprotected_winding_frame(result.candidates)
    if unprotected["scheme"].nunique() > 1:
        frames["unprotected_winding"] = unprotected
    return frames


def _detection_map(result: Result) -> pd.DataFrame | None:
    number = of_interest(result)
    if number is None or not len(result.protected_winding):
        return None
    return detection_map_frame(result.candidates, result.protected_winding, number)
