"""Schemes are data: which CT drives which leg, of which parts a leg's resistance consists, which
element watches it.

A row of the table is a leg, a column a CT; the entry is the sign (times the ratio matching) with
which the CT's current passes the leg. The solvers know the table, never a scheme's name."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Annotated, Literal

import numpy as np
from pydantic import field_validator

from montecarlo.quantities import Array, Distribution, Quantity, Section, number, word
from montecarlo.quantities.wording import WORD, is_word, shown
from montecarlo.relays.gates import Gate
from montecarlo.relays.nonlinear import NonlinearResistor
from montecarlo.relays.places import (
    CORE_BALANCE,
    GROUP_OF,
    GROUPS,
    NEUTRAL,
    OF_BRANCHES,
    PHASES,
    PLACES,
    SINGLE,
    STAR_LINK,
    places_of,
)

Phase = Literal["L1", "L2", "L3"]
Axis = Literal["phase", "earth", "high_set"]
AXES: tuple[Axis, ...] = ("phase", "earth")  # whose pick-ups span a lattice of settings
STAGES: tuple[Axis, ...] = (*AXES, "high_set")  # elements with pick-ups of their own
BiasForm = Literal["greater_of", "sum"]
BiasCurrent = Literal["mean", "sum", "largest", "vector_mean", "scalar_product", "residual_pair"]
RESIDUAL_PAIR = "residual_pair"  # of an earth element
OF_TWO_ENDS = ("vector_mean", "scalar_product")  # of those with a phase between them
MOST_LEGS = 16  # of a scheme of the study's own; return cores come on top
# between the two groups of branches of each phase
OF_GROUPS = ("split_phase", "core_balance", "neutral_to_neutral")
BUILT_IN = (
    "per_phase",
    "two_phase_one_earth",
    "biased",
    "restricted_earth_fault",
    "biased_restricted_earth_fault",
    "biased_with_restricted_earth_fault",
    *OF_GROUPS,
)


# --- what the study file says -------------------------------------------------


class CustomLeg(Section):
    """One leg of a scheme of the study's own."""

    name: Annotated[str, word("name of the leg")]
    cts: Annotated[
        tuple[str, ...],
        word(
            'CTs whose currents flow through the leg, as "neutral_end.L1", "-line_end.L1",'
            ' "neutral_conductor"; a minus exchanges S1 and S2'
        ),
    ]
    resistance_ohm: Annotated[
        Distribution,
        Quantity(
            "ohm", "resistance of the leg without the burden of its element", 0.0, usual=(0.0, 1e6)
        ),
    ] = number(0.0)
    stabilising: Annotated[
        bool, word("whether the candidates' stabilising resistance stands in this leg")
    ] = False


class CustomElement(Section):
    """One element of a scheme of the study's own."""

    leg: Annotated[str, word("leg of the element")]
    setting: Annotated[Literal["phase", "earth"], word("phase or earth: the pick-up that it takes")]
    bias_cts: Annotated[
        tuple[str, ...],
        word('CTs whose currents restrain it, as "neutral_end.L1"; none: not biased'),
    ] = ()


class CustomScheme(Section):
    """A scheme that needs no code: its legs and its elements."""

    name: Annotated[str, word("its name in scheme.kind: a word of letters, digits and _")]
    legs: Annotated[tuple[CustomLeg, ...], word("its legs, each a table")]
    elements: Annotated[
        tuple[CustomElement, ...],
        word("its elements, each a table: up to three with setting phase, one with setting earth"),
    ]


class SchemeChoice(Section):
    """The table [scheme]: one kind, or a list of kinds that are compared on the same sampled
    events."""

    kind: Annotated[
        str | tuple[str, ...],
        word(f"{', '.join(BUILT_IN)}, or the name of a scheme in [[scheme.custom]]"),
    ]
    watched_phases: Annotated[
        tuple[Phase, Phase], word("the two phases that have a phase element")
    ] = ("L1", "L3")
    phase_stabilising_ohm: Annotated[
        Distribution,
        Quantity(
            "ohm",
            "fixed resistor in series with every phase element that is not biased",
            0.0,
            usual=(0.0, 1e6),
        ),
    ] = number(0.0)
    balancing_resistance_ohm: (
        Annotated[
            Distribution,
            Quantity(
                "ohm",
                "relay circuit of the phase without an element; burden + resistor of the others"
                " unless given",
                0.0,
                usual=(0.0, 1e6),
            ),
        ]
        | None
    ) = None
    nonlinear_resistor: Annotated[
        NonlinearResistor | None,
        word(
            "across each relay circuit with a stabilising resistance and an element, as"
            " { c = 450.0, beta = 0.25 }; none unless given"
        ),
    ] = None
    leads: Annotated[
        Literal["four_wire", "six_wire"],
        word(
            "CT secondary leads. four_wire: the CTs of an end share a return core"
            " (ct.return_core_ohm); six_wire: each CT has its own return core, as long as its lead"
        ),
    ] = "four_wire"
    bias_form: Annotated[
        BiasForm,
        word(
            "when a biased element trips: greater_of (above the pick-up and above the bias) or sum"
            " (above both together)",
        ),
    ] = "sum"
    bias_current: Annotated[
        BiasCurrent,
        word(
            "restraining current: mean, sum or largest of the magnitudes of the ends' currents. Of"
            " two ends also vector_mean (half of their vector sum) or scalar_product (root of the"
            " product of their magnitudes and the cosine between them; 0 beyond 90 degrees). Of an"
            " earth element also residual_pair (half of the sum of two magnitudes: the line end's"
            " residual current and the neutral CT's)"
        ),
    ] = "mean"
    earth_bias_form: (
        Annotated[BiasForm, word("bias_form of a biased earth element, if its own")] | None
    ) = None
    earth_bias_current: (
        Annotated[BiasCurrent, word("bias_current of a biased earth element, if its own")] | None
    ) = None
    gates: Annotated[
        tuple[Gate, ...],
        word(
            "what may hold phase elements back, each a table [[scheme.gates]]; see candidates.gate"
        ),
    ] = ()
    custom: Annotated[
        tuple[CustomScheme, ...], word("schemes of the study's own, each a table [[scheme.custom]]")
    ] = ()

    @field_validator("watched_phases")
    @classmethod
    def _two_different(cls, value: tuple[Phase, Phase]) -> tuple[Phase, Phase]:
        if value[0] == value[1]:
            raise ValueError(f"{value[0]} is named twice; name two different phases")
        return value

    @property
    def kinds(self) -> tuple[str, ...]:
        """Those to be compared; one alone as a list of one."""
        return self.kind if isinstance(self.kind, tuple) else (self.kind,)

    def bias_form_of(self, stage: Axis) -> BiasForm:
        """When biased elements of a kind trip.

        Parameters
        ----------
        stage : "phase", "earth" or "high_set"

        Returns
        -------
        str
        """
        own = self.earth_bias_form if stage == "earth" else None
        return self.bias_form if own is None else own

    def bias_current_of(self, stage: Axis) -> BiasCurrent:
        """The restraining current of elements of a kind.

        Parameters
        ----------
        stage : "phase", "earth" or "high_set"

        Returns
        -------
        str
        """
        own = self.earth_bias_current if stage == "earth" else None
        return self.bias_current if own is None else own

    def own(self, kind: str) -> CustomScheme | None:
        """The scheme in [[scheme.custom]] of a name.

        Parameters
        ----------
        kind : str

        Returns
        -------
        CustomScheme or None
        """
        return next((scheme for scheme in self.custom if scheme.name == kind), None)


# --- a scheme -----------------------------------------------------------------


@dataclass(frozen=True)
class Leg:
    """A leg of the network. `parts`: keys of the resistances that add up to it."""

    name: str
    parts: tuple[str, ...]


@dataclass(frozen=True)
class Element:
    """An element and what it watches. `column` of per-element inputs (L1, L2, L3, earth); `bias`:
    the CTs, by their column of the table, whose currents restrain it."""

    leg: int
    axis: Axis
    column: int
    bias: tuple[int, ...] = ()


@dataclass(frozen=True, eq=False)
class Scheme:
    """Legs, CTs and elements: phase elements first, then the earth element, then high-sets."""

    kind: str
    places: tuple[int, ...]  # of the CTs, in `PLACES`
    legs: tuple[Leg, ...]
    table: Array  # (legs, places)
    elements: tuple[Element, ...]
    # of each CT's current, in the table already; empty: 1 each
    matching: tuple[float, ...] = ()

    @property
    def watch(self) -> tuple[int, ...]:
        """The leg of every element."""
        return tuple(element.leg for element in self.elements)

    @property
    def element_columns(self) -> tuple[int, ...]:
        """Which column of per-element inputs (L1, L2, L3, earth) each element has."""
        return tuple(element.column for element in self.elements)

    def of(self, axis: Axis) -> tuple[int, ...]:
        """Numbers of the elements that take one pick-up.

        Parameters
        ----------
        axis : "phase", "earth" or "high_set"

        Returns
        -------
        tuple of int
        """
        return tuple(k for k, element in enumerate(self.elements) if element.axis == axis)

    def element_name(self, number: int) -> str:
        """What tells an element from the others: its kind, and its leg where that has another name.

        Parameters
        ----------
        number : int
            In `elements`.

        Returns
        -------
        str
        """
        element = self.elements[number]
        leg = self.legs[element.leg].name
        kind = element.axis.replace("_", "-")
        return leg if leg == kind else f"{kind} {leg}"

    @property
    def groups(self) -> tuple[str, ...]:
        """The tables of [ct] that describe its CTs."""
        return tuple(dict.fromkeys(GROUP_OF[place] for place in self.places))

    @property
    def sharing(self) -> tuple[tuple[str, ...], ...]:
        """For every leg the tables of [ct] whose CTs drive it."""
        return tuple(
            tuple(dict.fromkeys(GROUP_OF[self.places[ct]] for ct in np.flatnonzero(row)))
            for row in self.table
        )

    @property
    def of_branches(self) -> bool:
        """Whether it has CTs at the groups of branches."""
        return any(group in OF_BRANCHES for group in self.groups)

    @property
    def biased(self) -> bool:
        """Whether an element has bias."""
        return any(element.bias for element in self.elements)

    @property
    def stabilised(self) -> bool:
        """Whether the candidates' stabilising resistance stands anywhere."""
        return any("stabilising" in leg.parts for leg in self.legs)

    @property
    def high_impedance(self) -> dict[int, Axis]:
        """Legs with a stabilising resistance and an element without bias, with the pick-up that it
        takes: a non-linear resistor may stand across them."""
        return {
            element.leg: element.axis
            for element in self.elements
            if element.axis in AXES
            and not element.bias
            and "stabilising" in self.legs[element.leg].parts
        }

    def path_ohm(self, axis: Axis, leg_ohm: Array) -> float:
        """The legs that a CT's current passes, for the CT of an element that has most. [ohm]

        Parameters
        ----------
        axis : "phase" or "earth"
        leg_ohm : (legs,) array (ohm)

        Returns
        -------
        float
        """
        cts = {
            int(ct)
            for k in self.of(axis)
            for ct in np.flatnonzero(self.table[self.elements[k].leg])
        }
        return max(float(leg_ohm[self.table[:, ct] != 0].sum()) for ct in cts)

    @property
    def parallel(self) -> int:
        """CTs that share the voltage of an element's leg, for the element that has most of them."""
        return max(int(np.count_nonzero(self.table[leg])) for leg in self.watch)

    def with_return_cores(self, groups: Sequence[str]) -> Scheme:
        """The same on four-wire leads: a row for each end whose CTs come back through one core.

        Parameters
        ----------
        groups : sequence of str
            Tables of [ct].

        Returns
        -------
        Scheme
        """
        scheme = self
        for group in groups:
            row = np.array([float(GROUP_OF[place] == group) for place in self.places])
            if row.any() and group not in SINGLE:
                scheme = replace(
                    scheme,
                    table=np.vstack([scheme.table, row]),
                    legs=(*scheme.legs, Leg(f"return core, {group}", (f"return.{group}",))),
                )
        return scheme

    def with_high_set(self) -> Scheme:
        """The same with a second element without bias on the leg of every phase element.

        Returns
        -------
        Scheme
        """
        own = [replace(self.elements[k], axis="high_set", bias=()) for k in self.of("phase")]
        return replace(self, elements=(*self.elements, *own))

    def matched(self, factors: Mapping[str, float]) -> Scheme:
        """The same with the CTs' currents scaled by ratio matching.

        Parameters
        ----------
        factors : mapping of str to float
            By group of CTs; 1 where none is given.

        Returns
        -------
        Scheme
        """
        columns = np.array([factors.get(GROUP_OF[place], 1.0) for place in self.places])
        return replace(self, table=self.table * columns, matching=tuple(columns.tolist()))


SIX = tuple(range(6))
_PHASE_ROWS = np.hstack([np.eye(3), -np.eye(3)])
_EARTH_ROW = np.array([[1.0, 1.0, 1.0, -1.0, -1.0, -1.0]])
_RESIDUAL = np.array([[-1.0, -1.0, -1.0, 1.0]])  # of the line end, less the neutral CT
_PHASE_PARTS = ("phase_burden", "phase_resistor")


def build_scheme(kind: str, watched: tuple[Phase, Phase] = ("L1", "L3")) -> Scheme:
    """A built-in scheme, each CT a place of its own, leads one-way.

    Parameters
    ----------
    kind : str
        One of `BUILT_IN`.
    watched : (str, str)
        The phases with an element in a scheme of two phases and earth.

    Returns
    -------
    Scheme

    Raises
    ------
    ValueError
        There is no such scheme.
    """
    if kind == "restricted_earth_fault":
        # line-end CTs in residual connection against the neutral's
        return Scheme(
            kind,
            (3, 4, 5, NEUTRAL),
            (Leg("earth", ("earth_burden", "stabilising")),),
            _RESIDUAL,
            (Element(0, "earth", 3),),
        )
    if kind == "split_phase":
        return _of_phases(kind, [*places_of("group_1"), *places_of("group_2")], _PHASE_ROWS)
    if kind == "core_balance":
        return _of_phases(kind, places_of(CORE_BALANCE), np.eye(3))
    if kind == "neutral_to_neutral":
        link, element = Leg("star link", ("earth_burden",)), Element(0, "earth", 3)
        return Scheme(kind, (PLACES.index(STAR_LINK),), (link,), np.eye(1), (element,))
    biased = tuple(Element(k, "phase", k, (k, k + 3)) for k in range(3))
    measured = tuple(Leg(phase, ("phase_burden",)) for phase in PHASES)
    residual = Leg("earth", ("earth_burden",))
    if kind == "biased":
        return Scheme(kind, SIX, measured, _PHASE_ROWS, biased)
    if kind == "biased_restricted_earth_fault":
        cts = (3, 4, 5, NEUTRAL)
        return Scheme(kind, cts, (residual,), _RESIDUAL, (Element(0, "earth", 3, (0, 1, 2, 3)),))
    if kind == "biased_with_restricted_earth_fault":
        table = np.zeros((4, 7))
        table[:3, :6], table[3, 3:] = _PHASE_ROWS, _RESIDUAL
        released = Element(3, "earth", 3, (3, 4, 5, 6))
        return Scheme(kind, (*SIX, NEUTRAL), (*measured, residual), table, (*biased, released))
    if kind == "per_phase":
        legs = tuple(Leg(phase, (*_PHASE_PARTS, "stabilising")) for phase in PHASES)
        return Scheme(kind, SIX, legs, _PHASE_ROWS, tuple(Element(k, "phase", k) for k in range(3)))
    if kind != "two_phase_one_earth":
        raise ValueError(f"{kind} is none of {', '.join(BUILT_IN)}")
    with_element = sorted(PHASES.index(phase) for phase in watched)
    legs = tuple(
        Leg(phase, _PHASE_PARTS if k in with_element else ("balancing",))
        for k, phase in enumerate(PHASES)
    )
    return Scheme(
        kind,
        SIX,
        (*legs, Leg("earth", ("earth_burden", "stabilising"))),
        np.vstack([_PHASE_ROWS, _EARTH_ROW]),
        (*(Element(k, "phase", k) for k in with_element), Element(3, "earth", 3)),
    )


def _of_phases(kind: str, places: Sequence[int], table: Array) -> Scheme:
    """An element without bias and without a resistor in each phase."""
    legs = tuple(Leg(phase, ("phase_burden",)) for phase in PHASES)
    elements = tuple(Element(k, "phase", k) for k in range(3))
    return Scheme(kind, tuple(places), legs, table, elements)


def build_custom(own: CustomScheme) -> Scheme:
    """A scheme of the study's own.

    Parameters
    ----------
    own : CustomScheme
        Of which `custom_faults` finds no fault.

    Returns
    -------
    Scheme
    """
    named = {signed(ct)[0] for leg in own.legs for ct in leg.cts}
    places = tuple(k for k, place in enumerate(PLACES) if place in named)
    column = {PLACES[place]: k for k, place in enumerate(places)}
    table = np.zeros((len(own.legs), len(places)))
    names = [leg.name for leg in own.legs]
    for row, leg in enumerate(own.legs):
        for ct in leg.cts:
            place, sign = signed(ct)
            table[row, column[place]] = sign
    elements = []
    for axis in AXES:
        mine = [item for item in own.elements if item.setting == axis]
        legs_of = [names.index(item.leg) for item in mine]
        inputs = _input_columns([own.legs[leg] for leg in legs_of]) if axis == "phase" else [3]
        elements += [
            Element(leg, axis, at, tuple(column[signed(ct)[0]] for ct in item.bias_cts))
            for item, leg, at in zip(mine, legs_of, inputs, strict=False)
        ]
    burdens: dict[int, tuple[str, ...]] = {}
    for element in elements:
        burdens[element.leg] = (*burdens.get(element.leg, ()), f"{element.axis}_burden")
    legs = []
    for row, leg in enumerate(own.legs):
        key = f"custom.{own.name}.legs.{leg.name}.resistance_ohm"
        stabilising = ("stabilising",) if leg.stabilising else ()
        legs.append(Leg(leg.name, (key, *burdens.get(row, ()), *stabilising)))
    return Scheme(own.name, places, tuple(legs), table, tuple(elements))


def build(choice: SchemeChoice, kind: str) -> Scheme:
    """A scheme of the table [scheme], built-in or of the study's own.

    Parameters
    ----------
    choice : SchemeChoice
    kind : str
        One of its kinds.

    Returns
    -------
    Scheme

    Raises
    ------
    ValueError
        There is no such scheme.
    """
    own = choice.own(kind)
    return build_scheme(kind, choice.watched_phases) if own is None else build_custom(own)


def _input_columns(legs: Sequence[CustomLeg]) -> list[int]:
    """Which of the inputs of L1, L2 and L3 each phase element has: its phase's where its leg's CTs
    are all of one, as in the built-in schemes, and else the next that is free."""
    wanted: list[int | None] = []
    for leg in legs:
        phases = {place.rpartition(".")[2] for place in (signed(ct)[0] for ct in leg.cts)}
        phase = PHASES.index(phases.pop()) if len(phases) == 1 and phases <= set(PHASES) else None
        wanted.append(None if phase in wanted else phase)
    free = iter([k for k in range(len(PHASES)) if k not in wanted])
    return [next(free) if phase is None else phase for phase in wanted]


def signed(ct: str) -> tuple[str, float]:
    """The CT place and the sign of one entry of a leg's list.

    Parameters
    ----------
    ct : str
        One sign in front at most.

    Returns
    -------
    (str, float)
    """
    place = ct[1:] if ct[:1] in ("+", "-") else ct
    return place.strip(), -1.0 if ct.startswith("-") else 1.0


def custom_faults(own: CustomScheme) -> Iterator[str]:
    """What is wrong with a scheme of the study's own.

    Parameters
    ----------
    own : CustomScheme

    Yields
    ------
    str
        A line a fault, without the key of the scheme.
    """
    if not own.legs or not own.elements:
        yield f"{'legs' if not own.legs else 'elements'}: [] is empty; name at least one"
    if len(own.legs) > MOST_LEGS:
        yield (
            f"legs: {len(own.legs)} legs, must be at most {MOST_LEGS}; leave out those without an"
            " element"
        )
    names = [leg.name for leg in own.legs]
    for k, leg in enumerate(own.legs):
        if leg.name in names[:k] or not is_word(leg.name):
            yield f"legs[{k}].name: {shown(leg.name)}, must be {WORD} that no other leg has"
        for fault in _ct_faults(leg):
            yield f"legs[{k}].cts: {fault}"
    used = {signed(ct)[0] for leg in own.legs for ct in leg.cts}
    for k, element in enumerate(own.elements):
        if names and element.leg not in names:
            known = ", ".join(names[:MOST_LEGS])
            yield (
                f"elements[{k}].leg: {shown(element.leg)} is none of its legs; name one of {known}"
            )
        for fault in _bias_faults(element, used):
            yield f"elements[{k}].bias_cts: {fault}"
    yield from _too_many(own.elements)


def _too_many(elements: Sequence[CustomElement]) -> Iterator[str]:
    for axis, most in (("phase", 3), ("earth", 1)):
        count = sum(element.setting == axis for element in elements)
        if count > most:
            yield (
                f"elements: {count} with setting = '{axis}', must be at most {most}; take the"
                " others out"
            )


def _ct_faults(leg: CustomLeg) -> Iterator[str]:
    places = [signed(ct)[0] for ct in leg.cts]
    for place in dict.fromkeys(places):
        if place not in PLACES:
            yield f"{shown(place)} is no CT place; take {_EXAMPLES}"
    yield from _twice([place for place in places if place in PLACES])
    if not places:
        yield "[] is empty; name the CTs whose currents flow through the leg"


def _bias_faults(element: CustomElement, used: set[str]) -> Iterator[str]:
    for ct in element.bias_cts:
        if signed(ct)[0] not in used:
            yield f"{shown(ct)} drives no leg of this scheme; name CTs that do"
    yield from _twice([signed(ct)[0] for ct in element.bias_cts])


def _twice(places: list[str]) -> Iterator[str]:
    for place in dict.fromkeys(places):
        if places.count(place) > 1:
            yield f"{shown(place)} stands there twice; leave it once"


_OF_PHASES = ", ".join(f"{group}.L1" for group in GROUPS if group not in SINGLE)
_EXAMPLES = f"one of {_OF_PHASES} (also L2, L3) or {', '.join(SINGLE)}"


def leg_resistances(scheme: Scheme, ohm: Mapping[str, Array]) -> Array:
    """Resistance of every leg. [ohm]

    Parameters
    ----------
    scheme : Scheme
    ohm : mapping of str to (n,) array or float (ohm)
        Of the parts that the legs have.

    Returns
    -------
    (n, legs) array
    """
    totals = [
        sum((np.asarray(ohm[part], float) for part in leg.parts), np.zeros(()))
        for leg in scheme.legs
    ]
    return np.stack(np.broadcast_arrays(*totals), axis=-1)
