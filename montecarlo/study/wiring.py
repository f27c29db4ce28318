"""Whether each scheme's CTs are connected so that what passes the zone cancels in every element's
leg, and what arises in the zone does not.

Ideal CTs of the given ratios, ratio matching applied, are current sources: a leg carries its row of
the scheme's table times their currents, whatever its resistance (derived). A unit current passes
the zone in three phases, between two, and from each phase to earth with its return through the
neutral. A unit fault in the zone is fed from either end."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from montecarlo.plant.machine import PHASE_ROTATION
from montecarlo.quantities import Array, Complex
from montecarlo.quantities.wording import listed
from montecarlo.relays.places import (
    GROUP_OF,
    NEUTRAL_CONDUCTOR,
    OF_BRANCHES,
    PHASES,
    PLACES,
    STAR_LINK,
    carried,
    places_of,
)
from montecarlo.relays.schemes import Axis, Scheme
from montecarlo.study.check import Caution
from montecarlo.study.circuits import scheme_of
from montecarlo.study.description import Study

NONE = 0.1  # pu of a leg, above what ratios matched within 5 % leave
EVERY = tuple(range(len(PLACES)))
TURN_FIRST = (
    *OF_BRANCHES,
    NEUTRAL_CONDUCTOR,
    "second_line_end",
    "line_end",
    "second_neutral_end",
    "neutral_end",
)
PAIRS = ((0, 1), (1, 2), (2, 0))
Way = tuple[Mapping[int, float], str]  # other signs at some places, and that in words


@dataclass(frozen=True)
class Spill:
    """An element whose leg carries something of a current that only passes the zone."""

    scheme: str
    element: Axis
    leg: str
    current: str  # kind of through-current that leaves most
    per_unit: float  # what it leaves in the leg, of the through-current
    key: str
    cure: str  # what to change there; "" where no single change helps
    changes: Mapping[int, float]  # the first cure: places and their signs in the leg, 0 for none


@dataclass(frozen=True)
class Blind:
    """Faults in the zone of which one element's leg, or no leg of a scheme, carries anything."""

    scheme: str
    element: Axis | None
    leg: str
    faults: tuple[str, ...]  # in words; (): every fault
    key: str


# --- unit currents ------------------------------------------------------------


# Unit currents of L1, L2, L3 by kind, (n, 3)
ALONE: Complex = np.eye(3, dtype=complex)
BETWEEN: Complex = ALONE - np.roll(ALONE, 1, axis=1)  # of `PAIRS`
UNIT: dict[str, Complex] = {
    "three-phase": PHASE_ROTATION[None],
    "phase-phase": BETWEEN,
    "phase-earth": ALONE,
}
ALL = np.vstack(list(UNIT.values()))


def _passing(kind: str) -> Complex:
    """Through-currents of a kind at every CT place, (n, places)."""
    return carried(np.hstack([UNIT[kind]] * 2), EVERY)


def _inside(phases: Complex) -> Complex:
    """Faults in the zone at every CT place, fed from the neutral end, then from the line end. They
    lie in one branch."""
    none = np.zeros_like(phases)
    fed = [[phases, none, phases], [none, -phases, phases]]
    return carried(np.vstack([np.hstack(parts) for parts in fed]), EVERY)


# --- legs ---------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class _Leg:
    """A leg as the signs of its CTs, (places,), 0 where there is none."""

    signs: Array
    ratios: Array  # (places,) primary amperes to one in a leg

    def of(self, currents: Complex) -> float:
        """The most that it carries of currents (n, places), per unit of its finest ratio."""
        weights = self.signs / self.ratios
        largest = np.abs(weights).max(initial=0.0)
        return float(np.abs(currents @ weights).max() / largest) if largest else 0.0

    @property
    def passing(self) -> dict[str, float]:
        """What each kind of through-current leaves in it. [pu] Half of what an earth fault outside
        takes through the neutral passes the star link: that is no fault of the wiring."""
        alone = np.flatnonzero(self.signs).tolist() == [PLACES.index(STAR_LINK)]
        kinds = [kind for kind in UNIT if not (alone and kind == "phase-earth")]
        return {kind: self.of(_passing(kind)) for kind in kinds}

    @property
    def sound(self) -> bool:
        """Nothing of what passes the zone, and something of what arises in it."""
        return max(self.passing.values()) < NONE and self.sees(ALL)

    def sees(self, phases: Complex) -> bool:
        """Whether it carries anything of faults (n, 3) in the zone."""
        return self.of(_inside(phases)) >= NONE

    def changed(self, signs: Mapping[int, float]) -> _Leg:
        """With other signs at some places."""
        new = self.signs.copy()
        for place, sign in signs.items():
            new[place] = sign
        return _Leg(new, self.ratios)


@dataclass(frozen=True, eq=False)
class _Search:
    """The one change that makes a leg sound."""

    leg: _Leg
    known: tuple[int, ...]  # places whose CTs the study describes

    @cached_property
    def present(self) -> list[int]:
        """Places in the leg, those first that are turned round rather than others."""
        return sorted(
            np.flatnonzero(self.leg.signs).tolist(), key=lambda k: TURN_FIRST.index(GROUP_OF[k])
        )

    @cached_property
    def absent(self) -> list[int]:
        """Places beside it, those first that stand beside its own."""
        groups = {GROUP_OF[k] for k in self.present}
        second = any(group.startswith("second") for group in groups)
        return sorted(
            (k for k in self.known if not self.leg.signs[k]),
            key=lambda k: (
                GROUP_OF[k] not in groups,
                GROUP_OF[k].startswith("second") != second,
                k,
            ),
        )

    def cures(self) -> list[Way]:
        """Turn one CT, take another phase, turn a whole end; or add one, and take one out."""
        by_mixed = [[k] for k in sorted(self.present, key=self._mixed)]
        by_end = _by_end(self.present)
        for ways in (self._turned(by_mixed), self._replaced(), self._turned(by_end)):
            if found := self._first(ways):
                return found
        either = self._first(self._added([k] for k in self.absent)) + self._first(self._removed())
        return either or self._first(self._added(_by_end(self.absent)))

    def _first(self, ways: Iterable[Way]) -> list[Way]:
        """The first way that works, if any does."""
        return next(([way] for way in ways if self.leg.changed(way[0]).sound), [])

    def _names(self, signs: Mapping[int, float]) -> str:
        return listed(f'"{"-" if sign < 0 else ""}{PLACES[k]}"' for k, sign in signs.items())

    def _mixed(self, turned: int) -> int:
        """Ends with both signs count twice, one CT turned round: in a sound leg there are few."""
        signs = self.leg.changed({turned: -self.leg.signs[turned]}).signs
        return len({(GROUP_OF[k], signs[k]) for k in self.present})

    def _turned(self, groups: Iterable[list[int]]) -> Iterator[Way]:
        for places in groups:
            was = {k: self.leg.signs[k] for k in places}
            turned = {k: -sign for k, sign in was.items()}
            yield turned, f"{self._names(was)} should be {self._names(turned)}"

    def _replaced(self) -> Iterator[Way]:
        for k in self.present:
            sign = self.leg.signs[k]
            for other in places_of(GROUP_OF[k]):
                if not self.leg.signs[other]:
                    words = f"{self._names({k: sign})} should be {self._names({other: sign})}"
                    yield {k: 0.0, other: sign}, words

    def _added(self, groups: Iterable[list[int]]) -> Iterator[Way]:
        for places in groups:
            for sign in (-1.0, 1.0):
                signs = dict.fromkeys(places, sign)
                yield signs, f"{self._names(signs)} {'is' if len(places) == 1 else 'are'} missing"

    def _removed(self) -> Iterator[Way]:
        for k in self.present:
            yield {k: 0.0}, f"{self._names({k: self.leg.signs[k]})} is too many"


def _by_end(places: list[int]) -> list[list[int]]:
    groups = dict.fromkeys(GROUP_OF[k] for k in places)
    return [[k for k in places if GROUP_OF[k] == group] for group in groups]


# --- a study ------------------------------------------------------------------


def _legs(study: Study, scheme: Scheme) -> list[_Leg]:
    """Of every element."""
    ratios = np.full(len(PLACES), study.ct.stating.leg_ratio)  # also of CTs that nothing uses
    for group in study.ct.groups:
        ratios[places_of(group)] = study.ct.at(group).leg_ratio
    legs = []
    for element in scheme.elements:
        signs = np.zeros(len(PLACES))
        signs[list(scheme.places)] = np.sign(scheme.table[element.leg])
        legs.append(_Leg(signs, ratios))
    return legs


def _key(study: Study, kind: str, inner: str) -> str:
    """The key of something in a scheme of the study's own; a built-in scheme has its word alone."""
    for k, own in enumerate(study.scheme.custom):
        if own.name == kind:
            return f"scheme.custom[{k}].{inner}"
    return "scheme.kind"


def spills(study: Study) -> list[Spill]:
    """Elements of every scheme in use that a through-current would drive, one for each leg.

    Parameters
    ----------
    study : Study

    Returns
    -------
    list of Spill
    """
    known = tuple(k for k in EVERY if GROUP_OF[k] in study.ct.there)
    found: dict[tuple[str, str], Spill] = {}
    for kind in study.scheme.kinds:
        scheme = scheme_of(study, kind)
        for element, leg in zip(scheme.elements, _legs(study, scheme), strict=True):
            passing = leg.passing
            current = max(passing, key=lambda one: round(passing[one], 6))
            name = scheme.legs[element.leg].name
            if passing[current] < NONE or (kind, name) in found:
                continue
            key = _key(study, kind, f"legs[{element.leg}].cts")
            cures = _Search(leg, known).cures()
            cure = " or ".join(text for _, text in cures)
            changes = cures[0][0] if cures else {}
            found[kind, name] = Spill(
                kind, element.axis, name, current, passing[current], key, cure, changes
            )
    return list(found.values())


def blind(study: Study) -> list[Blind]:
    """Elements that carry nothing of any fault in the zone, and schemes that carry nothing of some.

    A scheme without phase elements is asked for faults to earth alone.

    Parameters
    ----------
    study : Study

    Returns
    -------
    list of Blind
    """
    found: list[Blind] = []
    for kind in study.scheme.kinds:
        scheme = scheme_of(study, kind)
        legs = _legs(study, scheme)
        dead = [not leg.sees(ALL) for leg in legs]
        for element, leg_dead in zip(scheme.elements, dead, strict=True):
            if leg_dead:
                key = _key(study, kind, f"legs[{element.leg}].cts")
                found.append(Blind(kind, element.axis, scheme.legs[element.leg].name, (), key))
        unseen = tuple(
            words
            for words, phases in _asked(study, scheme).items()
            if not any(leg.sees(phases) for leg in legs)
        )
        if unseen and not all(dead):
            found.append(Blind(kind, None, "", unseen, _key(study, kind, "elements")))
    return found


def _asked(study: Study, scheme: Scheme) -> dict[str, Complex]:
    """Currents of the faults that a scheme is asked for, in words."""
    shares = study.internal_faults.shares
    asked = {}
    if shares.earth > 0:
        for k, phase in enumerate(PHASES):
            asked[f"from {phase} to earth"] = ALONE[k : k + 1]
    if not scheme.of("phase"):
        return asked
    evolving = study.internal_faults.evolving
    becomes = evolving.kind if evolving is not None else ""
    if shares.phase_phase + shares.phase_phase_earth > 0 or becomes == "phase_phase":
        for k, (one, other) in enumerate(PAIRS):
            asked[f"between {PHASES[one]} and {PHASES[other]}"] = BETWEEN[k : k + 1]
    if shares.three_phase > 0 or becomes == "three_phase":
        asked["of three phases"] = UNIT["three-phase"]
    return asked


# --- in words -----------------------------------------------------------------


def wiring_cautions(study: Study) -> Iterator[Caution]:
    """CTs the wrong way round, of the study, then of what its alternatives and assumption sets have
    otherwise.

    Parameters
    ----------
    study : Study

    Yields
    ------
    Caution
    """
    told = set()
    for name, one in (("", study), *study.alternative_studies, *study.assumption_sets):
        found = [(spill.key, _spill(spill)) for spill in spills(one)]
        found += [(dead.key, _blind(dead)) for dead in blind(one)]
        for key, text in found:
            if (key, text) not in told:
                told.add((key, text))
                yield Caution(key, f'With the changes of "{name}": {text}' if name else text)


def _spill(found: Spill) -> str:
    return (
        f'Relay circuit "{found.leg}" of {found.scheme} carries {found.per_unit:.3g} pu of a'
        f" {found.current} through current, with ideal CTs, and should carry 0. Its"
        f" {found.element} element would trip on faults outside."
        f" {found.cure or 'No single change of its CTs cures it'}. If this is intended, as for an"
        " overcurrent or a one-ended residual element, leave it."
    )


def _blind(found: Blind) -> str:
    if found.element is not None:
        return (
            f'Relay circuit "{found.leg}" of {found.scheme} carries no current of any fault in the'
            f" zone. Its {found.element} element can never operate on one. If this is intended,"
            " leave it."
        )
    return (
        f"No element of {found.scheme} carries any current of a fault {listed(found.faults, 'or')}"
        " in the zone. Every such fault is missed. If another protection clears it, leave it."
    )
