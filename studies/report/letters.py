"""Texts of others made fit to be shown, and numbers kept beside their units."""

from __future__ import annotations

import re
from typing import Any

_UNIT = re.compile(r"(?<=\d) (?=(?:%|A|V|s|mA|uF|ohm|pu|kV|MVA)(?![A-Za-z]))")


def printable(value: Any) -> Any:
    """A text with what no page can show, or what would turn its direction, written out."""
    if not isinstance(value, str) or hasattr(value, "__html__"):
        return value
    return "".join(
        c if c.isprintable() or c in "\n\t\u00a0" else c.encode("unicode_escape").decode()
        for c in value
    )


def together(text: str) -> str:
    """The text with every number on one line with its unit."""
    return _UNIT.sub("\u00a0", text)
