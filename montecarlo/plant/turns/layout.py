"""The stator winding coil by coil: its slots, its phase and branch, how far from the neutral.

A winding of two layers. A study gives its coils by a table, or by pitch and layout. The latter make
a lap winding: coil k has one side in the upper layer of slot k, the other in the lower layer of the
slot one pitch further. The belts of q = slots/(6 pole pairs) slots follow each other as +L1, -L3,
+L2, -L1, +L3, -L2 (textbook); a branch is a row of whole belts of its phase."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import Annotated, Literal, NamedTuple

import numpy as np

from montecarlo.plant.turns.table import PHASES, SIDES, CoilFile, CoilTable, table_faults
from montecarlo.quantities import Distribution, Index, Plain, Quantity, Section, number, word
from montecarlo.quantities.wording import shown

BELTS = ((0, 1), (2, -1), (1, 1), (0, -1), (2, 1), (1, -1))  # phase and direction
BranchOrder = Literal["half", "alternate"]


class Winding(Section):
    """The stator's coils, for faults between turns, coils and branches."""

    slots: Annotated[
        int, Plain("-", "slots of the stator; without table a multiple of 6 pole pairs", 6, 1200)
    ]
    pole_pairs: Annotated[int, Plain("-", "pole pairs", 1, 200)]
    branches: Annotated[
        int, Plain("-", "parallel branches of a phase, each with as many coils", 1, 100)
    ]
    turns_per_coil: Annotated[
        int, Plain("-", "turns in series of a coil; 1 for a winding of bars", 1, 100)
    ]
    table: Annotated[
        CoilTable | None,
        CoilFile(
            "",
            "in place of pitch and layout: CSV file in the study file's folder or below it, a row a"
            " coil, with the columns upper_slot, lower_slot, phase, branch, order, entered",
        ),
    ] = None
    pitch: Annotated[
        int | None,
        Plain(
            "slots",
            "without table: from one side of a coil to the other; at most a pole pitch",
            1,
            1000,
        ),
    ] = None
    layout: Annotated[
        BranchOrder | None,
        word(
            "without table: which poles a branch takes. half: poles side by side, so two branches"
            " have half of the bore each; alternate: every second pole, or every third of three"
            " branches"
        ),
    ] = None
    leakage_reactance_pu: Annotated[
        Distribution,
        Quantity(
            "pu",
            "leakage of the stator winding, part of X''d",
            0.0,
            high=5.0,
            above=True,
            usual=(0.01, 0.5),
        ),
    ]
    coil_leakage_coupling: Annotated[
        Distribution,
        Quantity(
            "-",
            "how closely turns of a coil share their leakage flux. 1: that of n turns goes with n"
            " squared; 0: with n",
            0.0,
            high=1.0,
        ),
    ] = Distribution(
        "uniform", {"low": 0.0, "high": 1.0}, source="assumed: no measurement was found"
    )

    group_unbalance_percent: Annotated[
        Distribution,
        Quantity(
            "%",
            "what the first group of branches carries more than the second, of the phase's current;"
            " for schemes with CTs at the groups",
            -100.0,
            high=100.0,
            usual=(-10.0, 10.0),
            width="element",
        ),
    ] = number(0.0)
    circulating_percent: Annotated[
        Distribution,
        Quantity(
            "%",
            "standing difference of the two groups of a phase, whatever the load, over the"
            " machine's rated current",
            0.0,
            high=100.0,
            usual=(0.0, 10.0),
            width="element",
        ),
    ] = number(0.0)

    circulating_angle_deg: Annotated[
        Distribution,
        Quantity("deg", "by which it leads its phase's voltage", -360.0, high=360.0),
    ] = Distribution(
        "uniform", {"low": 0.0, "high": 360.0}, source="assumed: nothing is known of it"
    )

    link_third_harmonic_percent: Annotated[
        Distribution,
        Quantity(
            "%",
            "third harmonic in the link between the star points without a fault, over the machine's"
            " rated current; a fundamental measurement rejects it",
            0.0,
            high=100.0,
            usual=(0.0, 20.0),
        ),
    ] = number(0.0)
    link_third_harmonic_angle_deg: Annotated[
        Distribution,
        Quantity("deg", "its angle where L1's voltage has 0", -360.0, high=360.0),
    ] = Distribution(
        "uniform", {"low": 0.0, "high": 360.0}, source="assumed: nothing is known of it"
    )

    @property
    def coils_in_series(self) -> int:
        """Of a branch."""
        return self.slots // (3 * self.branches)

    @property
    def placing(self) -> Placing:
        """What says where its coils are."""
        return Placing(
            self.slots, self.pole_pairs, self.branches, self.pitch, self.layout, self.table
        )


class Placing(NamedTuple):
    """What says where the coils of a winding are: a key for what is made of them and kept."""

    slots: int
    pole_pairs: int
    branches: int
    pitch: int | None
    layout: BranchOrder | None
    table: CoilTable | None


def winding_faults(winding: Winding) -> list[str]:
    """What is wrong with a winding's numbers, each with key, value, limit and cure.

    Parameters
    ----------
    winding : Winding

    Returns
    -------
    list of str
        Without the name of the table.
    """
    return list(_built_in_faults(winding) if winding.table is None else _listed_faults(winding))


def _listed_faults(winding: Winding) -> Iterator[str]:
    assert winding.table is not None
    for key in ("pitch", "layout"):
        if (value := getattr(winding, key)) is not None:
            yield f"{key}: {shown(value)}, must be absent beside table; take one of the two out"
    if winding.slots % (3 * winding.branches):
        yield (
            f"slots: {winding.slots}, must be a multiple of 3 branches ({3 * winding.branches});"
            " every branch has as many coils"
        )
    else:
        faults = table_faults(winding.table, winding.slots, winding.branches)
        yield from (f"table: {fault}" for fault in faults)


def _built_in_faults(winding: Winding) -> Iterator[str]:
    cures = {"pitch": "the coil's span in slots", "layout": '"half" or "alternate"'}
    for key, cure in cures.items():
        if getattr(winding, key) is None:
            yield f"{key}: missing; give {cure}, or a table of the coils in its place"
    poles = 2 * winding.pole_pairs
    if winding.slots % (3 * poles):
        yield (
            f"slots: {winding.slots}, must be a multiple of 6 pole_pairs ({3 * poles}); every belt"
            " of a phase has as many slots; give other windings by a table of their coils"
        )
    elif (winding.pitch or 0) > (pole_pitch := winding.slots // poles):
        yield (
            f"pitch: {winding.pitch} slots, must be at most the pole pitch, slots/(2 pole_pairs) ="
            f" {pole_pitch}; give the coil's span in slots"
        )
    if winding.branches > poles or poles % winding.branches:
        fits = ", ".join(str(n) for n in range(1, poles + 1) if poles % n == 0)
        yield (
            f"branches: {winding.branches}, must divide 2 pole_pairs; {poles} poles allow {fits}"
        )


@dataclass(frozen=True, eq=False)
class Coils:
    """Every coil of a winding; arrays (coils,) unless said otherwise."""

    slots: int
    pole_pairs: int
    branches: int  # of a phase
    upper: Index  # slot of the side in the upper layer
    lower: Index
    phase: Index  # 0, 1, 2
    branch: Index  # of its phase, from 0
    order: Index  # in its branch, from the neutral
    direction: Index  # 1 where the current enters by the upper side; else -1

    @cached_property
    def first(self) -> Index:
        """Slot of the side through which the current enters."""
        return np.asarray(np.where(self.direction > 0, self.upper, self.lower))

    @cached_property
    def second(self) -> Index:
        """Slot of the other side."""
        return np.asarray(np.where(self.direction > 0, self.lower, self.upper))

    @cached_property
    def row(self) -> Index:
        """Number of its branch among those of all phases."""
        return self.phase * self.branches + self.branch

    @property
    def sides(self) -> tuple[Index, Index]:
        """Slots of the side through which the current enters, and of the other."""
        return self.first, self.second

    @property
    def in_series(self) -> int:
        """Coils of a branch."""
        return int(self.order.max()) + 1

    @property
    def span(self) -> Index:
        """From one side of each to the other, the shorter way round. [slots]"""
        ahead = (self.lower - self.upper) % self.slots
        return np.asarray(np.minimum(ahead, self.slots - ahead))

    @property
    def pole_pitch(self) -> float:
        """[slots]"""
        return self.slots / (2 * self.pole_pairs)


def coils_of(placing: Placing) -> Coils:
    """The coils of a winding without faults in its numbers.

    Parameters
    ----------
    placing : Placing

    Returns
    -------
    Coils
        By their upper slots.
    """
    return _built_in(placing) if placing.table is None else _listed(placing, placing.table)


def _listed(placing: Placing, table: CoilTable) -> Coils:
    upper, lower, phases, branch, order, entered = map(list, zip(*table.coils, strict=True))
    return Coils(
        slots=placing.slots,
        pole_pairs=placing.pole_pairs,
        branches=placing.branches,
        upper=np.array(upper) - 1,
        lower=np.array(lower) - 1,
        phase=np.array([PHASES.index(phase) for phase in phases]),
        branch=np.array(branch) - 1,
        order=np.array(order) - 1,
        direction=np.array([1 if side == SIDES[0] else -1 for side in entered]),
    )


def _built_in(placing: Placing) -> Coils:
    slots, poles = placing.slots, 2 * placing.pole_pairs
    assert placing.pitch is not None
    every, belt_slots = np.arange(slots), slots // (3 * poles)
    belt, place = np.divmod(every, belt_slots)
    phase, direction = np.array(BELTS)[belt % 6].T
    pole = belt // 3
    if placing.layout == "half":
        branch, turn = np.divmod(pole, poles // placing.branches)
    else:
        turn, branch = np.divmod(pole, placing.branches)
    return Coils(
        slots=slots,
        pole_pairs=placing.pole_pairs,
        branches=placing.branches,
        upper=every,
        lower=(every + placing.pitch) % slots,
        phase=phase,
        branch=branch,
        order=turn * belt_slots + place,
        direction=direction,
    )
