"""How far inputs may be off before a choice breaks a limit or is no longer the best, as data."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import Enum

from montecarlo.study.axes import Setting
from montecarlo.study.shifts import Way


class Unasked(Enum):
    """Why there is no radius."""

    NO_LIMIT = "no limit"  # the policy has none that could break
    TOO_FEW = "too few"  # the samples that can be solved again do not show the limit


class Reason(Enum):
    """Why another setting would be chosen."""

    LIMIT = "limit"  # the chosen one breaks the policy's limit
    LOAD = "load"  # it operates on load
    KNEE = "knee"  # it breaks the knee rule
    MISSES = "misses"  # another one misses less by more than the margin


@dataclass(frozen=True)
class Change:
    """Where another setting would be chosen, and why.

    Attributes
    ----------
    distance : float
        In the input's unit, up to which the choice stands.
    reason : Reason
    setting : Setting or None
        The one that misses less.
    """

    distance: float
    reason: Reason
    setting: Setting | None = None


@dataclass(frozen=True)
class Margin:
    """How far one input may be off in one way.

    Attributes
    ----------
    key, unit, event : str
        event: the external event that alone has it, or "".
    way : Way
    centre, half_width : float
        In the unit.
    shortest, longest : float
        Ends of what is drawn, in the unit; infinite without an end.
    breaks : float or None
        Distance up to which the limit is kept, in the unit; None: it does not break within reach.
    change : Change or None
        Within reach.
    reach : float
        Distance that was looked at; 0 where the input cannot be moved, or where too few hits leave
        it open.
    cut : bool
        Whether that is less than the policy's reach, as values end to be possible there.
    """

    key: str
    unit: str
    event: str
    way: Way
    centre: float
    half_width: float
    shortest: float
    longest: float
    breaks: float | None
    change: Change | None
    reach: float
    cut: bool

    @property
    def nearest(self) -> float:
        """Half-widths to what comes first; infinite where nothing does."""
        found = [math.inf if self.breaks is None else self.breaks]
        found.append(math.inf if self.change is None else self.change.distance)
        return min(found) / self.half_width


@dataclass(frozen=True)
class Radius:
    """The margins of a chosen setting, the nearest first.

    Attributes
    ----------
    margins : tuple of Margin
        One for each input and way.
    unasked : Unasked or None
        Why there are none.
    reach : float
        In half-widths.
    samples : int
        Of each external event that was solved again.
    undecided : int
        Ways of inputs that too few hits of weighted samples leave open.
    numbers : int
        Plain numbers that external events use: they have no width, and are not moved.
    rivals : int
        Other settings that were looked at; 0 where changes are not asked.
    nearer : int
        Ways that were looked at less far, as too few weighted samples trip beyond.
    """

    margins: tuple[Margin, ...]
    unasked: Unasked | None
    reach: float
    samples: int = 0
    numbers: int = 0
    undecided: int = 0
    rivals: int = 0
    nearer: int = 0
