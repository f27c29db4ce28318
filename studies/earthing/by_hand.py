"""The options of earthing by hand, for `check`: current, unprotected part of the winding, rule of
the capacitive current, damage of a fault at the terminals, each with every input at its centre."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from montecarlo.formulas import handcalc
from montecarlo.formulas.damage import FaultCurrents, hybrid_damage
from montecarlo.quantities import Array
from montecarlo.relays.schemes import AXES
from montecarlo.study.candidates import grid_lattices
from montecarlo.study.description import Study
from studies.nominal.desk import Desk
from studies.report.blocks import Block, Table
from studies.report.numbers import figures, percent

PLACES = np.linspace(0.0, 1.0, 201)  # along the winding
NEVER = "all of it"


def options_by_hand(study: Study) -> list[Block]:
    """A line an option.

    Parameters
    ----------
    study : Study

    Returns
    -------
    list of Block
    """
    rows = []
    for name, option in study.options:
        desk = Desk(option)
        sees = [*_scheme_sees(desk)]
        x, ohm = min((part for part, _ in sees), default=1.0), desk.neutral_ohm
        limit = float(handcalc.capacitive_limit_ohm(option.machine.omega, desk.capacitance_f))
        rule = "kept" if desk.largest_neutral_ohm <= limit else "not kept"
        shown = f"{ohm:.4g}"
        if option.earthing.high_resistance_ohm is not None:
            shown += f", then {desk.largest_neutral_ohm:.4g}"
        part = percent(x, 3) if x < 1 else NEVER
        row = (name, shown, f"{desk.emf_v / ohm:.3g}", part, rule)
        harm = () if option.damage is None else (figures(_terminal_s(desk, sees), 3),)
        rows.append((*row, *harm))
    head: tuple[str, ...] = ("option", "neutrals ohm", "E / R_N A", "unprotected", "R_N <= 1/(3wC)")
    notes = [
        "Unprotected: part of the winding, from the neutral, where a bolted earth fault operates no"
        " element of any candidate. By phasors, with the CTs' excitation and the bias; no load."
    ]
    if study.damage is not None:
        reference = f"{study.damage.reference_a:g} A"
        head = (*head, f"damage, s of {reference}")
        notes.append(
            f"Damage of a bolted fault at the terminals: I^k t + I^k T/k, I = E / R_N, in seconds"
            f" of {reference}; of hybrid earthing with the current that stays once the resistor's"
            " branch is open. The fastest path that sees the fault clears it."
        )
    return [Table(head, tuple(rows), "<" + ">" * (len(head) - 1), notes=tuple(notes))]


def _scheme_sees(desk: Desk) -> Iterator[tuple[float, float]]:
    """Of the elements of each lattice: up to where along the winding they see nothing, 1: nowhere;
    and their least delay. [s]"""
    ends_a = desk.earth_faults(PLACES[1:]).end_currents_a.reshape(-1, 6)
    for lattice in grid_lattices(desk.study):
        for axis in AXES:
            pickups = lattice.pickups_of(axis)
            if not (desk.scheme(lattice.scheme).of(axis) and pickups):
                continue
            if desk.between_groups(lattice.scheme, axis):
                continue
            largest = np.nanmax(desk.compared_a(lattice, axis, ends_a), axis=1)
            yield _first_above(largest, min(pickups)), min(lattice.delays_of(axis))


def _first_above(compared_a: Array, pickup_a: float) -> float:
    """Where along the winding a pick-up is reached first, between two places on a line; 1:
    nowhere."""
    values = np.concatenate([[0.0], compared_a])
    above = np.flatnonzero(values > pickup_a)
    if not above.size:
        return 1.0
    ends = slice(above[0] - 1, above[0] + 1)
    return float(np.interp(pickup_a, values[ends], PLACES[ends]))


def _terminal_s(desk: Desk, sees: list[tuple[float, float]]) -> float:
    """Damage of a bolted fault at the terminals. [s of the reference current]"""
    study, current_a = desk.study, desk.emf_v / desk.neutral_ohm
    given = study.damage
    assert given is not None
    delays = [delay for x, delay in sees if x < 1]
    if study.backup is not None:
        neutral_a = desk.emf_v / abs(desk.own_neutral_ohm)
        needs = study.backup.operating_a(
            desk.samples, desk.own_neutral_ohm, study.machine.phase_voltage_v
        )
        delays += [
            study.backup.elements[name].delay_s
            for name, needed_a in needs.items()
            if neutral_a > needed_a[0]
        ]
    cycle = 1 / study.machine.frequency_hz
    trip_s = min(delays, default=math.inf) + cycle
    if math.isinf(trip_s):
        trip_s = desk.at("fault_energy.undetected_time_s")
    power, decay_s = desk.at("damage.exponent"), desk.at("fault_energy.field_decay_time_constant_s")
    hybrid = study.earthing.high_resistance_ohm is not None
    switch_s = desk.at("earthing.switch_time_s") if hybrid else math.inf
    stays_a = desk.emf_v / desk.largest_neutral_ohm
    low, high = (FaultCurrents(amperes, amperes) for amperes in (current_a, stays_a))
    breaker_s = desk.at("fault_energy.breaker_time_s")
    found = hybrid_damage(trip_s, breaker_s, switch_s, low, high, decay_s, power)
    return float(found / given.reference_a**power)
