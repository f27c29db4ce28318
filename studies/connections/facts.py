"""What a connection diagram shows, from the scheme's table: CTs with their sense in each leg, legs
with resistances and elements, which leg follows which, leads, earthing, and what the wiring check
found."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from montecarlo.plant.earthing import Earthing
from montecarlo.quantities import Array
from montecarlo.relays.places import (
    BRANCH_GROUPS,
    CORE_BALANCE,
    GROUP_OF,
    OF_BRANCHES,
    PHASES,
    PLACES,
    SINGLE,
)
from montecarlo.relays.schemes import Scheme
from montecarlo.study.axes import Setting
from montecarlo.study.circuits import scheme_of
from montecarlo.study.description import Study
from montecarlo.study.wiring import Spill, blind, spills
from studies.connections.text import (
    blind_words,
    burden_words,
    ct_words,
    earthing_words,
    part_words,
    resistor_words,
    setting_words,
    spill_words,
)

# their currents pass from P2 to P1; so does that of no lead that goes back through its CT
LINE_GROUPS = ("line_end", "second_line_end", *BRANCH_GROUPS)
RETURN = "return."
LETTERS = "abcdefgh"


@dataclass(frozen=True)
class Ct:
    """A CT. `phase`: its number, None where it is in none; `restrains`: letters of elements;
    `suspect`: whether the wiring check names it."""

    place: str
    group: str
    phase: int | None
    restrains: tuple[str, ...] = ()
    suspect: bool = False


@dataclass(frozen=True)
class Element:
    """`number`: of IEEE C37.2; `notes`: burden, setting."""

    letter: str
    number: str
    name: str
    notes: tuple[str, ...]


@dataclass(frozen=True)
class Leg:
    """A leg of the relay circuit.

    Parameters
    ----------
    parts : names and values of its resistors
    senses : by place: +1 where S1 stands at the leg, -1 where S2 does, P1 away from the winding
    after : number of the leg that carries on all of its current; None: none does
    suspects : places that the wiring check names in it
    """

    name: str
    parts: tuple[tuple[str, str], ...]
    elements: tuple[Element, ...]
    senses: Mapping[str, int]
    after: int | None
    suspects: frozenset[str]


@dataclass(frozen=True)
class Group:
    """CTs of one end. `lead`, `both`: whether their leads have resistance, and whether it stands in
    the return of each as well; `return_core`: words of a common one, "" without."""

    name: str
    words: tuple[str, ...]
    lead: bool
    both: bool
    return_core: str


@dataclass(frozen=True)
class Connections:
    """All of a diagram. `neutral`: what stands between neutral and earth, in words; `transformer`:
    whether an earthing transformer does."""

    title: str
    cts: tuple[Ct, ...]
    legs: tuple[Leg, ...]
    groups: tuple[Group, ...]
    transformer: bool
    neutral: tuple[str, ...]
    found: tuple[str, ...]

    def end_of(self, place: str) -> bool:
        """Whether a CT stands at the line end."""
        return GROUP_OF[PLACES.index(place)] in (*LINE_GROUPS, CORE_BALANCE)

    @property
    def of_branches(self) -> bool:
        """Whether both groups of branches of a phase are drawn."""
        return any(group.name in OF_BRANCHES for group in self.groups)

    def has(self, name: str) -> bool:
        """Whether there are CTs of a group."""
        return any(group.name == name for group in self.groups)


def connections(study: Study, kind: str, title: str, setting: Setting | None = None) -> Connections:
    """The facts of one scheme of a study; of one setting, or of all candidates.

    A study of which only the tables `scheme` and `ct` are sound is enough: what another table would
    say is left out."""
    scheme = scheme_of(study, kind)
    faults = [spill for spill in spills(study) if spill.scheme == kind]
    legs = _legs(study, scheme, faults, setting)
    suspects = {place for leg in legs for place in leg.suspects}
    cts = tuple(
        Ct(
            PLACES[place],
            GROUP_OF[place],
            None if GROUP_OF[place] in SINGLE else PHASES.index(PLACES[place][-2:]),
            _restrained_by(scheme, column),
            PLACES[place] in suspects,
        )
        for column, place in enumerate(scheme.places)
    )
    earthing: Earthing | None = getattr(study, "earthing", None)
    return Connections(
        title,
        cts,
        legs,
        tuple(_group(study, scheme, group) for group in scheme.groups),
        earthing is not None and earthing.transformer_ratio is not None,
        earthing_words(earthing) if earthing is not None else (),
        (*map(spill_words, faults), *_blind(study, kind)),
    )


def _blind(study: Study, kind: str) -> Iterator[str]:
    """Legs and schemes that carry nothing of a fault in the zone, in words."""
    if hasattr(study, "internal_faults"):
        yield from (blind_words(one) for one in blind(study) if one.scheme == kind)


def _restrained_by(scheme: Scheme, column: int) -> tuple[str, ...]:
    return tuple(
        LETTERS[number] for number, element in enumerate(scheme.elements) if column in element.bias
    )


# --- legs ---------------------------------------------------------------------


def _legs(
    study: Study, scheme: Scheme, faults: Sequence[Spill], setting: Setting | None
) -> tuple[Leg, ...]:
    """Those of the scheme; its return cores belong to the leads."""
    own = [k for k, leg in enumerate(scheme.legs) if not leg.parts[0].startswith(RETURN)]
    ends = np.array([-1 if GROUP_OF[place] in LINE_GROUPS else 1 for place in scheme.places])
    senses = np.sign(scheme.table[own]).astype(int) * ends
    after = followers(senses)
    legs = []
    for k in own:
        leg = scheme.legs[k]
        named = {PLACES[place] for one in faults if one.leg == leg.name for place in one.changes}
        places = {PLACES[scheme.places[ct]]: int(senses[k, ct]) for ct in np.flatnonzero(senses[k])}
        parts = [words for part in leg.parts if (words := part_words(study, part, setting))]
        legs.append(
            Leg(
                leg.name,
                tuple(parts),
                _elements(study, scheme, k, setting),
                places,
                after[k],
                frozenset(named & set(places)),
            )
        )
    return tuple(legs)


def _elements(
    study: Study, scheme: Scheme, leg: int, setting: Setting | None
) -> tuple[Element, ...]:
    return tuple(
        Element(
            LETTERS[number],
            device_number(scheme, number),
            scheme.element_name(number),
            (
                *burden_words(study, one.axis),
                *resistor_words(study, scheme, leg),
                *setting_words(one.axis, setting),
            ),
        )
        for number, one in enumerate(scheme.elements)
        if one.leg == leg
    )


def device_number(scheme: Scheme, number: int) -> str:
    """Of an element, by IEEE C37.2: 87 where the CTs of its leg stand on both sides of the winding,
    50/51 where they do not."""
    element = scheme.elements[number]
    ends = {
        GROUP_OF[scheme.places[ct]] in LINE_GROUPS
        for ct in np.flatnonzero(scheme.table[element.leg])
    }
    if len(ends) == 2:
        return "87GN" if element.axis == "earth" else "87G"
    return "50N/51N" if element.axis == "earth" else "50/51"


def followers(senses: Array) -> list[int | None]:
    """Of each leg the smallest other one that has all of its CTs in the same sense.

    Parameters
    ----------
    senses : (legs, cts) array of -1, 0, 1
    """
    found: list[int | None] = []
    sizes = np.count_nonzero(senses, axis=1)
    for k, row in enumerate(senses):
        mine = np.flatnonzero(row)
        fits = [
            (int(sizes[other]), other)
            for other, theirs in enumerate(senses)
            if other != k
            and (sizes[other], other) > (sizes[k], k)
            and (theirs[mine] == row[mine]).all()
        ]
        found.append(min(fits)[1] if fits else None)
    return found


def entries(legs: Sequence[Leg], place: str) -> list[int]:
    """Legs that a CT's lead is drawn to: those with it that follow no other leg with it."""
    having = [k for k, leg in enumerate(legs) if place in leg.senses]
    reached = {legs[k].after for k in having}
    return [k for k in having if k not in reached]


def circuits(facts: Connections) -> list[set[str]]:
    """Groups of CTs that have a leg in common, directly or by others: a circuit each."""
    found = [{group.name} for group in facts.groups]
    for leg in facts.legs:
        driving = {GROUP_OF[PLACES.index(place)] for place in leg.senses}
        apart = [one for one in found if not one & driving]
        joined = set().union(*(one for one in found if one & driving))
        found = [joined, *apart]
    return found


# --- leads --------------------------------------------------------------------


def _group(study: Study, scheme: Scheme, group: str) -> Group:
    ct = study.ct.at(group)
    six_wire = study.scheme.leads == "six_wire"
    alone = group in SINGLE
    has_core = any(leg.parts == (f"{RETURN}{group}",) for leg in scheme.legs)
    lead = ct.lead_resistance_ohm.support() != (0.0, 0.0)
    return Group(
        group,
        ct_words(ct, group),
        lead,
        lead and (six_wire or alone),
        f"{ct.return_core_ohm.centre():g} Ω" if has_core else "",
    )
