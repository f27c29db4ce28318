"""How the damage of an earth fault is counted: the exponent of its current, the zones of damage
that the owner names, the arc."""

from __future__ import annotations

from itertools import pairwise
from typing import Annotated

import numpy as np

from montecarlo.quantities import Distribution, Plain, Quantity, Section, word
from montecarlo.quantities.wording import LABEL, fit_for_label, shown

MOST_ZONES = 12


class Zone(Section):
    """A zone of damage, up to what one current does in a time."""

    name: Annotated[str, word('name of the zone, as "insulation only"')]
    current_a: Annotated[
        float,
        Plain("A", "this current, in time_s, does the zone's largest damage", 0.0, 1e6, above=True),
    ]
    time_s: Annotated[float, Plain("s", "time for which it flows", 0.0, 1e6, above=True)]


class Damage(Section):
    """Damage of an earth fault, the integral of |i|^k over its time, as seconds of a reference
    current that would do the same."""

    exponent: Annotated[
        Distribution,
        Quantity(
            "-",
            "k. 1: the heat of an arc of constant voltage; 1.5: usual for arcs; 2: of a resistance",
            1.0,
            high=2.0,
        ),
    ] = Distribution("uniform", {"low": 1.0, "high": 2.0}, source="assumed: between arc and ohm")
    reference_a: Annotated[
        float,
        Plain(
            "A",
            "the current in whose seconds damage is given; 10 A is said to burn little",
            0.1,
            1e5,
        ),
    ] = 10.0
    arc_voltage_v: Annotated[
        Distribution, Quantity("V", "voltage of the arc, for the iron that it may melt", 0.0, 1e4)
    ] = Distribution("uniform", {"low": 50.0, "high": 200.0}, source="from memory")
    core_share: Annotated[
        float,
        Plain("-", "part of the arc's heat that reaches the core; 1: an upper bound", 0.0, 1.0),
    ] = 1.0
    zones: Annotated[
        tuple[Zone, ...],
        word("zones of damage from the smallest on, each a table [[damage.zones]]"),
    ] = ()
    beyond: Annotated[str, word("name of what lies beyond the last zone")] = "beyond the zones"


def zone_faults(damage: Damage) -> list[str]:
    """What is wrong with the zones.

    Parameters
    ----------
    damage : Damage

    Returns
    -------
    list of str
        A line a fault, with key, value, limit and cure.
    """
    zones = damage.zones
    if len(zones) > MOST_ZONES:
        return [f"damage.zones: {len(zones)} zones, must be at most {MOST_ZONES}; join some"]
    found = []
    names = [zone.name for zone in zones] + [damage.beyond]
    for index, name in enumerate(names):
        key = f"damage.zones[{index}].name" if index < len(zones) else "damage.beyond"
        if not fit_for_label(name):
            found.append(f"{key}: {shown(name)}, {LABEL}")
        elif name in names[:index]:
            found.append(f"{key}: {shown(name)} is used before; give each zone its own name")
    for index, (before, zone) in enumerate(pairwise(zones), 1):
        # the logarithm is linear in k, so both ends decide
        for power in damage.exponent.support():
            low, high = (power * np.log(z.current_a) + np.log(z.time_s) for z in (before, zone))
            if not high > low:
                found.append(
                    f"damage.zones[{index}]: {zone.current_a:g} A for {zone.time_s:g} s, must do"
                    f" more damage than zone {shown(before.name)}, {before.current_a:g} A for"
                    f" {before.time_s:g} s, also where the exponent is {power:g}; give a larger"
                    " current or time, or another order"
                )
                break
    return found
