"""Elements between the groups of branches by hand: what a standing difference of the groups leaves
in them, and what faults drive through them. Every input stands at its centre unless said
otherwise."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np

from montecarlo.engine.groups import FROM_LINK, branch_current_a, shares, turn_faults
from montecarlo.plant.machine import PHASE_ROTATION
from montecarlo.plant.turns.catalogue import BETWEEN_PHASES
from montecarlo.quantities import Array, Complex, Distribution
from montecarlo.quantities.wording import listed
from montecarlo.relays.places import GROUP_OF, STAR_LINK, carried, places_of
from montecarlo.relays.schemes import AXES, Axis
from montecarlo.secondary.measurement import at_most
from montecarlo.study.circuits import ROUND_OFF
from montecarlo.study.nominal import Nominal
from studies.nominal.desk import Desk
from studies.nominal.through import THROUGH
from studies.report.blocks import Block, Paragraph, Table


@dataclass(frozen=True)
class Standing:
    """What an element carries without a fault, the most that can be drawn. [A secondary]

    `unbalance`, `ratio`: of one ampere through the machine; `circulating_a`, `third_a`: at all
    times."""

    kind: str
    axis: Axis
    unbalance: float
    ratio: float
    circulating_a: float
    third_a: float
    measure: str

    def at(self, through_a: float) -> float:
        """All of it, with a current through the machine. [A]"""
        current_a = (self.unbalance + self.ratio) * through_a + self.circulating_a
        return float(at_most(self.measure, np.array(current_a), self.third_a))


def standing(desk: Desk, kind: str, axis: Axis) -> Standing:
    """Of the first element of a scheme and axis.

    Parameters
    ----------
    desk : Desk
    kind : str
    axis : "phase" or "earth"

    Returns
    -------
    Standing
    """
    winding, scheme = desk.study.winding, desk.scheme(kind)
    assert winding is not None
    row = scheme.table[scheme.elements[scheme.of(axis)[0]].leg]
    cts = [desk.study.ct.at(GROUP_OF[place]) for place in scheme.places]
    weights = row / [ct.turns_ratio for ct in cts]
    apart = np.hstack([np.zeros((3, 6)), np.diag(PHASE_ROTATION)])
    by_phase = carried(apart, scheme.places) @ weights
    by_ct = weights * carried(THROUGH, scheme.places)
    errors = [_range(ct.turns_ratio_error_percent) for ct in cts]
    used = np.flatnonzero(np.abs(by_ct) > ROUND_OFF * np.abs(weights))
    unbalance = _range(winding.group_unbalance_percent)
    circulating = _range(winding.circulating_percent)
    third = _range(winding.link_third_harmonic_percent)
    rated_a = desk.study.machine.rated_current_a
    return Standing(
        kind,
        axis,
        unbalance=_most(by_phase, [unbalance] * 3),
        ratio=_most(by_ct[used], [errors[ct] for ct in used]),
        circulating_a=rated_a * _most(by_phase, [circulating] * 3),
        third_a=rated_a * _most(carried(FROM_LINK[None], scheme.places) @ weights, [third]),
        measure=desk.study.relay.measure,
    )


def _range(distribution: Distribution) -> tuple[float, float]:
    """Of per cent, as a share; 98 % of the values where there is no end."""
    ends = distribution.support()
    low, high = ends if np.isfinite(ends).all() else map(float, distribution.ppf([0.01, 0.99]))
    return low / 100, high / 100


def _most(weights: Complex, ranges: Sequence[tuple[float, float]]) -> float:
    """The largest magnitude of a weighted sum of what lies in ranges: it is at their ends."""
    return float(max(abs(np.dot(weights, ends)) for ends in product(*ranges)))


def between(desk: Desk) -> list[tuple[str, Axis]]:
    """Scheme and axis of every element between groups of branches.

    Parameters
    ----------
    desk : Desk

    Returns
    -------
    list of (str, str)
    """
    return [
        (kind, axis)
        for kind in desk.study.scheme.kinds
        for axis in AXES
        if desk.between_groups(kind, axis)
    ]


# --- faults -------------------------------------------------------------------


def earth_faults_a(desk: Desk, x: Array) -> Complex:
    """Bolted earth faults in every branch, without load.

    Parameters
    ----------
    desk : Desk
        Of a study with a winding.
    x : (places,) array (-)
        Along a branch from the neutral.

    Returns
    -------
    (n, 10) complex array (A RMS)
    """
    winding = desk.study.winding
    assert winding is not None
    ends = desk.earth_faults(x).end_currents_a.reshape(len(x), -1, 6)
    into = ends[..., :3] - ends[..., 3:]
    found = []
    for branch in range(winding.branches):
        apart = np.einsum("xpq,xfp->xfq", shares(desk.study, branch, x), into)
        found.append(np.concatenate([ends, apart], axis=-1).reshape(-1, 10))
    return np.vstack(found)


def turn_faults_a(worst: Nominal) -> Complex:
    """Bolted faults within a phase: for each phase the one with the largest difference of its
    groups, and the one that drives most through the star link.

    Parameters
    ----------
    worst : Nominal
        Of a study with a winding.

    Returns
    -------
    (4, 10) complex array (A RMS)
    """
    winding = worst.study.winding
    assert winding is not None
    faults = turn_faults(winding)
    which = np.flatnonzero(~faults.contacts.of(BETWEEN_PHASES))
    apart = faults.currents(
        which,
        reactance_pu=worst.at("machine.subtransient_reactance_pu"),
        leakage_pu=worst.at("winding.leakage_reactance_pu"),
        coupling=worst.at("winding.coil_leakage_coupling"),
    ).apart
    every = np.hstack([np.zeros((len(apart), 6)), apart])
    link = carried(every, tuple(places_of(STAR_LINK)))
    most = np.abs(np.hstack([apart[:, :3], link])).argmax(axis=0)
    scale = branch_current_a(worst.study) * worst.at("machine.voltage_factor")
    return np.asarray(scale * every[most])


# --- in words -----------------------------------------------------------------


def groups_apart(desk: Desk) -> Iterator[Block]:
    """What stands in the elements between groups without a fault, and which pick-ups lie below.

    Parameters
    ----------
    desk : Desk

    Yields
    ------
    Block
    """
    if not (found := [standing(desk, kind, axis) for kind, axis in between(desk)]):
        return
    rated_a, fault_a = desk.study.machine.rated_current_a, desk.through_fault().primary_a
    yield Paragraph(
        "Elements between groups of branches carry something without a fault:"
        " group_unbalance_percent of the current through the machine, circulating_percent of its"
        " rated current, third harmonic of the star link, and what the CTs' ratio errors leave of"
        " the through current. A fundamental measurement rejects the third harmonic. A CT of one"
        " group carries half of that current; a core-balance CT and one in the star link carry"
        " nothing of it. The table has the most that can be drawn."
    )
    head = ("element", "unbalance", "circulating", "third harmonic", "ratio", "at load", "at i_f")
    rows = [
        (
            f"{one.kind}, {one.axis}",
            f"{one.unbalance * rated_a:.3g}",
            f"{one.circulating_a:.3g}",
            f"{one.third_a:.3g}",
            f"{one.ratio * rated_a:.3g}",
            f"{one.at(rated_a):.3g}",
            f"{one.at(fault_a):.3g}",
        )
        for one in found
    ]
    caption = "Parts and sum at rated load, and the sum in the largest through fault, A secondary"
    yield Table(head, tuple(rows), "<>>>>>>", caption)
    yield Paragraph(" ".join(_below(desk, one) for one in found))


def _below(desk: Desk, one: Standing) -> str:
    grid: tuple[float, ...] = getattr(desk.study.candidates, f"{one.axis}_pickup_a")
    on_load = one.at(desk.study.machine.rated_current_a)
    low = [f"{pickup:g}" for pickup in grid if pickup <= on_load]
    if not low:
        return f"{one.kind}, {one.axis}: every pick-up lies above what rated load can leave."
    verb = "lies" if len(low) == 1 else "lie"
    return f"{one.kind}, {one.axis}: {listed(low)} A {verb} below what rated load can leave."
