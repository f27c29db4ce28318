"""Every kind of external event there is: a row for each word that `kind` may have."""

from __future__ import annotations

from collections.abc import Mapping
from functools import reduce
from operator import or_
from typing import TYPE_CHECKING, Annotated, Any, TypeAlias

from pydantic import Discriminator, Tag

from montecarlo.plant.events.base import Event
from montecarlo.plant.events.beyond_transformer import PhaseEarthBeyond, PhasePhaseBeyond
from montecarlo.plant.events.energisation import TransformerEnergisation
from montecarlo.plant.events.motor_start import MotorStart
from montecarlo.plant.events.out_of_phase import OutOfPhaseClosing
from montecarlo.plant.events.phase_earth import PhaseEarth
from montecarlo.plant.events.through_fault import ThroughFault

KINDS: dict[str, type[Event]] = {
    "three_phase": ThroughFault,
    "phase_phase": ThroughFault,
    "phase_earth": PhaseEarth,
    "phase_earth_beyond_transformer": PhaseEarthBeyond,
    "phase_phase_beyond_transformer": PhasePhaseBeyond,
    "transformer_energisation": TransformerEnergisation,
    "out_of_phase_closing": OutOfPhaseClosing,
    "motor_start": MotorStart,
}


def kind_of(table: Any) -> type[Event] | None:
    """The class of an event from its table in the file.

    Parameters
    ----------
    table : mapping or Event

    Returns
    -------
    type or None
        None where its `kind` is missing or no such word.
    """
    word = table.get("kind") if isinstance(table, Mapping) else getattr(table, "kind", None)
    return KINDS.get(word) if isinstance(word, str) else None


def _tag(table: Any) -> str | None:
    kind = kind_of(table)
    return kind.__name__ if kind else None


if TYPE_CHECKING:
    ExternalEvent: TypeAlias = Event
else:  # reads a table of the file as the class that its `kind` names
    _classes = [Annotated[kind, Tag(kind.__name__)] for kind in dict.fromkeys(KINDS.values())]
    ExternalEvent = Annotated[reduce(or_, _classes), Discriminator(_tag)]
