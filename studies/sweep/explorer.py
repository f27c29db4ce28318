"""The explorer of a report: every candidate's numbers, as the tables have them, and a plot to move
about in. Sliders step over the settings that were judged; nothing is interpolated."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from montecarlo.frames.choosing import by_worst
from montecarlo.frames.digits import as_written
from montecarlo.frames.limits import with_limits
from montecarlo.study.axes import OWN
from studies.report.blocks import Fragment
from studies.report.letters import with_symbols
from studies.report.refusals import note_text
from studies.report.words import AXIS_WORDS, axis_unit, scheme_name, setting_text

if TYPE_CHECKING:
    import pandas as pd

NUMBERS = (
    *with_limits("p_missed", "p_false"),
    "missed_per_year",
    "false_per_year",
    "protected_median",
    "protected_p05",
    "protected_p95",
    "p_false_bound",
    *with_limits("p_nobody", "cost_per_year"),
)
# of the plot, in its own units; `none`: of candidates without a false trip, `first`: where the
# logarithmic part begins
PLOT = {"left": 62.0, "right": 596.0, "top": 24.0, "bottom": 330.0, "none": 102.0, "first": 170.0}
BESIDE_END = 150.0  # within which a text stands aside of its place
LEAST_DECADES, MOST_DECADES = 2, 8
MOST_NARROW = 3  # decades with numbers where the page is narrow


@dataclass(frozen=True)
class Scale:
    """Where a probability of a false trip stands: decades from `low` to 1, and a place for those
    without any."""

    low: int

    def at(self, p: float) -> float:
        """Across, in units of the plot."""
        if p <= 0:
            return PLOT["none"]
        along = max(math.log10(p) - self.low, 0.0) / -self.low
        return PLOT["first"] + (PLOT["right"] - PLOT["first"]) * along

    @property
    def ticks(self) -> list[tuple[float, str]]:
        """Places of the decades, and their numbers in per cent."""
        return [(self.at(10.0**k), f"{10.0 ** (k + 2):g}") for k in range(self.low, 1)]


def explorer(
    candidates: pd.DataFrame,
    start: int,
    roles: dict[str, int],
    *,
    limit: float | None,
    limit_text: str,
    cost_unit: str = "",
) -> Fragment:
    """The plot, and every candidate's numbers for the script that moves about in it.

    Parameters
    ----------
    candidates : DataFrame
        As `Result.candidates` has them.
    start : int
        Number of the candidate that is shown first.
    roles : dict
        Buttons, and the number of the candidate that each shows.
    limit, limit_text : float or None, str
        The policy's, where it has one below 1, and its words.
    cost_unit : str
        Of a year's cost, where the policy weighs it.
    """
    candidates = as_written(candidates)
    seen = [p for name in ("p_false", "p_false_low") for p in candidates[name] if p > 0]
    if limit is not None:
        seen.append(limit)
    decade = math.floor(math.log10(min(seen))) if seen else -3
    scale = Scale(max(min(decade, -LEAST_DECADES), -MOST_DECADES))
    first = candidates.set_index("candidate").loc[start].to_dict()
    return Fragment(
        "explorer.html",
        {
            "embedded": {
                "start": start,
                "scale": {"low": scale.low, **PLOT},
                "cost_unit": cost_unit,
                **_embedded(candidates),
            },
            "points": _points(candidates, scale),
            "number": start,
            "sentence": _sentence(first),
            "scale": scale,
            "every": 1 + (len(scale.ticks) - 1) // MOST_NARROW,
            "roles": roles,
            "limit_at": None if limit is None else scale.at(limit),
            "limit_anchor": _anchor(scale.at(limit or 0.0)),
            "limit_text": limit_text,
            "levels": [(_height(share / 100), share) for share in range(0, 101, 20)],
            **PLOT,
        },
    )


def _anchor(x: float) -> str:
    """On which side of x a text stands that must not leave the plot."""
    ends = {"start": PLOT["first"], "end": PLOT["right"]}
    return next((side for side, end in ends.items() if abs(x - end) < BESIDE_END), "middle")


def _embedded(candidates: pd.DataFrame) -> dict[str, Any]:
    """What the script knows of the candidates, judged by their worst assumption set."""
    shown = [name for name in NUMBERS if name in candidates]
    axes = [key for key in AXIS_WORDS if key not in OWN or key in candidates]
    judged = by_worst(candidates)
    rows = candidates.assign(usable=judged["usable"], allowed=judged["allowed"])
    return {
        "axes": [
            {
                "key": key,
                "label": AXIS_WORDS[key].label.capitalize(),
                "unit": with_symbols(axis_unit(key).strip()),
            }
            for key in axes
        ],
        "numbers": shown,
        "schemes": {kind: scheme_name(kind) for kind in candidates["scheme"].unique()},
        "candidates": [
            {
                "n": int(row["candidate"]),
                "scheme": row["scheme"],
                "at": _plain(row[key] for key in axes),
                "is": _plain(row[key] for key in shown),
                "note": note_text(row["refusals"]),
                "batch": int(row["batch"]),
                "usable": bool(row["usable"]),
                "allowed": bool(row["allowed"]),
            }
            for row in rows.to_dict("records")
        ],
    }


def _points(candidates: pd.DataFrame, scale: Scale) -> list[dict[str, Any]]:
    """The marks of the plot."""
    known = candidates[candidates[["p_missed", "p_false"]].notna().all(axis=1)]
    return [
        {
            "n": int(row["candidate"]),
            "x": scale.at(row["p_false"]),
            "y": _height(row["p_missed"]),
            "allowed": not row["refusals"],
        }
        for row in known.to_dict("records")
    ]


def _sentence(row: dict[str, Any]) -> str:
    """What stands there before, or without, the script."""
    return with_symbols(f"{scheme_name(row['scheme'])}: {setting_text(row)}")


def _height(p_missed: float) -> float:
    return PLOT["bottom"] - (PLOT["bottom"] - PLOT["top"]) * p_missed


def _plain(values: Iterable[Any]) -> list[float | str | None]:
    """Numbers and names as JSON has them: nothing for NaN."""
    return [
        value if isinstance(value, str) else None if math.isnan(value) else float(value)
        for value in values
    ]
