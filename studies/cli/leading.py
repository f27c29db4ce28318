"""The setting that leads while a run is under way, in one line."""

from __future__ import annotations

import math

from montecarlo.engine.leading import Leading
from montecarlo.study.axes import AXES
from studies.report.numbers import percent
from studies.report.words import setting_text

CUT = "..."


def leading_line(found: Leading, width: int) -> str:
    """What is shown, at most so wide; in a narrow terminal the figures stand first."""
    values = {axis.key: getattr(found.setting, axis.key) for axis in AXES}
    row = {key: math.nan if value is None else value for key, value in values.items()}
    setting = setting_text(row)
    if found.number is not None:
        setting = f"no. {found.number}, {setting}"
    head = "leading" if found.allowed else "none is allowed, closest"
    missed = f"{percent(found.p_missed, 3)} missed"
    limits = f" ({percent(found.low, 3)} to {percent(found.high, 3)})"
    trips = f", false trips at most {percent(found.bound)}"
    whole = f"{head} after {found.samples:,} samples: {setting}: {missed}{limits}{trips}"
    if len(whole) <= width:
        return whole
    short = f"{head}: {missed}{trips}: {setting}"
    return short if len(short) <= width else f"{short[: max(width - len(CUT), 0)]}{CUT}"[:width]
