"""The classic hand calculation of one setting, beside what the study found."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import Any

from montecarlo.formulas import handcalc
from montecarlo.quantities.wording import listed
from montecarlo.relays.schemes import AXES as ELEMENTS
from montecarlo.relays.schemes import Axis
from montecarlo.study.circuits import Circuit
from studies.nominal.desk import Desk, HandRule
from studies.nominal.groups import standing
from studies.nominal.stability import (
    driven,
    left_unprotected,
    security_rests_on,
    stabilising_volts,
)
from studies.report.blocks import Block, Paragraph
from studies.report.numbers import percent

FIXED = "two_phase_one_earth"  # the scheme with fixed resistors in its phase legs
Row = Mapping[str, Any]


def beside_by_hand(desk: Desk, row: Row) -> Iterator[tuple[str, ...]]:
    """What it is, by hand, and by the study; row: of the candidates."""
    yield from _unprotected(desk, row)
    yield from _stable(desk, row)


def fixed_ohm(desk: Desk) -> float:
    """The resistor in each phase leg of the scheme `FIXED`. [ohm]"""
    return desk.at("scheme.phase_stabilising_ohm")


def _unprotected(desk: Desk, row: Row) -> Iterator[tuple[str, ...]]:
    for axis in ELEMENTS:
        pickup = row[f"{axis}_pickup_a"]
        if not math.isnan(pickup) and desk.between_groups(row["scheme"], axis):
            yield _apart(desk, row["scheme"], axis, pickup)
        elif not math.isnan(pickup):
            taken = desk.resistor_a(_circuit(row), axis, pickup)
            said = f"({pickup:g} + {taken:.3g}) A" if taken else f"{pickup:g} A"
            yield (
                f"winding left unprotected, {axis} {pickup:g} A",
                f"I N R / E = {said} x {desk.turns:g} x {desk.neutral_ohm:.4g} ohm /"
                f" {desk.emf_v:.4g} V = {left_unprotected(desk.unprotected(pickup + taken))}",
                _left_by_study(row),
            )


def _apart(desk: Desk, kind: str, axis: Axis, pickup_a: float) -> tuple[str, ...]:
    """What the groups of branches differ by at rated load."""
    most = standing(desk, kind, axis).at(desk.study.machine.rated_current_a)
    verdict = "lies above" if pickup_a > most else "does not lie above"
    return (
        f"difference of the groups of branches, {axis} {pickup_a:g} A",
        f"unbalance, circulating current and ratio errors at rated load: at most {most:.3g} A",
        f"the pick-up {verdict} it",
    )


def _circuit(row: Row) -> Circuit:
    """What a candidate stands on."""
    ohm, phase_a, earth_a = (
        None if math.isnan(row[key]) else float(row[key])
        for key in ("stabilising_resistance_ohm", "phase_pickup_a", "earth_pickup_a")
    )
    return Circuit(row["scheme"], ohm or 0.0, phase_a, earth_a)


def _stable(desk: Desk, row: Row) -> Iterator[tuple[str, ...]]:
    for groups, rules in _rules(desk, row).items():
        _, loop = stabilising_volts(desk, groups)
        for rule in rules:
            verdict = "met" if rule.met else "not met"
            if rule.axis is None:
                yield rule.what, f"2 V_s = {rule.needed:.4g} V", f"{rule.has:.4g} V: {verdict}"
                continue
            pickup = row[f"{rule.axis}_pickup_a"]
            yield (
                f"{rule.what} for the largest through fault",
                f"V_s / I_set - R_relay = {loop:.4g} V / {pickup:g} A -"
                f" {desk.burden_ohm(rule.axis, pickup):.4g} ohm = {rule.needed:.4g} ohm",
                f"{rule.has:g} ohm: {verdict}; {_false(row)}",
            )


def _rules(desk: Desk, row: Row) -> dict[tuple[str, ...], list[HandRule]]:
    """Stabilising resistance of each element without bias, and the knee of the CTs that drive
    them."""
    found = {}
    for groups, elements in driven(desk).items():
        _, loop = stabilising_volts(desk, groups)
        rules = []
        for axis in ELEMENTS:
            if (row["scheme"], axis) in elements:
                pickup = row[f"{axis}_pickup_a"]
                burden = desk.burden_ohm(axis, pickup)
                ohm = max(float(handcalc.stabilising_resistance(loop, pickup, burden)), 0.0)
                what, has = f"stabilising resistance, {axis}", _stabilising_ohm(desk, row, axis)
                rules.append(HandRule(what, ohm, has, "ohm", axis))
        if rules:
            knee = f"knee of the CTs, {listed(group.replace('_', ' ') for group in groups)}"
            needed = float(handcalc.required_knee(loop))
            rules.append(HandRule(knee, needed, desk.knee_of(groups), "V"))
            found[groups] = rules
    return found


def broken_by_hand(desk: Desk, row: Row) -> list[Block]:
    """What a candidate's security rests on where it breaks a rule of the hand calculation."""
    broken = [rule for rules in _rules(desk, row).values() for rule in rules if not rule.met]
    return [Paragraph(security_rests_on(desk, broken, row["delay_s"]))] if broken else []


def _stabilising_ohm(desk: Desk, row: Row, axis: Axis) -> float:
    """The resistance that stands in the leg of an element."""
    scheme = desk.scheme(row["scheme"])
    parts = scheme.legs[scheme.elements[scheme.of(axis)[0]].leg].parts
    if "stabilising" in parts:
        return float(row["stabilising_resistance_ohm"])
    return fixed_ohm(desk) if row["scheme"] == FIXED else 0.0


def _false(row: Row) -> str:
    """How often anything trips falsely with it."""
    if row["p_false"] != 0:
        return f"false trips of all elements: {percent(row['p_false'])}"
    return f"false trips of all elements: none seen, fewer than {percent(row['p_false_high'])}"


def _left_by_study(row: Row) -> str:
    """The part of the winding that the study found unprotected."""
    if math.isnan(row["protected_median"]):
        return "no earth faults"
    median, low, high = (
        percent(1 - row[f"protected_{end}"], 3) for end in ("median", "p95", "p05")
    )
    return f"{median} by all elements, median ({low} to {high} for 5 to 95 % of the faults)"
