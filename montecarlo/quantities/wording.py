"""How keys and values of a study file are shown in a message: always one line."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Mapping

LONGEST = 60  # characters of a value in a message
# of a number that is not 0: far below any quantity, and its powers can still be divided by
LEAST = 1e-30
NOT_TOO_NEAR_ZERO = f"must be 0 or at least {LEAST:g} either way"

LABEL = f"must be of 1 to {LONGEST} printable characters; it stands in tables and figures"
WORD = f"a word of at most {LONGEST} letters, digits and _"


def fit_for_label(text: str) -> bool:
    """Whether a person's name for something can stand in a cell or beside a line: see `LABEL`.

    Parameters
    ----------
    text : str

    Returns
    -------
    bool
    """
    return text.isprintable() and 1 <= len(text) <= LONGEST


def too_near_zero(value: object) -> bool:
    """Whether a value is a number between 0 and `LEAST` either way, which no quantity is.

    Parameters
    ----------
    value : object

    Returns
    -------
    bool
    """
    return isinstance(value, float) and 0 < abs(value) < LEAST


def is_word(text: str) -> bool:
    """Whether a name can be part of keys, columns and file names: see `WORD`.

    Parameters
    ----------
    text : str

    Returns
    -------
    bool
    """
    return text.isidentifier() and text.isascii() and len(text) <= LONGEST


def one_line(text: str) -> str:
    """The text with line breaks and other unprintable characters escaped.

    Parameters
    ----------
    text : str

    Returns
    -------
    str
    """
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in text)


def shortened(text: str) -> str:
    """What a library says, on one line, its middle left out where it is long.

    Parameters
    ----------
    text : str

    Returns
    -------
    str
    """
    text = one_line(text)
    return text if len(text) <= 3 * LONGEST else f"{text[: 2 * LONGEST]} ... {text[-LONGEST:]}"


def shown(value: object) -> str:
    """A value as the study file would write it, on one line.

    Parameters
    ----------
    value : object

    Returns
    -------
    str
        At most `LONGEST` characters.
    """
    match value:
        case bool():
            return "true" if value else "false"
        case str():
            text = json.dumps(value, ensure_ascii=False)
        case int() if abs(value) >= 10**30:
            return "a whole number of more than 30 digits"
        case float():
            text = f"{value:.12g}"
            text += ".0" if text.lstrip("-").isdigit() else ""
        case Mapping():
            pairs = [f"{bare(key)} = {_brief(item)}" for key, item in [*value.items()][:9]]
            text = f"{{{', '.join(pairs)}}}"
        case list() | tuple():
            items = [_brief(item) for item in value[:9]]
            if len(value) > 9:
                items.append("...")
            text = f"[{', '.join(items)}]"
        case None:
            return "nothing"
        case _:
            text = str(value)
    text = one_line(text)
    return text if len(text) <= LONGEST else text[: LONGEST - 4] + " ..."


def _brief(value: object) -> str:
    match value:
        case Mapping():
            return "{...}"
        case list() | tuple():
            return "[...]"
    return shown(value)


def bare(key: object) -> str:
    """A key as TOML writes it: quoted where it is not a plain word.

    Parameters
    ----------
    key : object

    Returns
    -------
    str
    """
    text = str(key)
    return text if re.fullmatch(r"[A-Za-z0-9_-]{1,60}", text) else shown(text)


def listed(words: Iterable[str], last: str = "and") -> str:
    """Words as a list in a sentence: a, b and c.

    Parameters
    ----------
    words : iterable of str
    last : str
        What stands before the last of them.

    Returns
    -------
    str
    """
    items = list(words)
    return f" {last} ".join(filter(None, (", ".join(items[:-1]), *items[-1:])))
