"""Candidates: every combination of settings, grouped by what they share."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import product
from operator import attrgetter
from typing import Any

from montecarlo.relays.gates import NO_GATE
from montecarlo.relays.schemes import Axis
from montecarlo.secondary.restraint import Bias
from montecarlo.study.axes import (
    AXES,
    BIAS,
    CIRCUIT,
    EARTH_BIAS,
    OWN,
    PICKUPS,
    STEPS,
    Grids,
    Setting,
)
from montecarlo.study.circuits import Circuit, depends_on, scheme_of
from montecarlo.study.description import Study
from montecarlo.study.ranges import are_searched, at_first


def neighbours(settings: Sequence[Setting], of: Setting) -> dict[Setting, str]:
    """The settings that differ from one on one axis, by one step of those that occur there; of
    gates, which have no order, any other.

    Parameters
    ----------
    settings : sequence of Setting
    of : Setting

    Returns
    -------
    dict of Setting to str
        With the axis.
    """
    found: dict[Setting, str] = {}
    for axis in STEPS:
        rest = attrgetter("scheme", *(other for other in STEPS if other != axis))
        own = getattr(of, axis)
        if own is None:
            continue
        line = {getattr(one, axis): one for one in settings if rest(one) == rest(of)}
        values = sorted({value for value in (*line, own) if value is not None})
        at = values.index(own)
        beside = values[max(at - 1, 0) : at] + values[at + 1 : at + 2]
        for value in [one for one in values if one != own] if isinstance(own, str) else beside:
            found[line[value]] = axis
    return found


@dataclass(frozen=True)
class End:
    """A setting at an end of the range that was judged: its axis, its value, the range, and which
    end."""

    axis: str
    value: float
    low: float
    high: float

    @property
    def lowest(self) -> bool:
        """Whether it is the lower end."""
        return self.value <= self.low


def ends_of_ranges(study: Study, setting: Setting) -> tuple[End, ...]:
    """The axes on which a setting stands at an end of its range, where the range could go further.

    Not where the relay's own range ends there, nor below 0. A list of one value is no range.

    Parameters
    ----------
    study : Study
    setting : Setting

    Returns
    -------
    tuple of End
    """
    scheme = scheme_of(study, setting.scheme)
    own = [axis.key for axis in AXES if axis.in_scheme(scheme)]
    found = []
    for axis in (key for key in STEPS if key in own):
        values = getattr(study.candidates, axis)
        value = getattr(setting, axis)
        if value is None or isinstance(value, str) or len(values) < 2:
            continue
        end = End(axis, value, min(values), max(values))
        if (end.lowest or value >= end.high) and not _ends_there(study, end):
            found.append(end)
    return tuple(found)


def _ends_there(study: Study, end: End) -> bool:
    """Whether nothing beyond could be set: less than a step is left of the relay's range, or a
    value would fall below 0."""
    relay = study.relay
    if end.axis not in PICKUPS:
        return end.lowest and end.value <= 0
    step = relay.step_a or 0.0
    low, high = relay.range_a or (step, math.inf)
    slack = 1e-9 * end.value  # of the grid's rounding
    if end.lowest:
        return end.value - step < low - slack or end.value <= low + slack
    return end.value + step > high + slack or end.value >= high - slack


@dataclass(frozen=True)
class Own:
    """What the earth element and high-set elements have for themselves, by axis. None: what all
    have; of the high-set pick-up, no such element."""

    earth_delay_s: float | None = None
    earth_first_slope: float | None = None
    earth_second_slope: float | None = None
    earth_turning_point_a: float | None = None
    high_set_pickup_a: float | None = None
    high_set_delay_s: float | None = None
    gate: str | None = None
    earth_gate: str | None = None

    def gate_of(self, stage: Axis) -> str | None:
        """The gate of some elements; None without one.

        Parameters
        ----------
        stage : "phase", "earth" or "high_set"

        Returns
        -------
        str or None
        """
        name = {"phase": self.gate, "earth": self.earth_gate}.get(stage)
        return None if name == NO_GATE else name

    def plain(self) -> Own:
        """The same without a second slope that is none, and without a delay of no element.

        Returns
        -------
        Own
        """
        own = self
        if self.earth_second_slope in (None, self.earth_first_slope):
            own = replace(own, earth_second_slope=None, earth_turning_point_a=None)
        return own if self.high_set_pickup_a is not None else replace(own, high_set_delay_s=None)


NOTHING_OWN = Own()


@dataclass(frozen=True)
class Lattice:
    """Settings on one circuit with one bias: phase pick-ups x earth pick-ups x delays. What an
    element has for itself is the same for all of them."""

    circuit: Circuit
    bias: Bias | None
    phase_pickup_a: tuple[float, ...]  # empty: no phase element
    earth_pickup_a: tuple[float, ...]  # empty: no earth element
    delay_s: tuple[float, ...]
    own: Own = NOTHING_OWN

    @property
    def scheme(self) -> str:
        """Its circuit's."""
        return self.circuit.scheme

    @property
    def stabilising_resistance_ohm(self) -> float:
        """Its circuit's. [ohm]"""
        return self.circuit.stabilising_resistance_ohm

    @property
    def shared(self) -> dict[str, float | None]:
        """What all its settings share, by axis: all but pick-ups and the delay of all elements."""
        bias = dict.fromkeys(BIAS) if self.bias is None else vars(self.bias)
        values = {**vars(self.circuit), **bias, **vars(self.own)}
        return {key: values[key] for key in (*CIRCUIT, *BIAS, *OWN)}

    def bias_of(self, stage: Axis) -> Bias | None:
        """The slopes of some elements.

        Parameters
        ----------
        stage : "phase", "earth" or "high_set"

        Returns
        -------
        Bias or None
        """
        own = self.own
        if stage == "high_set":
            return None
        if stage == "phase" or own.earth_first_slope is None:
            return self.bias
        return Bias(*(getattr(own, key) for key in EARTH_BIAS))

    def delays_of(self, stage: Axis) -> tuple[float, ...]:
        """The delays of some elements: one, where it is their own. [s]

        Parameters
        ----------
        stage : "phase", "earth" or "high_set"

        Returns
        -------
        tuple of float
        """
        own = None if stage == "phase" else getattr(self.own, f"{stage}_delay_s")
        return self.delay_s if own is None else (own,)

    def pickups_of(self, stage: Axis) -> tuple[float, ...]:
        """The pick-ups of some elements; empty without such an element. [A]

        Parameters
        ----------
        stage : "phase", "earth" or "high_set"

        Returns
        -------
        tuple of float
        """
        if stage == "high_set":
            return _one(self.own.high_set_pickup_a)
        return self.phase_pickup_a if stage == "phase" else self.earth_pickup_a

    @property
    def shape(self) -> tuple[int, int, int]:
        """Numbers of phase pick-ups, earth pick-ups and delays, at least 1 each."""
        return max(len(self.phase_pickup_a), 1), max(len(self.earth_pickup_a), 1), len(self.delay_s)

    @property
    def phase_thresholds(self) -> tuple[float, ...]:
        """Phase pick-ups; infinite where there is no phase element."""
        return self.phase_pickup_a or (math.inf,)

    @property
    def earth_thresholds(self) -> tuple[float, ...]:
        """Earth pick-ups; infinite where there is no earth element."""
        return self.earth_pickup_a or (math.inf,)

    def settings(self) -> Iterator[Setting]:
        """Every setting, in the order of an array of `shape`.

        Yields
        ------
        Setting
        """
        phases, earths = self.phase_pickup_a or (None,), self.earth_pickup_a or (None,)
        shared = self.shared
        for phase, earth, delay in product(phases, earths, self.delay_s):
            yield Setting(
                scheme=self.scheme,
                phase_pickup_a=phase,
                earth_pickup_a=earth,
                delay_s=delay,
                **shared,  # type: ignore[arg-type]
            )


def settings_of(lattices: Iterable[Lattice]) -> list[Setting]:
    """Every setting, lattice after lattice: the order of candidates everywhere.

    Parameters
    ----------
    lattices : iterable of Lattice

    Returns
    -------
    list of Setting
    """
    return [setting for lattice in lattices for setting in lattice.settings()]


def existing_setting(study: Study) -> Setting | None:
    """The existing setting, if the study names one.

    Parameters
    ----------
    study : Study

    Returns
    -------
    Setting or None
    """
    existing = study.candidates.existing
    if existing is None:
        return None
    kind = next(k for k in study.scheme.kinds if existing.scheme in (None, k))
    scheme = scheme_of(study, kind)
    values = {
        axis.key: getattr(existing, axis.key) if axis.in_scheme(scheme) else None for axis in AXES
    }
    if values["second_slope"] in (None, values["first_slope"]):  # one slope has no turning point
        values |= {"second_slope": None, "turning_point_a": None}
    for key in ("gate", "earth_gate"):
        if values[key] is None and getattr(study.candidates, key):
            values[key] = NO_GATE
    values |= vars(Own(*(values[key] for key in OWN)).plain())
    if not scheme.stabilised:
        values |= dict.fromkeys(CIRCUIT, 0.0)
    return Setting(kind, **values)  # type: ignore[arg-type]


def biases_of(grids: Grids, stage: Axis = "phase") -> tuple[Bias | None, ...]:
    """Every combination of slopes; a second slope that equals the first has no turning point.

    Parameters
    ----------
    grids : Grids
    stage : "phase" or "earth", optional
        Whose: the earth element may have its own.

    Returns
    -------
    tuple of Bias
        None alone where the scheme has no bias.
    """
    own = stage == "earth" and bool(grids.values.get(EARTH_BIAS[0]))
    keys = EARTH_BIAS if own else BIAS
    if keys[0] not in grids.values:
        return (None,)
    every = [grids.values.get(key) or (None,) for key in keys]
    biases = (Bias(*values).plain() for values in product(*every))  # type: ignore[arg-type]
    return tuple(dict.fromkeys(biases))


def owns_of(grids: Grids) -> tuple[Own, ...]:
    """Every combination of what elements have for themselves.

    Parameters
    ----------
    grids : Grids

    Returns
    -------
    tuple of Own
    """
    every: list[tuple[Any, ...]] = [grids.values.get(key) or (None,) for key in OWN]
    owns = (Own(*values).plain() for values in product(*every))
    return tuple(dict.fromkeys(owns))


def _split(study: Study, whole: Lattice) -> Iterator[Lattice]:
    """The lattices on one circuit: one, or one a pick-up on which legs depend."""
    scheme, circuit = scheme_of(study, whole.scheme), whole.circuit

    def groups(
        axis: Axis, pickups: tuple[float, ...]
    ) -> list[tuple[tuple[float, ...], float | None]]:
        """Pick-ups that share a circuit, and the one on which the circuit depends."""
        if not scheme.of(axis):
            return [((), None)]
        if not depends_on(study, scheme, axis):
            return [(pickups, None)]
        return [((pickup,), pickup) for pickup in pickups]

    for some, phase_a in groups("phase", whole.phase_pickup_a):
        for others, earth_a in groups("earth", whole.earth_pickup_a):
            own = replace(circuit, phase_pickup_a=phase_a, earth_pickup_a=earth_a)
            yield replace(whole, circuit=own, phase_pickup_a=some, earth_pickup_a=others)


def lattices_of(study: Study, *settings: Setting) -> tuple[Lattice, ...]:
    """One-candidate lattices, for an independent sample or a setting off the study's grid.

    Parameters
    ----------
    study : Study
    *settings : Setting

    Returns
    -------
    tuple of Lattice
    """
    found: list[Lattice] = []
    for s in settings:
        bias = None if s.first_slope is None else Bias(*(getattr(s, key) for key in BIAS))
        whole = Lattice(
            Circuit(s.scheme, **{key: getattr(s, key) for key in CIRCUIT}),
            bias,
            _one(s.phase_pickup_a),
            _one(s.earth_pickup_a),
            (s.delay_s,),
            Own(*(getattr(s, key) for key in OWN)),
        )
        found += _split(study, whole)
    return tuple(found)


def _one(pickup: float | None) -> tuple[float, ...]:
    return () if pickup is None else (pickup,)


def grids_of(study: Study) -> tuple[Grids, ...]:
    """What the study states, scheme by scheme: of each axis that the scheme has.

    Parameters
    ----------
    study : Study

    Returns
    -------
    tuple of Grids
    """
    found = []
    for kind in study.scheme.kinds:
        scheme = scheme_of(study, kind)
        own = [axis.key for axis in AXES if axis.in_scheme(scheme)]
        found.append(Grids(kind, {key: getattr(study.candidates, key) for key in own}))
    return tuple(found)


def is_searched(study: Study) -> bool:
    """Whether the best of its settings are sought and none was found yet.

    Parameters
    ----------
    study : Study

    Returns
    -------
    bool
    """
    return not study.candidates.found and are_searched(grids_of(study))


def with_found(study: Study, found: Sequence[Grids]) -> Study:
    """The study after a search.

    Parameters
    ----------
    study : Study
    found : sequence of Grids
        What the search left of its candidates; nothing leaves them as they are.

    Returns
    -------
    Study
    """
    return study.model_copy(update={"candidates": study.candidates.narrowed(found)})


def lattices_on(study: Study, grids: Grids) -> Iterator[Lattice]:
    """Every combination of a scheme's grids.

    Parameters
    ----------
    study : Study
    grids : Grids

    Yields
    ------
    Lattice
    """
    stiff = [grids.values.get(key, (0.0,)) for key in CIRCUIT]
    for values in product(*stiff):
        for bias, own in product(biases_of(grids), owns_of(grids)):
            whole = Lattice(
                Circuit(grids.scheme, **dict(zip(CIRCUIT, values, strict=True))),
                bias,
                grids.values.get("phase_pickup_a", ()),
                grids.values.get("earth_pickup_a", ()),
                grids.values["delay_s"],
                own,
            )
            yield from _split(study, whole)


def grid_lattices(study: Study) -> tuple[Lattice, ...]:
    """The settings that the grids span; of ranges that are searched, what the search left, or
    before it those where it begins.

    Parameters
    ----------
    study : Study

    Returns
    -------
    tuple of Lattice
    """
    grids = study.candidates.found or grids_of(study)
    if is_searched(study):
        grids = tuple(map(at_first, grids))
    return tuple(lattice for one in grids for lattice in lattices_on(study, one))


def candidate_lattices(study: Study) -> tuple[Lattice, ...]:
    """All candidates; the existing setting comes last, in a lattice of its own, unless it is one of
    them.

    Parameters
    ----------
    study : Study

    Returns
    -------
    tuple of Lattice
    """
    found, existing = grid_lattices(study), existing_setting(study)
    if existing is None or existing in settings_of(found):
        return found
    return (*found, *lattices_of(study, existing))
