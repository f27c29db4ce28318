"""Cells of a CSV that a spreadsheet shows and does not compute."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["plain_cells"]

BEGINNINGS = ("=", "+", "-", "@", "\t", "\r")              # of what a spreadsheet takes for a formula


def plain_cells(frame: pd.DataFrame) -> pd.DataFrame:
    """The frame with an apostrophe before every text that a spreadsheet would take for a formula: names and sources are
    a person's words. Numbers stay as they are. Common practice (OWASP, CSV Injection, from memory)."""
    texts = {name: frame[name].map(_plain) for name in frame.columns
             if any(isinstance(value, str) and value.startswith(BEGINNINGS) for value in frame[name])}
    return frame.assign(**texts) if texts else frame


def _plain(value: Any) -> Any:
    return f"'{value}" if isinstance(value, str) and value.startswith(BEGINNINGS) else value
