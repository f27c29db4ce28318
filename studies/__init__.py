"""What people ask of the engine: kinds of study, and the command line that runs them."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from importlib import import_module
from typing import TYPE_CHECKING, cast

if TYPE_CHECKING:
    from studies.protocol import Kind

__all__ = ["KINDS"]

ROOMS = {
    "setting_sweep": ("sweep", "SettingSweep"),
    "earthing_options": ("earthing", "EarthingOptions"),
    "scheme_comparison": ("schemes", "SchemeComparison"),
    "uncertainty_drivers": ("drivers", "UncertaintyDrivers"),
    "alternatives": ("alternatives", "StudyAlternatives"),
}


def _kind(name: str) -> Kind:
    """From its room, imported when asked for."""
    room, made = ROOMS[name]
    return cast("Kind", getattr(import_module(f"studies.{room}.run"), made)())


KINDS: dict[str, Callable[[], Kind]] = {name: partial(_kind, name) for name in ROOMS}
