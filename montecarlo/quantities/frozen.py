"""Tables that stay as they were read, also after travelling to a worker."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NoReturn


class FrozenDict(dict[str, Any]):
    """A dict that refuses every change."""

    def _refuse(self, *_: Any, **__: Any) -> NoReturn:
        raise TypeError("a study cannot be changed; read it again with other values")

    __setitem__ = __delitem__ = __ior__ = _refuse
    clear = pop = popitem = setdefault = update = _refuse

    def __reduce__(self) -> tuple[type, tuple[dict[str, Any]]]:
        return type(self), (dict(self),)


def frozen(value: Any) -> Any:
    """Tables as `FrozenDict` and lists as tuples, however deep.

    Parameters
    ----------
    value : object

    Returns
    -------
    object
        Itself, where it is neither.
    """
    if isinstance(value, Mapping):
        return FrozenDict({key: frozen(item) for key, item in value.items()})
    if isinstance(value, (list, tuple)):
        return tuple(map(frozen, value))
    return value


def thawed(value: Any) -> Any:
    """The same as plain dicts and lists, as a file is read.

    Parameters
    ----------
    value : object

    Returns
    -------
    object
    """
    if isinstance(value, Mapping):
        return {key: thawed(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [thawed(item) for item in value]
    return value
