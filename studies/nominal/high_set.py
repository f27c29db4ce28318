"""High-set elements by hand: between which pick-ups they are stable and still quick. Every input
stands at its centre."""

from __future__ import annotations

import math
from collections.abc import Iterator

from montecarlo.formulas.handcalc import OFFSET_READING, high_set_limits
from montecarlo.plant.machine import phase_fault_reactance_pu
from montecarlo.quantities.wording import listed
from montecarlo.secondary.chain import offset_reading
from montecarlo.study.circuits import chain_of
from studies.nominal.desk import Desk
from studies.report.blocks import Block, Paragraph


def high_set(desk: Desk) -> Iterator[Block]:
    """The two limits and which pick-ups break them; nothing without such elements.

    Parameters
    ----------
    desk : Desk

    Yields
    ------
    Block
    """
    grid = desk.study.candidates.high_set_pickup_a
    if not grid or not desk.between_ends("phase"):
        return
    alone = " This holds for elements between the two ends."
    only = any(desk.between_groups(kind, "phase") for kind in desk.study.scheme.kinds)
    measure = desk.study.relay.measure
    terminal_a = _terminal_a(desk)
    chain = chain_of(desk.study, desk.samples)
    reading = OFFSET_READING[measure] if chain is None else offset_reading(chain)
    low, high = (float(limit) for limit in high_set_limits(desk.fault_a, terminal_a, reading))
    yield Paragraph(
        f"High-set elements have no bias. They should stand above 1.3 x"
        f" {reading:.3g} i_f = {low:.3g} A: what they read ({measure}) of the"
        " largest through fault with full offset, if one end's CTs deliver nothing. They should"
        " stand below half of the smallest fault at the terminals, between two phases and fed by"
        f" the machine alone: E sqrt(3) / (X''_d + X_2) = {terminal_a:.3g} A, half of it"
        f" {high:.3g} A. Both factors are common practice. {_verdict(grid, low, high)}"
        f"{alone if only else ''}"
    )


def _terminal_a(desk: Desk) -> float:
    """Fault between two phases at the terminals, fed by the machine alone. [A secondary]"""
    between_pu = phase_fault_reactance_pu(
        desk.at("machine.subtransient_reactance_pu"),
        desk.at("machine.negative_sequence_reactance_pu"),
    )
    current_pu = math.sqrt(3) / 2 * desk.at("machine.voltage_factor") / float(between_pu)
    return current_pu * desk.study.machine.rated_current_a / desk.turns


def _verdict(grid: tuple[float, ...], low: float, high: float) -> str:
    if low > high:
        return "The two contradict each other here: no pick-up keeps to both."
    parts = {
        "below the first": [pickup for pickup in grid if pickup < low],
        "above the second": [pickup for pickup in grid if pickup > high],
    }
    said = [f"{_lie(some)} {where}" for where, some in parts.items() if some]
    return f"{'; '.join(said)}." if said else "All pick-ups keep to both."


def _lie(pickups: list[float]) -> str:
    verb = "lies" if len(pickups) == 1 else "lie"
    return f"{listed(f'{pickup:g} A' for pickup in pickups)} {verb}"
