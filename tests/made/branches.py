"""The minimal study with a winding, and with one of the schemes between groups of branches."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from montecarlo.relays.places import OF_BRANCHES
from montecarlo.study.description import Study
from tests.made.studies import REMOVE, study_with

Changes = dict[str, Any]
WINDING: Changes = {
    "slots": 288,
    "pole_pairs": 24,
    "pitch": 5,
    "branches": 2,
    "turns_per_coil": 3,
    "layout": "alternate",
    "leakage_reactance_pu": 0.1,
    "group_unbalance_percent": {"dist": "uniform", "low": -1.0, "high": 0.5},
    "circulating_percent": {"dist": "uniform", "low": 0.0, "high": 0.6},
}
BRANCHES: Changes = {
    "winding": WINDING,
    "internal_faults.turns": {},
    **{f"ct.{group}": {} for group in OF_BRANCHES},
}
RATIOS: Changes = {
    "ct.group_1": {"primary_a": 750},
    "ct.group_2": {"primary_a": 750},
    "ct.core_balance": {"primary_a": 200},
    "ct.star_link": {"primary_a": 100},
}


def between_groups(kind: str, changes: Mapping[str, Any] | None = None) -> Study:
    """A study of one such scheme; its CTs have ratios of their own."""
    other = "phase" if kind == "neutral_to_neutral" else "earth"
    candidates = [f"{other}_pickup_a", "stabilising_resistance_ohm"]
    return study_with(
        {
            "scheme.kind": kind,
            **{f"candidates.{name}": REMOVE for name in candidates},
            **BRANCHES,
            **RATIOS,
            **(changes or {}),
        }
    )
