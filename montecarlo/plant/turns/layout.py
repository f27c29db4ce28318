"""The stator winding coil by coil: its slots, its phase and branch, how far from the neutral.

A lap winding of two layers. Coil k has one side in the upper layer of slot k and the other in the
lower layer of the slot one pitch further. The belts of q = slots/(6 pole pairs) slots follow each
other as +L1, -L3, +L2, -L1, +L3, -L2 (textbook); a branch is a row of whole belts of its phase."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Annotated, Literal

import numpy as np

from montecarlo.quantities import Distribution, Index, Plain, Quantity, Section, number, word

BELTS = ((0, 1), (2, -1), (1, 1), (0, -1), (2, 1), (1, -1))  # phase and direction
BranchOrder = Literal["half", "alternate"]


class Winding(Section):
    """The stator's coils, for faults between turns, coils and branches."""

    slots: Annotated[int, Plain("-", "slots of the stator; a multiple of 6 pole pairs", 6, 1200)]
    pole_pairs: Annotated[int, Plain("-", "pole pairs", 1, 200)]
    pitch: Annotated[
        int, Plain("slots", "from one side of a coil to the other; at most a pole pitch", 1, 1000)
    ]
    branches: Annotated[
        int, Plain("-", "parallel branches of a phase; they share its poles evenly", 1, 100)
    ]
    turns_per_coil: Annotated[
        int, Plain("-", "turns in series of a coil; 1 for a winding of bars", 1, 100)
    ]
    layout: Annotated[
        BranchOrder,
        word(
            "which poles a branch takes. half: poles side by side, so two branches have half of the"
            " bore each; alternate: every second pole, or every third of three branches"
        ),
    ]
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
    poles = 2 * winding.pole_pairs
    found = []
    if winding.slots % (3 * poles):
        found.append(
            f"slots: {winding.slots}, must be a multiple of 6 pole_pairs ({3 * poles}); every belt"
            " of a phase has as many slots"
        )
    elif winding.pitch > (pole_pitch := winding.slots // poles):
        found.append(
            f"pitch: {winding.pitch} slots, must be at most the pole pitch, slots/(2 pole_pairs) ="
            f" {pole_pitch}; give the coil's span in slots"
        )
    if winding.branches > poles or poles % winding.branches:
        fits = ", ".join(str(n) for n in range(1, poles + 1) if poles % n == 0)
        found.append(
            f"branches: {winding.branches}, must divide 2 pole_pairs; {poles} poles allow {fits}"
        )
    return found


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


def coils_of(winding: Winding) -> Coils:
    """The coils of a winding without faults in its numbers.

    Parameters
    ----------
    winding : Winding

    Returns
    -------
    Coils
    """
    belt, place = np.divmod(np.arange(winding.slots), winding.slots // (6 * winding.pole_pairs))
    phase, direction = np.array(BELTS)[belt % 6].T
    pole = belt // 3
    poles = 2 * winding.pole_pairs
    each = poles // winding.branches
    if winding.layout == "half":
        branch, turn = np.divmod(pole, each)
    else:
        turn, branch = np.divmod(pole, winding.branches)
    return Coils(
        slots=winding.slots,
        pole_pairs=winding.pole_pairs,
        branches=winding.branches,
        upper=np.arange(winding.slots),
        lower=(np.arange(winding.slots) + winding.pitch) % winding.slots,
        phase=phase,
        branch=branch,
        order=turn * (winding.slots // (6 * winding.pole_pairs)) + place,
        direction=direction,
    )
