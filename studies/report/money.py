"""Costs in words: three figures, the study's own unit, and limits."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import pandas as pd

    from montecarlo.study.description import Study

__all__ = ["amount", "cost_cell", "cost_with_limits", "with_unit"]


def amount(value: float, sign: str = "") -> str:
    """Three figures, written out: 1,230,000. No minus before a 0."""
    return format(float(f"{value:.3g}") + 0.0, f"{sign},.15g")


def cost_with_limits(row: Mapping[str, Any], unit: str, name: str = "cost_per_year") -> str:
    """What a candidate costs a year, with its 95 % limits."""
    expected, low, high = (amount(row[f"{name}{end}"]) for end in ("", "_low", "_high"))
    return f"{expected} {unit} a year ({low} to {high})"


def cost_cell(row: Mapping[str, Any]) -> str:
    """The same in a cell of a table whose head or legend has the unit."""
    if math.isnan(row["cost_per_year"]):
        return "-"
    expected, low, high = (amount(row[f"cost_per_year{end}"]) for end in ("", "_low", "_high"))
    return f"{expected} ({low}-{high})"


def with_unit(frames: Mapping[str, pd.DataFrame], study: Study) -> dict[str, pd.DataFrame]:
    """Tables with a row a quantity say in a column of their own in which unit costs are told."""
    cost, told = study.policy.least_annual_cost, dict(frames)
    if cost is None:
        return told
    for name, frame in frames.items():
        if (
            "quantity" in frame
            and "unit" not in frame
            and (frame["quantity"] == "cost_per_year").any()
        ):
            told[name] = frame.copy()
            units = [
                "-" if quantity != "cost_per_year" else f"{cost.unit} a year"
                for quantity in frame["quantity"]
            ]
            told[name].insert(frame.columns.get_loc("quantity") + 1, "unit", units)
    return told
