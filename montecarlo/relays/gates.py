"""Gates as the study file has them: what holds phase elements back while a fault outside the zone
is suspected. What they do stands in `secondary/gates.py`."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Literal

from montecarlo.quantities import Distribution, Plain, Quantity, Section, number, word

NO_GATE = "none"
NEEDS = {  # keys by what starts a gate
    "time_difference": ("start_pu", "wait_s"),
    "repeated": ("start_pu", "wait_s"),
    "angle": ("within_degrees",),
    "direct_current": ("start_above",),
    "second_harmonic": ("start_above",),
    "no_neutral_current": ("start_pu",),
}
OF_DIFFERENCE = ("ratio", "floor_pu")  # of starts that look at how large the difference is
OF_EARTH = "no_neutral_current"  # the start of a gate of earth elements, and of no other
NOT_OF_EARTH = ("hold", "hold_above", "stays_s", "longest_s", "slope", "together")


class Gate(Section):
    """One gate: a start, a hold, an effect."""

    name: Annotated[str, word("its name in candidates.gate: a word of letters, digits and _")]
    start: Annotated[
        Literal[
            "time_difference",
            "repeated",
            "angle",
            "direct_current",
            "second_harmonic",
            "no_neutral_current",
        ],
        word(
            "what starts it. time_difference: after a current has risen above start_pu the"
            " difference stays small for wait_s. repeated: the same in any half cycle, without"
            " memory. angle: the ends' fundamentals lie within within_degrees. direct_current: the"
            " DC component of an end is above start_above of its fundamental's peak."
            " second_harmonic: that of the difference is above start_above of its fundamental."
            " no_neutral_current, of a restricted earth fault element: the fundamental of the"
            " neutral CT's current is not above start_pu"
        ),
    ]
    on: Annotated[
        Literal["change", "current"],
        word("time_difference: whether it looks at changes over one cycle or currents themselves"),
    ] = "change"
    start_pu: (
        Annotated[
            Distribution,
            Quantity(
                "pu",
                "current above which it starts, RMS of a sinusoid over the machine's rated current",
                0.0,
                above=True,
                usual=(1e-3, 20.0),
            ),
        ]
        | None
    ) = None
    ratio: Annotated[
        Distribution,
        Quantity("-", "largest difference of a fault outside, over the ends' mean", 0.0, high=2.0),
    ] = number(0.3)
    floor_pu: Annotated[
        float, Plain("pu", "by which that difference may be larger, as start_pu", 0.0, 1.0)
    ] = 0.05
    wait_s: (
        Annotated[
            Distribution,
            Quantity(
                "s", "how long the difference must stay small", 0.0, high=0.02, usual=(1e-3, 0.01)
            ),
        ]
        | None
    ) = None
    start_above: Annotated[float, Plain("-", "share above which it starts", 0.0, 2.0)] | None = None
    within_degrees: (
        Annotated[float, Plain("degrees", "largest angle between the two ends", 0.0, 180.0)] | None
    ) = None
    hold: Annotated[
        Literal["none", "direct_current", "current"],
        word(
            "what keeps it on: nothing, a DC component of an end above hold_above, or a current"
            " above start_pu"
        ),
    ] = "none"
    hold_above: (
        Annotated[
            float, Plain("-", "DC component over the peak of the end's fundamental", 0.0, 2.0)
        ]
        | None
    ) = None
    stays_s: Annotated[
        float, Plain("s", "how long it stays on after start and hold have ended", 0.0, 1.0)
    ] = 0.0
    longest_s: (
        Annotated[float, Plain("s", "after which it ends in any case", 0.0, 60.0, above=True)]
        | None
    ) = None
    slope: (
        Annotated[float, Plain("-", "slope of the bias while it is on; none: it blocks", 0.0, 10.0)]
        | None
    ) = None
    together: Annotated[bool, word("whether the gate of one phase holds back all three")] = False


def gate_faults(gate: Gate) -> Iterator[str]:
    """Keys that its start and its hold need, and those that mean nothing beside them.

    Parameters
    ----------
    gate : Gate

    Yields
    ------
    str
        A line a fault, without the key of the gate.
    """
    yield from _of_start(gate)
    if gate.start == OF_EARTH:
        for key in NOT_OF_EARTH:
            if key in gate.model_fields_set:
                yield f"{key}: given, but a gate that starts on {OF_EARTH} has none; take it out"
        return
    if gate.hold == "direct_current" and gate.hold_above is None:
        yield "hold_above: missing; give the DC component that holds the gate, as 0.3"
    if gate.hold != "direct_current" and gate.hold_above is not None:
        yield "hold_above: given, but hold is not direct_current; take it out"
    if gate.hold == "current" and gate.start_pu is None:
        yield "start_pu: missing; a gate that a current holds needs it"
    if gate.longest_s is not None and gate.longest_s < gate.stays_s:
        yield (
            f"longest_s: {gate.longest_s:g} s, must be at least stays_s = {gate.stays_s:g} s;"
            " lengthen it or shorten stays_s"
        )


def _of_start(gate: Gate) -> Iterator[str]:
    needs = NEEDS[gate.start]
    for key in dict.fromkeys(key for keys in NEEDS.values() for key in keys):
        given = getattr(gate, key) is not None
        if key in needs and not given:
            yield f"{key}: missing; a gate that starts on {gate.start} needs it"
        wanted = key in needs or (key == "start_pu" and gate.hold == "current")
        if given and not wanted:
            yield f"{key}: given, but a gate that starts on {gate.start} has none; take it out"
    for key in OF_DIFFERENCE:
        if key in gate.model_fields_set and "wait_s" not in needs:
            yield f"{key}: given, but a gate that starts on {gate.start} has none; take it out"
    if gate.on == "current" and gate.start != "time_difference":
        yield f"on: current, but a gate that starts on {gate.start} has no choice; take it out"
