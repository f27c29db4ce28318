"""Where the parts of a connection diagram stand: columns from left to right, levels from top to
bottom. [mm]

The machine is above, the neutral on the left. Each CT's leads come down; the entry rail of a leg
joins them in the middle; the return rail is below."""

from __future__ import annotations

from dataclasses import dataclass

from montecarlo.relays.places import BRANCH_GROUPS, CORE_BALANCE, NEUTRAL_CONDUCTOR, STAR_LINK
from studies.connections.facts import Connections, Ct, Leg, circuits, entries
from studies.connections.shapes import line_height, text_width

PITCH = 9.0  # from one CT to the next
WIDE_PITCH = 16.0  # where each stands around two conductors
ALONE = 17.0  # what a CT takes that is in no phase
EARTHING = 20.0
GAP = 4.0
ENDS = 9.0  # right of the last CT, with the names of the phases
PHASE_STEP = 9.0
PAIRS_STEP, APART = 17.0, 3.0  # of phases with two conductors; from the middle to each
RAIL_STEP = 4.5
BOX, BOX_GAP = 6.0, 2.6  # height of a part of a leg, and what is left below it
SMALL, NORMAL, LARGE = 6.3, 6.9, 8.0  # points
LEFT = ("second_neutral_end", "neutral_end")  # from left to right
RIGHT = (*BRANCH_GROUPS, CORE_BALANCE, "line_end", "second_line_end")
LEAD = 1.5  # from the middle of a CT to its leads
BESIDE = 5.4  # from the middle of a leg to its texts


@dataclass(frozen=True)
class Plan:
    """`ct_x`: of every CT; `leg_x`, `rail_y`, `bottom_y`: of every leg; `phase_y`: of the phases;
    `apart`: from there to each of two conductors, 0 with one; `stars_x`: where each conductor of a
    phase ends; `winding`, `terminals_x`: of the machine; `leads_y`: where leads begin to be drawn
    below it; `bias_y`: of the first filled box; `core_y`: of star points; `return_y`: of the return
    rail of each group of CTs; `end_y`: below all."""

    width: float
    ct_x: dict[str, float]
    header_x: dict[str, float]
    leg_x: tuple[float, ...]
    rail_y: tuple[float, ...]
    bottom_y: tuple[float, ...]
    phase_y: tuple[float, float, float]
    apart: float
    stars_x: tuple[float, ...]
    winding: tuple[float, float]
    terminals_x: float
    header_y: float
    leads_y: float
    bias_y: float
    core_y: float
    return_y: dict[str, float]
    end_y: float

    def of(self, ct: Ct) -> tuple[float, float]:
        """Middle of a CT; that of the neutral conductor is on the middle phase's height, that of
        the star link on the first conductor's."""
        y = self.phase_y[1 if ct.phase is None else ct.phase]
        if ct.group == STAR_LINK:
            y = self.conductors_y(0)[0]
        elif ct.group in BRANCH_GROUPS:
            y = self.conductors_y(ct.phase or 0)[BRANCH_GROUPS.index(ct.group)]
        return self.ct_x[ct.place], y

    def conductors_y(self, phase: int) -> tuple[float, ...]:
        """Heights of a phase's conductors: one, or one of each group of branches."""
        y = self.phase_y[phase]
        return (y - self.apart, y + self.apart) if self.apart else (y,)


def plan(facts: Connections) -> Plan:
    """All places."""
    ct_x, header_x, stars_x, left = _left(facts)
    leg_x, right = _legs_across(facts, left + GAP)
    at = right + GAP
    for name in RIGHT:
        at = _block(facts, name, at, ct_x, header_x)
    lines = max(len(group.words) for group in facts.groups)
    header_y = 9.0
    first = header_y + lines * line_height(SMALL) + 6.0
    apart, step = (APART, PAIRS_STEP) if facts.of_branches else (0.0, PHASE_STEP)
    first += apart + (5.0 if facts.has(CORE_BALANCE) else 0.0)
    phase_y = first, first + step, first + 2 * step
    leads_y = phase_y[2] + apart + 7.0
    bias_y = leads_y + 12.5
    most = max((len(ct.restrains) for ct in facts.cts), default=0)
    rail_y, bottom_y = _levels(facts, bias_y + 4.2 * most + 1.0)
    core_y = max(bottom_y) + 3.0
    return_y = _returns(facts, core_y)
    return Plan(
        at + ENDS + apart,
        ct_x,
        header_x,
        leg_x,
        rail_y,
        bottom_y,
        phase_y,
        apart,
        stars_x,
        (left, right + GAP),
        at + 1.0 + apart,
        header_y,
        leads_y,
        bias_y,
        core_y,
        return_y,
        max(return_y.values()),
    )


# --- across -------------------------------------------------------------------


def _left(
    facts: Connections,
) -> tuple[dict[str, float], dict[str, float], tuple[float, ...], float]:
    """CTs and headers on the side of the neutral, its star points, and where they end."""
    ct_x: dict[str, float] = {}
    header_x: dict[str, float] = {}
    at = EARTHING
    if facts.has(NEUTRAL_CONDUCTOR):
        ct_x[NEUTRAL_CONDUCTOR] = header_x[NEUTRAL_CONDUCTOR] = at + ALONE / 2
        at += ALONE
    stars_x: tuple[float, ...] = (at + 2.0,) * (1 + facts.of_branches)
    if facts.has(STAR_LINK):
        ct_x[STAR_LINK] = header_x[STAR_LINK] = at + 2.0 + ALONE / 2
        stars_x = at + 2.0 + ALONE, at + 2.0
        at += ALONE
    at += GAP
    for name in LEFT:
        at = _block(facts, name, at, ct_x, header_x)
    return ct_x, header_x, stars_x, at


def _block(
    facts: Connections, name: str, at: float, ct_x: dict[str, float], header_x: dict[str, float]
) -> float:
    """Put the three CTs of one end from `at` on; where they end."""
    if not facts.has(name):
        return at
    pitch = WIDE_PITCH if facts.of_branches and name not in BRANCH_GROUPS else PITCH
    header_x[name] = at + 1.5 * pitch
    for ct in facts.cts:
        if ct.group == name and ct.phase is not None:
            ct_x[ct.place] = at + (ct.phase + 0.5) * pitch
    return at + 3 * pitch


def _legs_across(facts: Connections, left: float) -> tuple[tuple[float, ...], float]:
    """Middles of the legs: those that nothing leads to side by side, each other one below the
    middle one of those that lead to it; and where they end."""
    columns = [_column(facts, k) for k in _numbers(facts)]
    x: dict[int, float] = {}
    at = left
    for column in sorted(set(columns)):
        x[column] = at + BESIDE
        widths = [_width(facts.legs[k]) for k in _numbers(facts) if columns[k] == column]
        at += BESIDE + max(widths) + GAP
    return tuple(x[column] for column in columns), at


def _column(facts: Connections, k: int) -> int:
    """The first-level leg in whose column a leg stands."""
    before = [j for j, leg in enumerate(facts.legs) if leg.after == k]
    return _column(facts, before[(len(before) - 1) // 2]) if before else k


def _numbers(facts: Connections) -> range:
    return range(len(facts.legs))


def _width(leg: Leg) -> float:
    """Of the texts beside a leg, from its middle."""
    texts = [text for part in leg.parts for text in part]
    texts += [text for element in leg.elements for text in (element.name, *element.notes)]
    widths = [text_width(text, SMALL) for text in texts] + [text_width(leg.name, NORMAL)]
    return BESIDE + max(widths)


# --- down ---------------------------------------------------------------------


def height(leg: Leg) -> float:
    """Of a leg from its rail to its bottom."""
    notes = [max(len(element.notes) - 1, 0) * line_height(SMALL) for element in leg.elements]
    return 3.0 + (len(leg.parts) + len(leg.elements)) * (BOX + BOX_GAP) + sum(notes)


def _levels(facts: Connections, top: float) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Entry rail and bottom of every leg: first those that nothing leads to, each with a rail of
    its own, then what follows them."""
    rails: dict[int, float] = {}
    bottoms: dict[int, float] = {}
    followed = {leg.after for leg in facts.legs}
    first = [k for k in _numbers(facts) if k not in followed]
    start = top + len(first) * RAIL_STEP
    for place, k in enumerate(first):
        rails[k] = top + place * RAIL_STEP
        bottoms[k] = start + height(facts.legs[k])
    while len(bottoms) < len(facts.legs):
        for k in _numbers(facts):
            before = [j for j, leg in enumerate(facts.legs) if leg.after == k]
            if k not in bottoms and all(j in bottoms for j in before):
                rails[k] = max(bottoms[j] for j in before) + RAIL_STEP
                bottoms[k] = rails[k] + height(facts.legs[k])
    return tuple(rails[k] for k in _numbers(facts)), tuple(bottoms[k] for k in _numbers(facts))


def _returns(facts: Connections, core_y: float) -> dict[str, float]:
    """Return rails: one for each circuit."""
    first = core_y + (10.0 if any(group.return_core for group in facts.groups) else 2.0)
    return {
        group: first + place * RAIL_STEP
        for place, circuit in enumerate(reversed(circuits(facts)))
        for group in circuit
    }


def leg_top(facts: Connections, places: Plan, k: int) -> float:
    """Where the parts of a leg begin: below all entry rails of the first level."""
    followed = {leg.after for leg in facts.legs}
    if k in followed:
        return places.rail_y[k]
    return places.bottom_y[k] - height(facts.legs[k])


def lowest_entry(facts: Connections, places: Plan, place: str) -> float:
    """How far down the left lead of a CT goes to the legs."""
    sense = main_sense(facts, place)
    having = [k for k in entries(facts.legs, place) if facts.legs[k].senses[place] == sense]
    return max(places.rail_y[k] for k in having)


def main_sense(facts: Connections, place: str) -> int:
    """+1 where S1 of a CT stands at the first leg that it enters, -1 where S2 does."""
    return facts.legs[entries(facts.legs, place)[0]].senses[place]
