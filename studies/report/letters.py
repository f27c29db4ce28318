"""Texts of others made fit to be shown, and numbers kept beside their units."""

from __future__ import annotations

import re
from typing import Any

_UNIT = re.compile(r"(?<=\d) (?=(?:%|A|V|s|mA|uF|µF|ohm|Ω|pu|kV|MVA)(?![A-Za-z]))")
# A unit alone, not a part of a key, a name or an address
_WRITTEN = {"ohm": "Ω", "uF": "µF"}
_WORD = re.compile(r"(?<![\w./-])(ohm|uF)(?![\w/-])(?!\.\w)")
_DEGREES = re.compile(r"(?<=\d)[ \u00a0]?deg\b")
_ASCII = {"Ω": "ohm", "µ": "u", "μ": "u", "²": "^2", "√": "sqrt ", "×": "x", "·": "-", "±": "+-"}
_ASCII |= {"–": "-", "—": "-", "−": "-", "≥": ">=", "≤": "<=", "→": "->", "…": "..."}


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


def with_symbols(text: str) -> str:
    """The text with the signs of units: 200 Ω for 200 ohm, 3 µF for 3 uF, 30° for 30 deg."""
    signs = _WORD.sub(lambda found: _WRITTEN[found[1]], text)
    return _DEGREES.sub("°", signs)


def without_symbols(text: str) -> str:
    """The text in ASCII: 200 ohm for 200 Ω; other letters stay."""
    degrees = text.replace("°", " deg")
    return "".join(_ASCII.get(c, c) for c in degrees)


def fitting(text: str, encoding: str | None) -> str:
    """The text with signs of units where an encoding has them, else without."""
    signs = with_symbols(text)
    try:
        signs.encode(encoding or "ascii")
    except (UnicodeEncodeError, LookupError):
        return without_symbols(text)
    return signs
