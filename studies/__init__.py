"""What people ask of the engine: kinds of study, and the command line that runs them."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from studies.protocol import Kind

__all__ = ["KINDS"]


def _setting_sweep() -> Kind:
    from studies.setting_sweep import SettingSweep

    return SettingSweep()


KINDS: dict[str, Callable[[], Kind]] = {"setting_sweep": _setting_sweep}   # imported when asked for
