"""A study's pick-ups as its relay can be set."""

from __future__ import annotations

from collections.abc import Iterator

from montecarlo.relays.elements import Relay
from montecarlo.study.axes import PICKUPS
from montecarlo.study.description import Candidates, Study
from montecarlo.study.grids import Snapped, snap

__all__ = ["snapped"]


def snapped(study: Study) -> tuple[Study, tuple[str, ...], list[str]]:
    """The study with its pick-ups at the relay's steps.

    Parameters
    ----------
    study : Study

    Returns
    -------
    tuple of Study, tuple of str and list of str
        With what was moved, and the faults of pick-ups out of the relay's range.
    """
    relay = study.relay
    if relay.step_a is None and relay.range_a is None:
        return study, (), []
    told: list[str] = []
    faults: list[str] = []
    grids: dict[str, tuple[float, ...]] = {}
    for name in PICKUPS:
        given: tuple[float, ...] = getattr(study.candidates, name)
        if given:
            moved = snap(given, relay.step_a, relay.range_a)
            grids[name] = given if moved.outside else moved.points
            told += _moves(f"candidates.{name}", given, moved, relay)
            faults += _outside(f"candidates.{name}", moved, relay)
    candidates: Candidates = study.candidates.model_copy(update=grids)
    return study.model_copy(update={"candidates": candidates}), tuple(told), faults


def _moves(key: str, given: tuple[float, ...], snapped: Snapped, relay: Relay) -> Iterator[str]:
    if snapped.moved:
        moves = ", ".join(f"{one:g} to {other:g}" for one, other in snapped.moved[:6])
        more = f" and {len(snapped.moved) - 6} more" if len(snapped.moved) > 6 else ""
        yield f"{key}: moved to the relay's step of {relay.step_a:g} A: {moves} A{more}."
    lost = len(given) - len(snapped.outside) - len(snapped.points)
    if lost:
        yield (
            f"{key}: {lost} of {len(given)} pick-ups fell on another's step; {len(snapped.points)}"
            " are left."
        )


def _outside(key: str, snapped: Snapped, relay: Relay) -> Iterator[str]:
    if not snapped.outside:
        return
    first = ", ".join(f"{value:g}" for value in snapped.outside[:4])
    more = f" and {len(snapped.outside) - 4} more" if len(snapped.outside) > 4 else ""
    if relay.range_a is None:
        limit = (
            f"which would be set to 0 by the relay's step of {relay.step_a:g} A; start the grid at"
            " one step"
        )
    else:
        limit = "{:g} ... {:g} A is the relay's range; keep the grid inside it".format(
            *relay.range_a
        )
    yield f"{key}: {first} A{more}, {limit}"
