"""How a run says how far it is."""

from __future__ import annotations

from collections.abc import Callable

Progress = Callable[[int, int, str], None]  # samples done, of how many, doing what


def silent(done: int, total: int, what: str) -> None:
    """Progress that nobody wants to see.

    Parameters
    ----------
    done, total : int
    what : str
    """


def named_progress(tell: Progress, name: str) -> Progress:
    """Progress that also says of which study, assumption set, model or wider inputs it is.

    Parameters
    ----------
    tell : Progress
    name : str

    Returns
    -------
    Progress
    """
    return lambda done, total, what: tell(done, total, f"{what}, {name}")
