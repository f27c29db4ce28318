"""How the damage of an earth fault is counted: the exponent of its current, the zones of damage
that the owner names, the arc."""

from __future__ import annotations

from typing import Annotated

import numpy as np

from montecarlo.quantities import Distribution, Plain, Quantity, Section, word
from montecarlo.quantities.wording import fit_for_label, shown

MOST_ZONES = 12


class Zone(Section):
    """A zone of damage, up to what one current does in a time."""

    name: Annotated[str, word('name of the zone, as "insulation only"')]
    current_a: Annotated[
        float,
        Plain("A", "this current, in time_s, does the zone's largest damage", 0.0, above=True),
    ]
    time_s: Annotated[float, Plain("s", "for how long it flows", 0.0, 1e6, above=True)]


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
            "A", "the current whose seconds tell the damage; 10 A is said to burn little", 0.1, 1e5
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
    """What is wrong with the zones, each with key, value, limit and cure.

    Parameters
    ----------
    damage : Damage

    Returns
    -------
    list of str
    """
    zones = damage.zones
    if len(zones) > MOST_ZONES:
        return [f"damage.zones: {len(zones)} zones, must be at most {MOST_ZONES}; join some"]
    found = []
    names = [zone.name for zone in zones] + [damage.beyond]
    for index, name in enumerate(names):
        key = f"damage.zones[{index}].name" if index < len(zones) else "damage.beyond"
        if not fit_for_label(name):
            found.append(f"{key}: {shown(name)}, must be a short text of one line; shorten it")
        elif name in names[:index]:
            found.append(f"{key}: {shown(name)} is used before; give each zone its own name")
    ends = damage.exponent.support()
    for index in range(1, len(zones)):
        before, zone = zones[index - 1], zones[index]
        # the logarithm is linear in k, so both ends decide
        for power in ends:
            low, high = (
                power * np.log(one.current_a) + np.log(one.time_s) for one in (before, zone)
            )
            if not high > low:
                found.append(
                    f"damage.zones[{index}]: {zone.current_a:g} A for {zone.time_s:g} s does no"
                    f" more damage than zone {shown(before.name)} ({before.current_a:g} A for"
                    f" {before.time_s:g} s) where the exponent is {power:g}; zones must not"
                    " overlap, so give a larger current or time, or another order"
                )
                break
    return found
