"""What is sampled by itself: a type of internal fault, an external event, a state."""

from __future__ import annotations

from enum import StrEnum


class Side(StrEnum):
    """Where the fault is, if there is one."""

    INTERNAL = "internal"
    EXTERNAL = "external"
    STATE = "state"


class Stratum(str):
    """A stratum is its own name, "side.kind": the key of tallies, files and random numbers.

    Its parts are read here and nowhere else.

    Parameters
    ----------
    name : str
        As "internal.earth", "external.close_in", "state.load".

    Attributes
    ----------
    side : Side
    kind : str
        Type of the internal fault, or name of the event or state.

    Raises
    ------
    ValueError
        If the name has no such side.
    """

    side: Side
    kind: str

    def __new__(cls, name: str) -> Stratum:
        side, _, kind = name.partition(".")
        self = super().__new__(cls, name)
        self.side = Side(side)
        self.kind = kind
        return self

    @classmethod
    def of(cls, side: Side, kind: str) -> Stratum:
        """The stratum of a kind on a side.

        Parameters
        ----------
        side : Side
        kind : str

        Returns
        -------
        Stratum
        """
        return cls(f"{side}.{kind}")


EARTH = Stratum("internal.earth")
PHASE_PHASE_EARTH = Stratum("internal.phase_phase_earth")
EVOLVING = Stratum("internal.evolving")
INTER_TURN = Stratum("internal.inter_turn")
LOAD = Stratum("state.load")
OVERLOAD = Stratum("state.overload")
