"""How a run says how far it is, and what its stages are called."""

from __future__ import annotations

from collections.abc import Callable

# How much is done, of how much, in which stage. 0 done begins a stage; 0 of 0 is no stage but
# something that may take a while.
Progress = Callable[[int, int, str], None]

SELECTION, INDEPENDENT = "selection sample", "independent sample"
RARE = "rare false trips"
WIDER_INPUTS = "wider inputs"
COMPILING = "compiling the solvers (first use only)"


def search_stage(number: int, of: int) -> str:
    """One step of the search for what makes elements operate.

    Parameters
    ----------
    number, of : int

    Returns
    -------
    str
    """
    return f"search for {RARE}, step {number} of {of}"


def narrowing_stage(number: int) -> str:
    """One round of the search for the best settings.

    Parameters
    ----------
    number : int

    Returns
    -------
    str
    """
    return f"search for settings, round {number}"


def radius_stage(number: int) -> str:
    """One step of the search for how far inputs may be off.

    Parameters
    ----------
    number : int

    Returns
    -------
    str
    """
    return f"radius of the choice, step {number}"


def named_stage(what: str, name: str) -> str:
    """A stage of one study, assumption set or model among several.

    Parameters
    ----------
    what, name : str

    Returns
    -------
    str
    """
    return f"{what}, {name}"


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
    return lambda done, total, what: tell(done, total, named_stage(what, name))
