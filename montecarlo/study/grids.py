"""Grids of settings: a list of numbers or {from, to, step}, and the relay's step and range applied
to them."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic_core import core_schema

from montecarlo.quantities import Ranged
from montecarlo.quantities.reading import Fault, finite, refusal
from montecarlo.quantities.wording import bare, listed, shown

MOST_POINTS = 10_000  # of one grid
STEP_KEYS = ("from", "to", "step")


class Range(tuple[float, ...]):
    """A grid that is given by its ends. Where all ranges of a study have too many combinations, the
    best of them are sought.

    Attributes
    ----------
    stepped : bool
        Whether it holds every step; else its two ends, until the relay's steps are known.
    """

    stepped = True

    def with_points(self, points: Sequence[float], *, stepped: bool | None = None) -> Range:
        """The same range in another unit, or at the relay's steps.

        Parameters
        ----------
        points : sequence of float
        stepped : bool, optional
            As it is unless given.

        Returns
        -------
        Range
        """
        new = Range(points)
        new.stepped = self.stepped if stepped is None else stepped
        return new


def like(grid: tuple[float, ...], points: Sequence[float]) -> tuple[float, ...]:
    """Other points of the same kind of grid: of a range a range.

    Parameters
    ----------
    grid : tuple of float
    points : sequence of float

    Returns
    -------
    tuple of float
    """
    return grid.with_points(points) if isinstance(grid, Range) else tuple(points)


@dataclass(frozen=True)
class Moved:
    """Pick-ups of a grid that were set to the relay's steps.

    Attributes
    ----------
    key : str
        Of the grid.
    step_a : float or None
        The relay's step (A).
    pairs : tuple of pairs of float
        As given, as set (A).
    given, lost, left : int
        How many there were, fell on another's step, are left.
    """

    key: str
    step_a: float | None
    pairs: tuple[tuple[float, float], ...]
    given: int
    lost: int
    left: int


@dataclass(frozen=True)
class Axis(Ranged):
    """Unit, meaning and range of a grid of settings; read into a sorted tuple of different
    numbers.

    Attributes
    ----------
    at_relay_steps : bool
        Whether a range may leave out its step, which is the relay's then.
    """

    at_relay_steps: bool = False

    def read(self, value: object) -> tuple[float, ...]:
        """The grid that a file's value stands for.

        Parameters
        ----------
        value : object
            A list, or a table with from, to, step.

        Returns
        -------
        tuple of float
            Sorted, each once.
        """
        points = self._steps(dict(value)) if isinstance(value, Mapping) else self._listed(value)
        bad = [point for point in points if not self.holds(point)]
        if bad:
            more = f" and {len(bad) - 1} more" if len(bad) > 1 else ""
            raise refusal(f"{self.told(bad[0])}{more}, {self.cure}")
        return points

    def _listed(self, value: object) -> tuple[float, ...]:
        if not isinstance(value, (list, tuple)):
            cure = "give a list of numbers or { from = ..., to = ..., step = ... }"
            if finite(value) is not None:
                cure = f"write [{shown(value)}]"
            raise refusal(f"{shown(value)} is not a grid; {cure}")
        if not value:
            raise refusal(f"[] is empty; name at least one setting{self._in_unit()}")
        _count(len(value))
        points = [finite(item) for item in value]
        if None in points:
            raise refusal(
                f"{shown(value[points.index(None)])} is not a finite number; give"
                f" numbers{self._in_unit()}"
            )
        return tuple(sorted({point for point in points if point is not None}))

    def _in_unit(self) -> str:
        return "" if self.unit == "-" else f" in {self.unit}"

    def _steps(self, table: dict[str, Any]) -> tuple[float, ...]:
        faults: list[Fault] = [
            (bare(key), f"unknown in a range; it takes {listed(STEP_KEYS)}")
            for key in table
            if key not in STEP_KEYS
        ]
        faults += [
            (key, f"missing; a range takes {listed(STEP_KEYS)}")
            for key in self._needed
            if key not in table
        ]
        faults += [
            (key, f"{shown(table[key])} is not a finite number; give one")
            for key in STEP_KEYS
            if key in table and finite(table[key]) is None
        ]
        low, high, step = (finite(table.get(key)) for key in STEP_KEYS)
        if step is not None and not step > 0:
            faults.append(("step", f"{self.told(step)}, must be above 0"))
        if low is not None and high is not None and not low <= high:
            faults.append(
                ("from", f"{self.told(low)} lies above to = {self.told(high)}; swap them")
            )
        if faults or low is None or high is None:
            raise refusal(*faults)
        if step is None:
            return Range((low, high)).with_points((low, high), stepped=False)
        steps = (high - low) / step
        _count(steps + 1)
        # `to` belongs to the grid if a step lands on it
        count = math.floor(steps * (1 + 1e-12) + 1e-9) + 1
        return Range(sorted({without_dust(low + k * step) for k in range(count)}))

    @property
    def _needed(self) -> tuple[str, ...]:
        return STEP_KEYS[:2] if self.at_relay_steps else STEP_KEYS

    def __get_pydantic_core_schema__(
        self, source: Any, handler: GetCoreSchemaHandler
    ) -> core_schema.CoreSchema:
        return core_schema.no_info_plain_validator_function(self.read)

    def __get_pydantic_json_schema__(
        self, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        item = {"type": "number"} | self.bounds
        steps = {
            "type": "object",
            "additionalProperties": False,
            "required": list(self._needed),
            "properties": {
                "from": item | {"description": f"smallest setting [{self.unit}]"},
                "to": item | {"description": f"largest setting, included [{self.unit}]"},
                "step": {
                    "type": "number",
                    "exclusiveMinimum": 0,
                    "description": f"step of the grid [{self.unit}]",
                },
            },
        }
        return {"anyOf": [{"type": "array", "items": item, "minItems": 1}, steps]}


def _count(points: float) -> None:
    if not points <= MOST_POINTS:
        many = f"{points:.0f}" if points < 1e15 else "far too many"
        raise refusal(
            f"{many} points, must be at most {MOST_POINTS}; take a wider step or a narrower range"
        )


def without_dust(value: float) -> float:
    """A value without the dust of binary fractions: 0.1 + 2 * 0.1 is 0.3.

    Parameters
    ----------
    value : float

    Returns
    -------
    float
    """
    return float(f"{value:.12g}")


# --- the relay's step and range -----------------------------------------------


@dataclass(frozen=True)
class Snapped:
    """A grid of pick-ups as the relay can be set, what moved (from, to), and what it cannot be set
    to. [A]"""

    points: tuple[float, ...]
    moved: tuple[tuple[float, float], ...]
    outside: tuple[float, ...]


def steps_within(
    ends: Sequence[float], step: float, reach: tuple[float, float] | None
) -> tuple[float, ...]:
    """The relay's steps between two currents, counted from the lower end of its range, else from 0.

    Parameters
    ----------
    ends : sequence of float
        The first and the last of them bound the steps (A).
    step : float
        (A).
    reach : (float, float) or None
        The relay's range (A).

    Returns
    -------
    tuple of float
        Empty where there is none.

    Examples
    --------
    >>> steps_within((0.012, 0.03), 0.005, (0.005, 2.0))
    (0.015, 0.02, 0.025, 0.03)
    """
    low, high = reach or (0.0, math.inf)
    slack = 1e-9
    first = math.ceil((ends[0] - low) / step - slack)
    last = math.floor((min(ends[-1], high) - low) / step + slack)
    _count(last - first + 1)
    steps = (without_dust(low + k * step) for k in range(max(first, 0), last + 1))
    return tuple(current for current in steps if current > 0)


def snap(points: Sequence[float], step: float | None, reach: tuple[float, float] | None) -> Snapped:
    """Pick-ups moved to the relay's nearest step, counted from the lower end of its range, else
    from 0.

    Parameters
    ----------
    points : sequence of float
        (A).
    step : float or None
        (A).
    reach : (float, float) or None
        The relay's range (A).

    Returns
    -------
    Snapped
    """
    low, high = reach or (0.0, math.inf)
    tolerance = 1e-9 * max(abs(low), *points, step or 0.0)
    given = np.array(points, float)
    within = (given >= low - tolerance) & (given <= high + tolerance)
    at = given
    if step is not None:
        most = math.floor((high - low) / step + 1e-9) if high < math.inf else math.inf
        at = low + step * np.minimum(np.rint((given - low) / step), most)
    places = np.array([without_dust(place) for place in at.tolist()])
    usable = within & (places > 0)
    moved = usable & (np.abs(given - places) > tolerance)
    return Snapped(
        tuple(sorted(set(places[usable].tolist()))),
        tuple(zip(given[moved].tolist(), places[moved].tolist(), strict=True)),
        tuple(given[~usable].tolist()),
    )
