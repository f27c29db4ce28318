"""How a run says how far it is."""

from __future__ import annotations

from collections.abc import Callable

__all__ = ["Progress", "named_progress", "silent"]

Progress = Callable[[int, int, str], None]  # samples done, of how many, doing what


def silent(done: int, total: int, what: str) -> None:
    """Progress that nobody wants to see."""


def named_progress(tell: Progress, name: str) -> Progress:
    """Progress that also says of which scenario, model or wider inputs it is."""
    return lambda done, total, what: tell(done, total, f"{what}, {name}")
