"""A connection diagram as shapes with their places: the machine, its CTs, the relay circuit."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterator
from typing import Literal

from montecarlo.relays.places import (
    BRANCH_GROUPS,
    CORE_BALANCE,
    GROUP_OF,
    PHASES,
    PLACES,
    STAR_LINK,
)
from studies.connections.facts import Connections, Ct, Group, Leg, entries
from studies.connections.plan import (
    BESIDE,
    BOX,
    BOX_GAP,
    LARGE,
    LEAD,
    NORMAL,
    RIGHT,
    SMALL,
    Plan,
    leg_top,
    lowest_entry,
    main_sense,
    plan,
)
from studies.connections.shapes import (
    MM_OF_POINT,
    WIDE,
    Box,
    Circle,
    Drawing,
    Line,
    Point,
    Role,
    Shape,
    Text,
    line_height,
)
from studies.connections.text import (
    AROUND_BOTH,
    CONVENTION,
    CROSSED,
    IN_SERIES,
    LINK,
    RESTRAINT,
    VALUES,
)

RING, WIDE_RING = 2.0, 4.6  # around one conductor, around two
DOT = 0.55
MARGIN = 2.0
CROSSING = 4.0  # height in which two leads change places


def layout(facts: Connections) -> Drawing:
    """All shapes of a diagram."""
    places = plan(facts)
    shapes = [
        Text("title", Role.NOTE, facts.title, (MARGIN, 4.0), LARGE, bold=True),
        *_machine(facts, places),
        *_earthing(facts, places),
    ]
    for ct in facts.cts:
        shapes += _ct(facts, places, ct)
        shapes += _leads(facts, places, ct)
    for k in range(len(facts.legs)):
        shapes += _leg(facts, places, k)
    shapes += _returns(facts, places)
    below = list(_below(facts, places))
    end = max((text.place[1] for text in below), default=places.end_y)
    return Drawing(places.width, end + MARGIN + 1.0, (*shapes, *below))


# --- the machine --------------------------------------------------------------


def _machine(facts: Connections, places: Plan) -> Iterator[Shape]:
    left, right = places.winding
    middle = (left + right) / 2
    for phase, phase_y in enumerate(places.phase_y):
        for number, y in enumerate(places.conductors_y(phase)):
            coil = _coil((middle - 10, y), 5, 2.0)
            back = _back(places, phase) if number == 0 else ()
            ends = (places.stars_x[number], y), (places.terminals_x - places.apart, y)
            yield Line("winding", Role.PRIMARY, (ends[0], *coil, *back, ends[1]))
        if places.apart:
            yield from _joined(places, phase)
        at = places.terminals_x + 1.2, phase_y
        yield Text("phase", Role.PRIMARY, f"L{phase + 1}", at, NORMAL)
    yield from _stars(facts, places)
    above = middle, places.conductors_y(0)[0] - 3.2
    yield Text("winding", Role.PRIMARY, "stator winding", above, NORMAL, "center", "bottom")
    for group in facts.groups:
        for k, words in enumerate(group.words):
            at = places.header_x[group.name], places.header_y + k * line_height(SMALL)
            yield Text("header", Role.NOTE, words, at, SMALL, "center", "top", bold=k == 0)


def _joined(places: Plan, phase: int) -> Iterator[Shape]:
    """Both conductors of a phase come together at its terminal."""
    x, y = places.terminals_x - places.apart, places.phase_y[phase]
    ends = tuple((x, at) for at in places.conductors_y(phase))
    yield Line("terminal", Role.PRIMARY, ends)
    yield Line("terminal", Role.PRIMARY, ((x, y), (places.terminals_x, y)))


def _back(places: Plan, phase: int) -> tuple[Point, ...]:
    """The way of the first group's lead back through a core-balance CT, from the left."""
    if (x := places.ct_x.get(f"{CORE_BALANCE}.{PHASES[phase]}")) is None:
        return ()
    y = places.conductors_y(phase)[0]
    near, far = WIDE_RING + 1.2, WIDE_RING + 2.4
    under, over = y - 3.0, y - 4.4
    return (
        (x - far, y),
        (x - far, under),
        (x + near, under),
        (x + near, y),
        (x - near, y),
        (x - near, over),
        (x + far, over),
        (x + far, y),
    )


def _stars(facts: Connections, places: Plan) -> Iterator[Shape]:
    """The star point; that of each group of branches where a link joins the two."""
    first, *_, last = (y for phase in range(3) for y in places.conductors_y(phase))
    if not facts.has(STAR_LINK):
        x = places.stars_x[0]
        yield Line("star point", Role.PRIMARY, ((x, first), (x, last)))
        return
    right, left = places.stars_x
    yield Line("star point 1", Role.PRIMARY, ((right, first), (right, last - 2 * places.apart)))
    yield Line("star point 2", Role.PRIMARY, ((left, first), (left, last)))
    yield Line("star link", Role.PRIMARY, ((left, first), (right, first)))
    for x, number in ((right, 0), (left, 1)):
        for phase in range(3):
            at = x, places.conductors_y(phase)[number]
            yield Circle("star joint", Role.PRIMARY, at, DOT, filled=True)


def _coil(start: Point, turns: int, radius: float, *, down: bool = False) -> tuple[Point, ...]:
    """Half circles one after the other, to the right or down."""
    points = []
    for turn in range(turns):
        for step in range(9):
            angle = math.pi * step / 8
            along = (2 * turn + 1) * radius - radius * math.cos(angle)
            aside = radius * math.sin(angle)
            if down:
                points.append((start[0] + aside, start[1] + along))
            else:
                points.append((start[0] + along, start[1] - aside))
    return tuple(points)


def _earthing(facts: Connections, places: Plan) -> Iterator[Shape]:
    """From the star point to the left, down through what earths it, to earth."""
    x, y = 8.0, places.phase_y[1]
    top, bottom = y + 6.0, y + 18.0
    yield Line("neutral", Role.PRIMARY, ((places.stars_x[-1], y), (x, y), (x, top)))
    if facts.transformer:
        coil = _coil((x, top), 3, 2.0, down=True)
        other = _coil((x + 6.0, top), 3, 2.0, down=True)
        turned = tuple((2 * (x + 3.0) + 3.0 - px, py) for px, py in other)
        yield Line("earthing transformer", Role.PRIMARY, coil)
        yield Line("earthing secondary", Role.PRIMARY, turned)
        end_x, at_x = turned[0][0], x + 12.0
        yield Box("earthing resistor", Role.PRIMARY, (at_x, top + 6.0), 2.4, 6.0)
        for edge, end in ((top, top + 3.0), (bottom, bottom - 3.0)):
            yield Line("earthing", Role.PRIMARY, ((end_x, edge), (at_x, edge), (at_x, end)))
    elif facts.neutral:
        yield Box("earthing resistor", Role.PRIMARY, (x, top + 6.0), 2.8, 8.0)
        for start, end in ((top, top + 2.0), (bottom - 2.0, bottom)):
            yield Line("earthing", Role.PRIMARY, ((x, start), (x, end)))
    else:
        yield Line("earthing", Role.PRIMARY, ((x, top), (x, bottom)))
    yield from _earth((x, bottom))
    for k, words in enumerate(facts.neutral):
        at = MARGIN, bottom + 8.0 + k * line_height(SMALL)
        yield Text("earthing words", Role.NOTE, words, at, SMALL)


def _earth(at: Point) -> Iterator[Shape]:
    x, y = at
    yield Line("earth", Role.PRIMARY, ((x, y), (x, y + 2.0)))
    for k, half in enumerate((3.0, 2.0, 1.0)):
        down = y + 2.0 + 1.1 * k
        yield Line("earth", Role.PRIMARY, ((x - half, down), (x + half, down)))


# --- CTs and their leads ------------------------------------------------------


def _role(ct: Ct) -> Role:
    return Role.SUSPECT if ct.suspect else Role.SECONDARY


def _ct(facts: Connections, places: Plan, ct: Ct) -> Iterator[Shape]:
    """Ring and marks: P1 away from the winding, S1 on the left."""
    x, y = places.of(ct)
    ring = _ring(places, ct)
    yield Circle(f"CT {ct.place}", _role(ct), (x, y), ring)
    left, right = ("P2", "P1") if facts.end_of(ct.place) else ("P1", "P2")
    small = SMALL - 1.0
    aside, up = (2.0, y - 1.0) if ring == RING else (ring + 0.6, y + 1.0)
    yield Text("mark", Role.NOTE, left, (x - aside, up), small, "right", "bottom")
    yield Text("mark", Role.NOTE, right, (x + aside, up), small, "left", "bottom")
    below = y + ring + 1.6
    yield Text("mark", _role(ct), "S1", (x - LEAD - 0.4, below), small, "right")
    yield Text("mark", _role(ct), "S2", (x + LEAD + 0.4, below), small, "left")


def _ring(places: Plan, ct: Ct) -> float:
    """Radius: around both conductors of a phase, unless it is a group's own."""
    both = places.apart and ct.phase is not None and ct.group not in BRANCH_GROUPS
    return WIDE_RING if both else RING


def _leads(facts: Connections, places: Plan, ct: Ct) -> Iterator[Shape]:
    """Both leads: crossed where S2 stands at the legs; the left one goes to these, the right one to
    the return."""
    x, y = places.of(ct)
    role, top = _role(ct), places.leads_y
    turned = -1 if main_sense(facts, ct.place) < 0 else 1
    from_y = y + math.sqrt(_ring(places, ct) ** 2 - LEAD**2)
    group = next(group for group in facts.groups if group.name == ct.group)
    ends = {-1: lowest_entry(facts, places, ct.place), 1: _return_end(group, places)}
    for side in (-1, 1):
        start = x + side * LEAD
        end = x + side * turned * LEAD
        points = ((start, from_y), (start, top), (end, top + CROSSING))
        yield Line(f"lead S{1 if side < 0 else 2} {ct.place}", role, points)
        at = side * turned
        down = top + CROSSING
        if group.lead if at < 0 else group.both:
            yield Line("lead", role, ((end, down), (end, down + 1.5)))
            yield Box(f"lead resistance {ct.place}", role, (end, down + 3.9), 1.7, 4.8)
            down += 6.3
        yield Line("lead", role, ((end, down), (end, ends[at])))
    for k, letter in enumerate(ct.restrains):
        at_y = places.bias_y + 4.2 * k + 1.5
        yield Box(f"bias {letter} {ct.place}", role, (x - LEAD, at_y), 1.7, 3.2, filled=True)
        yield Text("bias", Role.NOTE, letter, (x + LEAD + 0.7, at_y), SMALL)


def _return_end(group: Group, places: Plan) -> float:
    return places.core_y if group.return_core else places.return_y[group.name]


# --- legs ---------------------------------------------------------------------


def _leg(facts: Connections, places: Plan, k: int) -> Iterator[Shape]:
    """Entry rail with its taps, resistors, elements, and on to what follows."""
    leg, x = facts.legs[k], places.leg_x[k]
    yield from _rail(facts, places, k)
    y = leg_top(facts, places, k)
    yield Line("leg", Role.SECONDARY, ((x, places.rail_y[k]), (x, y + 3.0)))
    yield Text(f"leg {leg.name}", Role.NOTE, leg.name, (x + 1.0, y + 1.6), NORMAL, bold=True)
    y += 3.0
    for name, value in leg.parts:
        yield Box(f"resistor {leg.name}", Role.SECONDARY, (x, y + BOX / 2), 2.4, BOX)
        yield from _words((name, value), x, y)
        yield Line("leg", Role.SECONDARY, ((x, y + BOX), (x, y + BOX + BOX_GAP)))
        y += BOX + BOX_GAP
    for element in leg.elements:
        box = (x, y + BOX / 2), 9.8, BOX
        yield Box(f"element {element.letter}", Role.SECONDARY, *box)
        middle = x, y + BOX / 2
        yield Text("number", Role.SECONDARY, element.number, middle, SMALL, "center", bold=True)
        name = f"{element.letter}: {element.name}"
        yield from _words((name, *element.notes), x, y)
        more = max(len(element.notes) - 1, 0) * line_height(SMALL)
        yield Line("leg", Role.SECONDARY, ((x, y + BOX), (x, y + BOX + BOX_GAP + more)))
        y += BOX + BOX_GAP + more
    end = return_of(places, leg) if leg.after is None else places.rail_y[leg.after]
    yield Line("leg", Role.SECONDARY, ((x, y), (x, end)))
    yield Circle("joint", Role.SECONDARY, (x, end), DOT, filled=True)


def _words(texts: tuple[str, ...], x: float, y: float) -> Iterator[Shape]:
    for k, words in enumerate(texts):
        at = x + BESIDE, y + 1.5 + k * line_height(SMALL)
        yield Text("leg words", Role.NOTE, words, at, SMALL)


def _rail(facts: Connections, places: Plan, k: int) -> Iterator[Shape]:
    """The line that joins what enters a leg. A CT whose sense here is not its main one enters with
    its other lead."""
    leg, y = facts.legs[k], places.rail_y[k]
    ends = [places.leg_x[k]]
    ends += [places.leg_x[j] for j, other in enumerate(facts.legs) if other.after == k]
    for place, sense in leg.senses.items():
        if k not in entries(facts.legs, place):
            continue
        side = -1 if sense == main_sense(facts, place) else 1
        x = places.ct_x[place] + side * LEAD
        role = Role.SUSPECT if place in leg.suspects else Role.SECONDARY
        yield Circle(f"tap {leg.name} {place}", role, (x, y), DOT, filled=True)
        if side > 0:
            lead = "S1" if sense > 0 else "S2"
            yield Text("mark", role, lead, (x + 0.8, y - 1.3), SMALL - 1.0)
        ends.append(x)
    yield Line(f"rail {leg.name}", Role.SECONDARY, ((min(ends), y), (max(ends), y)))


def return_of(places: Plan, leg: Leg) -> float:
    """Height of the return rail of a leg's circuit."""
    return places.return_y[GROUP_OF[PLACES.index(next(iter(leg.senses)))]]


def _returns(facts: Connections, places: Plan) -> Iterator[Shape]:
    """Star points with return cores, then the rails that close the circuits."""
    ends: dict[float, list[float]] = {}
    for x, leg in zip(places.leg_x, facts.legs, strict=True):
        if leg.after is None:
            ends.setdefault(return_of(places, leg), []).append(x)
    for group in facts.groups:
        leads = [places.ct_x[ct.place] + LEAD for ct in facts.cts if ct.group == group.name]
        at_y, y = _return_end(group, places), places.return_y[group.name]
        for x in leads:
            yield Circle("joint", Role.SECONDARY, (x, at_y), DOT, filled=True)
        if group.return_core:
            yield from _core(group, leads, at_y, y)
            leads = [sum(leads) / len(leads)]
        ends[y] += leads
    for y, met in ends.items():
        yield Line("return rail", Role.SECONDARY, ((min(met), y), (max(met), y)))


def _core(group: Group, leads: list[float], star_y: float, y: float) -> Iterator[Shape]:
    """The star point of an end, and the core from it to the return rail."""
    x, end = sum(leads) / len(leads), star_y + 7.0
    yield Line("star point", Role.SECONDARY, ((min(leads), star_y), (max(leads), star_y)))
    yield Line("return core", Role.SECONDARY, ((x, star_y), (x, star_y + 1.8)))
    yield Box(f"return core {group.name}", Role.SECONDARY, (x, star_y + 4.4), 2.0, 5.2)
    yield Line("return core", Role.SECONDARY, ((x, end), (x, y)))
    yield Circle("joint", Role.SECONDARY, (x, y), DOT, filled=True)
    words = f"return core {group.return_core}"
    at_line = group.name in RIGHT
    at = x + (-1.8 if at_line else 1.8), star_y + 4.4
    across: Literal["left", "right"] = "right" if at_line else "left"
    yield Text("return core words", Role.NOTE, words, at, SMALL, across)


# --- what stands below --------------------------------------------------------


def crossed(facts: Connections) -> bool:
    """Whether S2 of any CT is drawn at a leg."""
    return any(sense < 0 for leg in facts.legs for sense in leg.senses.values())


def _below(facts: Connections, places: Plan) -> Iterator[Text]:
    """What the wiring check found, then how to read the drawing."""
    y = places.end_y + 6.0
    letters = int((places.width - 2 * MARGIN) / (WIDE * NORMAL * MM_OF_POINT))
    notes = [CONVENTION, VALUES]
    if any(len(entries(facts.legs, ct.place)) > 1 for ct in facts.cts):
        notes.append(IN_SERIES)
    if any(ct.restrains for ct in facts.cts):
        notes.append(RESTRAINT)
    if facts.has(CORE_BALANCE):
        notes.append(AROUND_BOTH)
    if facts.has(STAR_LINK):
        notes.append(LINK)
    if crossed(facts):
        notes.insert(0, CROSSED)
    for role, texts in ((Role.SUSPECT, facts.found), (Role.NOTE, tuple(notes))):
        for text in texts:
            for line in textwrap.wrap(text, letters):
                yield Text("below", role, line, (MARGIN, y), NORMAL)
                y += line_height(NORMAL)
            y += 0.6
