"""Costs in words: three figures, the study's own unit, and limits."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

__all__ = ["amount", "cost_with_limits"]


def amount(value: float, sign: str = "") -> str:
    """Three figures, written out: 1,230,000. No minus before a 0."""
    return format(float(f"{value:.3g}") + 0.0, f"{sign},.15g")


def cost_with_limits(row: Mapping[str, Any], unit: str, name: str = "cost_per_year") -> str:
    """What a candidate costs a year, with its 95 % limits."""
    expected, low, high = (amount(row[f"{name}{end}"]) for end in ("", "_low", "_high"))
    return f"{expected} {unit} a year ({low} to {high})"
