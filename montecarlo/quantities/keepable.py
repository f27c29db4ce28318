"""Classes that may be written to a file of finished work and read again: those that say so.

A reader builds nothing else, so that no file can bring code."""

from __future__ import annotations

from typing import TypeVar

Class = TypeVar("Class", bound=type)

KEEPABLE: dict[str, type] = {}  # by their names


def keepable(each: Class) -> Class:
    """A decorator: results of this dataclass can be packed.

    Parameters
    ----------
    each : type
        A dataclass of arrays, plain values and other keepable classes, of a name of its own.

    Returns
    -------
    type
        The same class.
    """
    assert each.__name__ not in KEEPABLE, f"two keepable classes are called {each.__name__}"
    KEEPABLE[each.__name__] = each
    return each
