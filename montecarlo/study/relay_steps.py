"""A study's pick-ups as its relay can be set."""

from __future__ import annotations

from collections.abc import Iterator

from montecarlo.quantities.wording import listed
from montecarlo.relays.elements import Relay
from montecarlo.study.axes import AT_STEPS, CURRENTS, PICKUPS, Candidates
from montecarlo.study.description import Study
from montecarlo.study.grids import (
    STEP_KEYS,
    Moved,
    Range,
    Snapped,
    like,
    snap,
    steps_within,
)


def snapped(study: Study) -> tuple[Study, list[str]]:
    """The study with its pick-ups at the relay's steps, and what was moved.

    Parameters
    ----------
    study : Study

    Returns
    -------
    tuple of Study and list of str
        With the faults of pick-ups out of the relay's range.
    """
    study, unstepped = _at_steps(study)
    relay = study.relay
    if unstepped or (relay.step_a is None and relay.range_a is None):
        return study, unstepped
    moves: list[Moved] = []
    faults: list[str] = []
    grids: dict[str, tuple[float, ...]] = {}
    for name in AT_STEPS:
        given: tuple[float, ...] = getattr(study.candidates, name)
        if not given:
            continue
        key = f"candidates.{study.candidates.key_of(name)}"
        set_to = snap(given, relay.step_a, _range_of(name, relay))
        grids[name] = given if set_to.outside else like(given, set_to.points)
        left = len(set_to.points)
        lost = len(given) - len(set_to.outside) - left
        if set_to.moved or lost:
            moves.append(Moved(key, relay.step_a, set_to.moved, len(given), lost, left))
        faults += _outside(key, set_to, relay)
    candidates: Candidates = study.candidates.model_copy(update=grids)
    moved = study.model_copy(update={"candidates": candidates})
    moved._moves = tuple(moves)
    return moved, faults


def _at_steps(study: Study) -> tuple[Study, list[str]]:
    """The study with every step of its relay in ranges that name none, and what cannot be."""
    relay, candidates = study.relay, study.candidates
    faults: list[str] = []
    grids: dict[str, tuple[float, ...]] = {}
    for name in CURRENTS:
        given: tuple[float, ...] = getattr(candidates, name)
        if not isinstance(given, Range) or given.stepped:
            continue
        key = f"candidates.{candidates.key_of(name)}"
        if name not in AT_STEPS:
            faults.append(f"{key}.step: missing; a range takes {listed(STEP_KEYS)}")
        elif relay.step_a is None:
            faults.append(f"{key}.step: missing; give one, or the relay's own in relay.step_a")
        elif (ends := snap(given, None, _range_of(name, relay))).outside:
            faults += _outside(key, ends, relay)
        elif points := steps_within(given, relay.step_a, _range_of(name, relay)):
            grids[name] = given.with_points(points, stepped=True)
        else:
            faults.append(
                f"{key}: {given[0]:g} ... {given[-1]:g} A holds no step of the relay"
                f" (relay.step_a = {relay.step_a:g} A); widen the range"
            )
    moved = candidates.model_copy(update=grids)
    return study.model_copy(update={"candidates": moved}), faults


def _range_of(name: str, relay: Relay) -> tuple[float, float] | None:
    """Of a pick-up; a high-set element's own is wider, and nobody states it."""
    return relay.range_a if name in PICKUPS else None


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
